"""How long a browser stays signed in: until nobody used it for a while, and no longer than two weeks in any case.

The store of sessions ends one that was not written for `SESSION_COOKIE_AGE`. A session in use is written again now and
then, not with every request.
"""

from collections.abc import Callable
from datetime import UTC, datetime
from typing import Any, Final

from django.conf import settings
from django.contrib.auth import SESSION_KEY, logout
from django.http import HttpRequest, HttpResponse
from django.utils import timezone

from accounts.services.sessions import USE_NOTED_EVERY, forget_session, note_use

_USED_AT: Final = "used_at"
_SIGNED_IN_AT: Final = "signed_in_at"


class IdleSessionMiddleware:
    """Notes that a signed-in browser is in use, and ends its session when it has lasted long enough."""

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponse]) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        if settings.SESSION_COOKIE_NAME in request.COOKIES and SESSION_KEY in request.session:
            self._note(request, timezone.now())
        return self.get_response(request)

    def _note(self, request: HttpRequest, now: datetime) -> None:
        session: Any = request.session
        begun = _moment(session.get(_SIGNED_IN_AT)) or now
        used = _moment(session.get(_USED_AT))
        if now - begun > settings.LONGEST_SESSION:
            forget_session(key=session.session_key or "")
            logout(request)
            return
        noted_every = min(USE_NOTED_EVERY.total_seconds(), settings.SESSION_COOKIE_AGE / 10)
        if used is None or (now - used).total_seconds() >= noted_every:
            session[_SIGNED_IN_AT] = begun.timestamp()
            session[_USED_AT] = now.timestamp()
            note_use(key=session.session_key or "", now=now)


def _moment(seconds: float | None) -> datetime | None:
    return datetime.fromtimestamp(seconds, UTC) if seconds is not None else None
