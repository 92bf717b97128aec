"""A name for every request, by which its answer, its log lines and what a client tells of it come together."""

import re
import uuid
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from contextvars import ContextVar
from typing import Final

from django.http import HttpRequest, HttpResponse

HEADER: Final = "X-Request-ID"

# What a proxy in front sends is kept, where it can stand in a log line without harm.
_USABLE: Final = re.compile(r"[A-Za-z0-9._-]{8,64}")
_current: ContextVar[str] = ContextVar("request id", default="")


def current_request() -> str:
    """The id of the request that is answered here; empty outside of one."""
    return _current.get()


@contextmanager
def named(name: str) -> Iterator[None]:
    """Whatever is done in the block belongs to the request of that name."""
    token = _current.set(name)
    try:
        yield
    finally:
        _current.reset(token)


class RequestIds:
    """Middleware that names each request and says the name in the answer."""

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponse]) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        sent = request.headers.get(HEADER, "")
        name = sent if _USABLE.fullmatch(sent) else uuid.uuid4().hex
        with named(name):
            response = self.get_response(request)
            response.headers[HEADER] = name
            return response
