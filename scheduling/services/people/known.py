"""What an installer knows of clients: those of their own visits and rounds, some days before and after today."""

from datetime import datetime, timedelta
from typing import Final

from django.db.models import Q

from accounts.errors import NotAllowed
from accounts.models import Membership
from accounts.tenancy import Known, known_to
from fleet.models import Site
from scheduling.models import Plan, Round, Visit

#: Before and after today; common practice, no source: who asks back about last week, and who prepares the next.
DAYS_AROUND: Final = timedelta(days=7)


def known_these_days(membership: Membership, *, now: datetime) -> Known:
    """What a member who drives rounds works with these days.

    Counted are stops of their published rounds, visits that wait with their name on them, and visits of theirs that
    were closed a few days ago.
    """
    today = membership.company.day_at(now)
    rounds = frozenset(
        Round.objects.filter(
            installer__membership=membership.pk,
            plan__state=Plan.State.PUBLISHED,
            day__gte=today - DAYS_AROUND,
            day__lte=today + DAYS_AROUND,
        ).values_list("pk", flat=True)
    )
    own = Q(installer__membership=membership.pk) & (
        Q(state__in=Visit.LIVE) | Q(closed_at__gte=now - DAYS_AROUND, closed_at__lte=now + DAYS_AROUND)
    )
    visits = Visit.objects.filter(Q(stops__round__in=rounds) | own)
    places = Site.objects.of_company(membership.company).filter(visits__in=visits)
    pairs = list(places.values_list("pk", "client_id").distinct())
    return Known(
        client_ids=frozenset(client for _, client in pairs),
        site_ids=frozenset(site for site, _ in pairs),
        round_ids=rounds,
    )


def check_round(*, day: Round, reader: Membership) -> None:
    """Refuse the sheet of a round to an installer whose it is not, or was long ago: doors and numbers stand there.

    Raises NotAllowed.
    """
    known = known_to(reader)
    if known is not None and day.pk not in known.round_ids:
        raise NotAllowed(
            "round_of_another",
            f"This sheet is open to who drives the round, within {DAYS_AROUND.days} days of it, and to the office; an "
            "owner can let installers see all clients.",
        )


def check_calendar(*, of: Membership, reader: Membership) -> None:
    """Refuse another installer's calendar to an installer. Raises NotAllowed."""
    if known_to(reader) is not None and of.pk != reader.pk:
        raise NotAllowed("calendar_of_another", "You may read the calendar of your own visits alone.")
