"""The session of a browser: how it begins, for whom it acts, and how it ends. The API and the pages share it."""

from datetime import datetime
from typing import Any, Final

from django.contrib.auth import login, logout
from django.http import HttpRequest

from accounts import services
from accounts.http.proof import note_proof, with_proof_of_session
from accounts.models import Membership, User
from accounts.wall import enter_company, over_all_companies

SESSION_MEMBERSHIP: Final = "membership_id"
_BACKEND: Final = "django.contrib.auth.backends.ModelBackend"


def begin_session(request: HttpRequest, membership: Membership, *, now: datetime) -> None:
    """Sign a browser in for a membership, and note where that is."""
    login(request, membership.user, backend=_BACKEND)
    request.session[SESSION_MEMBERSHIP] = membership.pk
    note_proof(request.session, membership)
    services.note_session(
        membership=membership,
        key=request.session.session_key or "",
        device=request.headers.get("User-Agent", ""),
        now=now,
    )


def end_session(request: HttpRequest) -> None:
    """Sign a browser out."""
    services.forget_session(key=request.session.session_key or "")
    logout(request)


def membership_in_session(request: Any, user: User) -> Membership | None:
    """The membership that was chosen when the session began, or else the oldest; None where it ended.

    The request works for its company from then on.
    """
    rows = Membership.objects.filter(user=user, is_active=True).select_related("company", "user")
    chosen = request.session.get(SESSION_MEMBERSHIP)
    with over_all_companies():
        membership = rows.filter(pk=chosen).first() if chosen is not None else rows.order_by("pk").first()
    if membership is not None:
        enter_company(membership.company_id)
    return with_proof_of_session(membership, request.session)
