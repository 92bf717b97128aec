"""Addresses for whoever keeps the server running: is the process alive, can it answer, and what is measured."""

from django.conf import settings
from django.http import Http404, HttpRequest, HttpResponse, JsonResponse
from django.utils.crypto import constant_time_compare
from django.views.decorators.cache import never_cache
from django.views.decorators.http import require_safe
from prometheus_client import CONTENT_TYPE_LATEST, generate_latest

from accounts.http.problems import problem_page
from accounts.observing.installation import Installation
from accounts.observing.metrics import counted_requests
from accounts.observing.readiness import OK, readiness


@require_safe
@never_cache
def alive(request: HttpRequest) -> JsonResponse:
    """The process answers; nothing else is asked."""
    return JsonResponse({"process": OK})


@require_safe
@never_cache
def ready(request: HttpRequest) -> JsonResponse:
    """200 where database, tables and queue are there; else 503, and which of them is not."""
    parts = readiness()
    return JsonResponse(dict(parts), status=200 if set(parts.values()) == {OK} else 503)


@require_safe
@never_cache
def measured(request: HttpRequest) -> HttpResponse:
    """What is counted and measured, for a Prometheus that has the token of the settings; without one, for nobody."""
    if not settings.METRICS_TOKEN:
        raise Http404
    if not constant_time_compare(request.headers.get("Authorization", ""), f"Bearer {settings.METRICS_TOKEN}"):
        refused = problem_page(401, "Send the header Authorization: Bearer, and the METRICS_TOKEN of this server.")
        refused.headers["WWW-Authenticate"] = "Bearer"
        return refused
    registry = counted_requests()
    registry.register(Installation())
    return HttpResponse(generate_latest(registry), content_type=CONTENT_TYPE_LATEST)
