"""The morning letter to owner and office: what needs attention, whom to call, and what settles it."""

from datetime import datetime, time
from typing import Final

from accounts.models import Company, Membership
from scheduling.models import Message
from scheduling.services.attention import needs_attention
from scheduling.services.people.messages import digest, digest_event
from scheduling.services.words.digest import digest_text

#: The hours of the office's clock between which it is written: to be read when work begins, and not after noon.
#: Common practice, no source.
FIRST_HOUR: Final = 6
LAST_HOUR: Final = 12
_READERS: Final = (Membership.Role.OWNER, Membership.Role.OFFICE)


def is_time_for_digest(company: Company, now: datetime) -> bool:
    """Whether it is morning at the office of a company."""
    return FIRST_HOUR <= now.astimezone(company.zone).hour < LAST_HOUR


def write_digests(*, company: Company, now: datetime) -> int:
    """Write this morning's letters of a company; how many were written.

    Each owner and each member of the office who wishes so gets one a day, also where nothing needs attention: a letter
    that does not come must mean that something is wrong. A company without units gets none.

    Parameters
    ----------
    company
        Whose.
    now
        The present moment; outside the morning nothing is written.
    """
    if not is_time_for_digest(company, now):
        return 0
    day = company.day_at(now)
    members = Membership.objects.filter(company=company, is_active=True, gets_digest=True, role__in=_READERS)
    readers = {digest_event(member, day): member for member in members.select_related("user").order_by("pk")}
    earlier = Message.objects.of_company(company).filter(event__in=readers).values_list("event", flat=True)
    missing = [readers[event] for event in readers.keys() - set(earlier)]
    if not missing or not company.units.exists():
        return 0
    text = digest_text(company, needs_attention(company=company, now=now), day)
    useful_until = datetime.combine(day, time(LAST_HOUR), tzinfo=company.zone)
    for reader in sorted(missing, key=lambda member: member.pk):
        digest(reader, day, text, useful_until, now)
    return len(missing)
