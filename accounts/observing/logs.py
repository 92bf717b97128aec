"""Log lines that name the request they belong to, as text or as JSON (setting LOG_FORMAT)."""

import logging

from accounts.observing.requests import current_request


class NamesTheRequest(logging.Filter):
    """Gives every record the id of the request it was written in, '-' outside of one."""

    def filter(self, record: logging.LogRecord) -> bool:
        record.request_id = current_request() or "-"
        return True
