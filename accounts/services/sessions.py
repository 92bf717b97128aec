"""Where people are signed in: their browsers and tokens, and how both end."""

from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Final

from django.contrib.sessions.models import Session
from django.db import transaction

from accounts.errors import InvalidInput, NotAllowed
from accounts.models import AccessToken, BrowserSession, Membership, User
from accounts.services.audit import record
from accounts.wall import over_all_companies

#: `last_used_at` answers "is this still in use?": once in a while is enough, and spares a write on every request.
USE_NOTED_EVERY: Final = timedelta(minutes=10)


@dataclass(frozen=True, slots=True)
class Ended:
    """How many ways in ended."""

    tokens: int
    sessions: int


def note_session(*, membership: Membership, key: str, device: str, now: datetime) -> BrowserSession:
    """Note that a browser is signed in."""
    return BrowserSession.objects.create(
        membership=membership, session_key=key, device=device[:200], signed_in_at=now, last_used_at=now
    )


@over_all_companies()
def note_use(*, key: str, now: datetime) -> None:
    """Note that a browser came again."""
    BrowserSession.objects.filter(session_key=key, last_used_at__lt=now - USE_NOTED_EVERY).update(last_used_at=now)


def rename_session(*, key: str, new_key: str) -> None:
    """Follow a session that was given another key, as it is when the password changes."""
    BrowserSession.objects.filter(session_key=key).update(session_key=new_key)


@over_all_companies()
@transaction.atomic
def act_for(*, by: Membership, membership_id: int, key: str, now: datetime) -> Membership:
    """Act in a browser for another of one's own memberships. Leaves an audit entry there.

    Raises InvalidInput for one that is not theirs.
    """
    rows = Membership.objects.filter(user_id=by.user_id, is_active=True).select_related("company", "user")
    chosen = rows.filter(pk=membership_id).first() if membership_id < 2**63 else None
    if chosen is None:
        raise InvalidInput("membership_unknown", "You have no such membership.", pointer="/membership")
    BrowserSession.objects.filter(session_key=key).update(membership=chosen, last_used_at=now)
    record(by=chosen, action="sign in", subject=chosen, details={"way": "browser"}, now=now)
    return chosen


@over_all_companies()
def forget_session(*, key: str) -> None:
    """Forget a browser that signed out."""
    BrowserSession.objects.filter(session_key=key).delete()


@over_all_companies()
def end_access(*, user: User, keep_token: AccessToken | None = None, keep_session: str | None = None) -> Ended:
    """End every way in of a person, in all companies, but those of their meters and what is to be kept."""
    tokens = AccessToken.objects.filter(user=user, meter_unit_id=None)
    if keep_token is not None:
        tokens = tokens.exclude(pk=keep_token.pk)
    sessions = BrowserSession.objects.filter(membership__user=user).exclude(session_key=keep_session or "")
    Session.objects.filter(session_key__in=list(sessions.values_list("session_key", flat=True))).delete()
    ended_sessions, _ = sessions.delete()
    revoked, _ = tokens.delete()
    return Ended(tokens=revoked, sessions=ended_sessions)


def end_sessions_of(*, membership: Membership) -> None:
    """End the browsers that are signed in for a membership that ended."""
    sessions = BrowserSession.objects.filter(membership=membership)
    Session.objects.filter(session_key__in=list(sessions.values_list("session_key", flat=True))).delete()
    sessions.delete()


@transaction.atomic
def end_all(*, by: Membership, now: datetime) -> Ended:
    """End every session and token of one's own, in all companies, the one it is asked with too; those of meters stay.

    Leaves an audit entry.
    """
    ended = end_access(user=by.user)
    details = {"tokens_revoked": ended.tokens, "sessions_ended": ended.sessions}
    record(by=by, action="close sessions", subject=by, details=details, now=now)
    return ended


@transaction.atomic
def end_session(*, by: Membership, session: BrowserSession, now: datetime) -> None:
    """End one session. Leaves an audit entry.

    Everyone ends their own, the owner every one of the company; NotAllowed otherwise.
    """
    is_owner = by.role == Membership.Role.OWNER and session.membership.company_id == by.company_id
    if session.membership_id != by.pk and not is_owner:
        raise NotAllowed("session_of_another", "This session belongs to another member.")
    record(by=by, action="close session", subject=session.membership, details={"device": session.device}, now=now)
    Session.objects.filter(session_key=session.session_key).delete()
    session.delete()


@over_all_companies()
def forget_ended_sessions(*, now: datetime) -> int:
    """Delete sessions that ended by themselves, and say how many."""
    deleted, _ = Session.objects.filter(expire_date__lt=now).delete()
    BrowserSession.objects.exclude(session_key__in=Session.objects.values("session_key")).delete()
    return deleted
