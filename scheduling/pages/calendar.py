"""The calendar behind a secret address: what a telephone that subscribed to it fetches."""

from django.http import Http404, HttpRequest, HttpResponse
from django.utils import timezone
from django.views.decorators.http import require_safe
from rest_framework.request import Request

from accounts.http.throttles import AddressThrottle
from scheduling.services.rounds.calendar_feeds import served_calendar


class CalendarThrottle(AddressThrottle):
    """Calendars fetched from one address."""

    scope = "calendar-address"


@require_safe
def calendar(request: HttpRequest, secret: str) -> HttpResponse:
    """The visits; nothing tells a wrong secret from one that was ended."""
    if not CalendarThrottle().allow_request(Request(request), None):
        return HttpResponse(status=429, headers={"Retry-After": "60"})
    content = served_calendar(secret=secret, now=timezone.now())
    if content is None:
        raise Http404
    # The secret stands in the address: neither caches nor the pages of others may keep it.
    headers = {"Cache-Control": "private, no-cache", "Referrer-Policy": "no-referrer", "X-Robots-Tag": "noindex"}
    return HttpResponse(content, content_type="text/calendar; charset=utf-8", headers=headers)
