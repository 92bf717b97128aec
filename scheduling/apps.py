from django.apps import AppConfig
from django.utils import timezone


class SchedulingConfig(AppConfig):
    name = "scheduling"
    verbose_name = "Visits, rounds, parts"

    def ready(self) -> None:
        """Make the kinds of jobs, what follows a change, clients are asked for and work costs known to this process."""
        from accounts.language import gettext_noop
        from accounts.models import Membership
        from accounts.observing.installation import measure_with
        from accounts.pages.navigation import Place, add_place
        from accounts.tenancy import know_with
        from fleet.services.asked import find_with
        from fleet.services.consequences import subscribe
        from fleet.services.sizing.labour import price_with
        from fleet.services.units.corrections import ask_before
        from scheduling import tasks  # noqa: F401
        from scheduling.management.measures import messages
        from scheduling.pages.office.places import add_office_places
        from scheduling.services.consequences import follow
        from scheduling.services.labour import labour_by_policy
        from scheduling.services.needs.asked import asked_of_client
        from scheduling.services.people.known import known_these_days
        from scheduling.services.work.taking_back import refuse_part_of_a_report

        # Which days are around is no part of what is asked for: rows are looked for now.
        know_with(lambda membership: known_these_days(membership, now=timezone.now()))
        measure_with(messages)
        subscribe("needs", follow)
        find_with(asked_of_client)
        price_with(labour_by_policy)
        ask_before("work", refuse_part_of_a_report)
        add_office_places()
        clients = frozenset({Membership.Role.CLIENT})
        add_place(Place(10, "my-water", gettext_noop("My water"), ("unit", "status"), clients))
        installers = frozenset({Membership.Role.INSTALLER})
        add_place(Place(20, "my-day", gettext_noop("My day"), ("round", "my_day"), installers))
        add_place(Place(90, "words", gettext_noop("Words"), ("me", "retrieve")))
