"""A server with the key that stands in its source answers this machine alone.

Whoever knows the key can sign sessions and links of anybody. What the settings say of a public server is refused at the
start already; which address a server listens on stands in no setting, so the callers are looked at as well.
"""

import ipaddress
from collections.abc import Callable
from typing import Final

from django.conf import settings
from django.core.exceptions import MiddlewareNotUsed
from django.http import HttpRequest, HttpResponse

from accounts.http.problems import problem_page

_PROXY_HEADERS: Final = ("X-Forwarded-For", "X-Forwarded-Host", "X-Real-IP", "Forwarded")
SENTENCE: Final = (
    "This server has no SECRET_KEY of its own and answers only callers on its own machine: set SECRET_KEY to 50 or "
    "more random characters, and start it again."
)


class OwnKeyMiddleware:
    """Refuses callers from elsewhere, and those whom a proxy brings, while the server has no key of its own."""

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponse]) -> None:
        if settings.HAS_OWN_KEY or settings.DEBUG:
            raise MiddlewareNotUsed
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        if comes_from_here(request):
            return self.get_response(request)
        return problem_page(503, SENTENCE)


def comes_from_here(request: HttpRequest) -> bool:
    """Whether the caller is on this machine: by a loopback address or a socket file, and for nobody else."""
    if any(name in request.headers for name in _PROXY_HEADERS):
        return False
    place = request.META.get("REMOTE_ADDR", "")
    try:
        return not place or ipaddress.ip_address(place).is_loopback
    except ValueError:
        return False
