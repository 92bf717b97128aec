"""Log lines that name the request they belong to and no secret of a link, as text or as JSON (setting LOG_FORMAT)."""

import logging
import re
from typing import Final

from accounts.observing.requests import current_request

# Whoever has such an address may answer, choose a password or read a calendar. Django logs those of refused requests.
_SECRET_IN_PATH: Final = re.compile(
    r"(/(?:answers?|calendars|invitation(?:-links)?|password(?:-resets)?|new-address(?:es)?|sign-in/link)/)[^/\s\"']+"
)


def without_secrets(text: str) -> str:
    """A text that may name addresses, without the secrets of links in them."""
    return _SECRET_IN_PATH.sub(r"\1(hidden)", text)


class NamesTheRequest(logging.Filter):
    """Gives every record the id of the request it was written in, '-' outside of one."""

    def filter(self, record: logging.LogRecord) -> bool:
        record.request_id = current_request() or "-"
        return True


class HidesLinks(logging.Filter):
    """Takes the secret out of every address of a link that a line names."""

    def filter(self, record: logging.LogRecord) -> bool:
        line = record.getMessage()
        hidden = without_secrets(line)
        if hidden != line:
            record.msg, record.args = hidden, ()
        return True
