"""Two addresses for whoever keeps the server running: is the process alive, and can it answer."""

from django.http import HttpRequest, JsonResponse
from django.views.decorators.cache import never_cache
from django.views.decorators.http import require_safe

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
