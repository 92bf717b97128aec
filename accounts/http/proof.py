"""What a session remembers of how its person proved who they are: when, and whether by a code too.

Tokens remember the same in columns of their own (`accounts.models.AccessToken`).
"""

from datetime import UTC, datetime
from typing import Any, Final

from accounts.models import AccessToken, Membership

_AT: Final = "authenticated_at"
_BY_CODE: Final = "has_given_code"


def note_proof(session: Any, membership: Membership) -> None:
    """Keep in a browser's session how the member it was begun for, or who asks with it, proved who they are."""
    moment = membership.authenticated_at
    session[_AT] = moment.timestamp() if moment is not None else None
    session[_BY_CODE] = membership.has_given_code


def with_proof_of_session(membership: Membership | None, session: Any) -> Membership | None:
    """Put what a session remembers on the member it acts for."""
    if membership is not None:
        seconds = session.get(_AT)
        membership.authenticated_at = datetime.fromtimestamp(seconds, UTC) if seconds is not None else None
        membership.has_given_code = bool(session.get(_BY_CODE))
    return membership


def with_proof_of_token(membership: Membership, token: AccessToken) -> Membership:
    """Put what a token remembers on the member it acts for."""
    membership.authenticated_at = token.authenticated_at
    membership.has_given_code = token.has_given_code
    return membership
