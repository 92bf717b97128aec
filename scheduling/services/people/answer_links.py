"""Links by which a client answers an offer without signing in.

A link is signed, holds for one offer of one visit, and lets its holder do nothing else: choose one of its windows,
decline them, or ask for a call. Once the offer is answered, withdrawn or has gone by, it shows how things stand.
"""

import hashlib
import json
import re
from dataclasses import dataclass
from datetime import timedelta

from django.conf import settings
from django.core import signing

from scheduling.models import Visit

_SALT = "scheduling.answers"
# No offer is answered later; what is older shows nothing to whoever finds the letter.
_LONGEST = timedelta(days=60)
#: The path of the page, under the address of the server.
PATH = "answer/"


@dataclass(frozen=True, slots=True)
class AnsweredFor:
    """The visit a link speaks of, and whether the offer that the link was sent with still stands."""

    visit: Visit
    is_open: bool


def answer_token(visit: Visit) -> str:
    """The signed part of a link for the offer that a visit has now."""
    return signing.dumps([visit.pk, _digest(visit)], salt=_SALT)


def answer_address(visit: Visit) -> str:
    """The whole link; empty where the settings do not say under which address clients reach the server."""
    return f"{settings.PUBLIC_URL}/{PATH}{answer_token(visit)}/" if settings.PUBLIC_URL else ""


def without_links(text: str) -> str:
    """A letter as others than its client may read it: whoever has the link may answer."""
    return re.sub(rf"/{PATH}[^/\s]+/", f"/{PATH}.../", text)


def read_answer_token(token: str) -> AnsweredFor | None:
    """What a link speaks of; None when it was not signed here or its visit is gone."""
    try:
        pk, digest = signing.loads(token, salt=_SALT, max_age=_LONGEST)
    except (signing.BadSignature, ValueError, TypeError):
        return None
    visit = Visit.objects.filter(pk=pk).select_related("site__client", "site__company", "installer").first()
    if visit is None:
        return None
    return AnsweredFor(visit, visit.state == Visit.State.OFFERED and digest == _digest(visit))


def _digest(visit: Visit) -> str:
    """Which offer it is: another one of the same visit needs a link of its own."""
    return hashlib.sha256(json.dumps(visit.offers, sort_keys=True).encode()).hexdigest()[:16]
