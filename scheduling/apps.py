from django.apps import AppConfig


class SchedulingConfig(AppConfig):
    name = "scheduling"
    verbose_name = "Visits, rounds, parts"

    def ready(self) -> None:
        """Make the kinds of jobs, what follows a change, and what clients are asked for known to this process."""
        from fleet.services.asked import find_with
        from fleet.services.consequences import subscribe
        from scheduling import tasks  # noqa: F401
        from scheduling.services.consequences import follow
        from scheduling.services.needs.asked import asked_of_client

        subscribe("needs", follow)
        find_with(asked_of_client)
