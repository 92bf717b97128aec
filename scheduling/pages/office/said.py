"""What the client said of a visit: an answer with its remark, or the wish to be called."""

from typing import Any, Final

from scheduling.api.messages import MessageViewSet
from scheduling.models import Message
from scheduling.pages.office.base import OfficePage

_SAID: Final = (Message.Kind.OFFER_TAKEN, Message.Kind.OFFER_DECLINED, Message.Kind.CANCELLED, Message.Kind.CALL_WANTED)


def said_by_client(page: OfficePage, visit: int) -> list[dict[str, Any]]:
    """Give what the office was told of a visit by its client, the newest first, each with its moment as `at`.

    The office reads it by e-mail as well. Whoever plans the visit again must find it where the visit stands.
    """
    rows = page.rows(MessageViewSet, visit=visit, audience="office", ordering="-created_at")
    return [{**row, "at": page.local(row["created_at"])} for row in rows if row["kind"] in _SAID]
