"""Calls that a client was promised and that nobody has made yet, as the client reads them."""

from dataclasses import dataclass
from zoneinfo import ZoneInfo

from accounts.models import Company
from scheduling.models import Message
from scheduling.services.people import words
from scheduling.services.people.messages import call_back_by
from scheduling.services.policy import read_policy


@dataclass(frozen=True, slots=True)
class AwaitedCall:
    """One call that stands on the office's list.

    Attributes
    ----------
    sentence
        Who calls where, and by when where that was promised.
    visit
        Id of the visit that it is about; None: it is about something that was reported.
    unit
        Id of the unit that was reported on; None: it is about a visit.
    """

    sentence: str
    visit: int | None
    unit: int | None


def awaited_calls(*, company: Company, site: int) -> list[AwaitedCall]:
    """Give the calls that the client of a site waits for, the oldest first.

    Parameters
    ----------
    company, site
        The company, and the id of one of its sites, which the caller has found to be readable.
    """
    calls = Message.objects.of_company(company).filter(state=Message.State.TO_CALL)
    wanted = calls.filter(kind=Message.Kind.CALL_WANTED, visit__site=site).select_related("visit__site__client")
    reported = calls.filter(kind=Message.Kind.CALL_BACK, finding__unit__site=site)
    reported = reported.select_related("finding__unit__site__client")
    awaited = [
        AwaitedCall(words.call_is_coming(message.visit.site.client.phone), message.visit_id, None)
        for message in wanted.order_by("created_at", "pk")
        if message.visit is not None
    ]
    for message in reported.order_by("created_at", "pk"):
        assert message.finding is not None
        unit = message.finding.unit
        zone = ZoneInfo(unit.site.time_zone)
        by = call_back_by(message.created_at, read_policy(company=company).rules.call_back_hours, zone)
        awaited.append(AwaitedCall(words.sentence_of_call(unit.site.client.phone, by), None, unit.pk))
    return awaited
