"""How often each address is asked, what it answers and how long that takes, counted for a Prometheus.

The address is that of the route, such as `/api/v1/units/<pk>/`, so that there are as many series as routes and none
names a person. Where `PROMETHEUS_MULTIPROC_DIR` is set, as `fleet/config/server/web.py` does, the processes of one
server count together, in files of that folder.
"""

import os
import re
import time
from collections.abc import Callable
from functools import lru_cache
from typing import Final

from django.contrib.admindocs.views import simplify_regex
from django.http import HttpRequest, HttpResponse
from prometheus_client import CollectorRegistry, Counter, Histogram
from prometheus_client.multiprocess import MultiProcessCollector

FOLDER: Final = "PROMETHEUS_MULTIPROC_DIR"

_METHODS: Final = frozenset({"GET", "HEAD", "OPTIONS", "POST", "PATCH", "PUT", "DELETE"})
_NO_ROUTE: Final = "none"

_counted = CollectorRegistry()
_REQUESTS: Final = Counter(
    "ro_fleet_requests", "Requests answered, by route and status.", ["method", "route", "status"], registry=_counted
)
_SECONDS: Final = Histogram(
    "ro_fleet_request_seconds",
    "Time from a request to its answer, by route.",
    ["method", "route"],
    # from a row that is found at once to a plan that is made while somebody waits
    buckets=(0.01, 0.025, 0.05, 0.1, 0.25, 0.5, 1.0, 2.5, 10.0, 60.0),
    registry=_counted,
)


class CountsRequests:
    """Middleware that counts each answer and the seconds it took."""

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponse]) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        began = time.perf_counter()
        response = self.get_response(request)
        # Words that a stranger may choose freely must not become series.
        method = request.method if request.method in _METHODS else "other"
        route = route_of(request)
        _SECONDS.labels(method, route).observe(time.perf_counter() - began)
        _REQUESTS.labels(method, route, response.status_code).inc()
        return response


def counted_requests() -> CollectorRegistry:
    """A registry with what was counted: by all processes of this server, where they share a folder."""
    registry = CollectorRegistry()
    if os.environ.get(FOLDER):
        MultiProcessCollector(registry)
    else:
        registry.register(_counted)
    return registry


def route_of(request: HttpRequest) -> str:
    """The template of the route that answers a request; 'none' where no route does, as for files of pages."""
    match = request.resolver_match
    return _plain(match.route) if match is not None else _NO_ROUTE


@lru_cache(maxsize=2000)
def _plain(route: str) -> str:
    """A route without the marks of regular expressions and converters.

    >>> _plain("api/v1/^units/(?P<pk>[^/.]+)/$")
    '/api/v1/units/<pk>/'
    >>> _plain("my-day/<int:pk>/")
    '/my-day/<pk>/'
    """
    return re.sub(r"<\w+:(\w+)>", r"<\1>", simplify_regex(route))
