"""Links by which a client answers an offer, or cancels a time they were told, without signing in.

A link is signed, holds for one offer or one confirmed time of one visit, and lets its holder do nothing else: choose
one of the windows or decline them, cancel the time, or ask for a call. Once the offer is answered or withdrawn, or the
time is another one or has gone by, it shows how things stand.
"""

import hashlib
import json
import re
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta

from django.conf import settings
from django.core import signing

from accounts.wall import enter_company, over_all_companies
from scheduling.models import Visit

_SALT = "scheduling.answers"
# No offer is answered later; what is older shows nothing to whoever finds the letter.
_LONGEST = timedelta(days=60)
#: The path of the page, under the address of the server.
PATH = "answer/"


@dataclass(frozen=True, slots=True)
class AnsweredFor:
    """The visit a link speaks of, and whether the offer, or the time, that it was sent with still stands."""

    visit: Visit
    still_stands: bool

    @property
    def is_open(self) -> bool:
        """Whether it may choose or decline."""
        return self.still_stands and self.visit.state == Visit.State.OFFERED

    def may_cancel(self, now: datetime) -> bool:
        """Whether it may cancel the time that the visit is confirmed for, which is still to come."""
        at = self.visit.appointment_at
        return self.still_stands and self.visit.state == Visit.State.CONFIRMED and at is not None and at > now


def answer_token(visit: Visit) -> str:
    """The signed part of a link for the offer, or the confirmed time, that a visit has now."""
    return signing.dumps([visit.pk, _digest(visit)], salt=_SALT)


def answer_address(visit: Visit) -> str:
    """The whole link; empty where the settings do not say under which address clients reach the server."""
    return f"{settings.PUBLIC_URL}/{PATH}{answer_token(visit)}/" if settings.PUBLIC_URL else ""


def without_links(text: str) -> str:
    """A letter as others than its client may read it: whoever has the link may answer."""
    return re.sub(rf"/{PATH}[^/\s]+/", f"/{PATH}.../", text)


def read_answer_token(token: str) -> AnsweredFor | None:
    """What a link speaks of; None when it was not signed here or its visit is gone.

    Whoever follows it works for the company of that visit from then on.
    """
    try:
        pk, digest = signing.loads(token, salt=_SALT, max_age=_LONGEST)
    except (signing.BadSignature, ValueError, TypeError):
        return None
    with over_all_companies():
        visit = Visit.objects.filter(pk=pk).select_related("site__client", "site__company", "installer").first()
    if visit is None:
        return None
    enter_company(visit.company_id)
    return AnsweredFor(visit, digest == _digest(visit))


def _digest(visit: Visit) -> str:
    """Which offer or confirmed time it is: another one of the same visit needs a link of its own."""
    stands: object = visit.offers
    if visit.state == Visit.State.CONFIRMED:
        assert visit.appointment_at is not None
        stands = {"confirmed": visit.appointment_at.astimezone(UTC).isoformat()}
    return hashlib.sha256(json.dumps(stands, sort_keys=True).encode()).hexdigest()[:16]
