"""Links that are sent by e-mail: signed, for a while, and of use once."""

from django.conf import settings
from django.core import signing

from accounts.models import Invitation

INVITATION = "invitation/"
_INVITATION_SALT = "accounts.invitation"


def address_of(path: str) -> str:
    """The whole address of a page; only its path where the settings do not name the server.

    The name in a request's Host header is never used: whoever sends the request chooses it.
    """
    return f"{settings.PUBLIC_URL}/{path}"


def invitation_token(invitation: Invitation) -> str:
    """The signed part of the link of an invitation."""
    return signing.dumps(invitation.pk, salt=_INVITATION_SALT)


def read_invitation_token(token: str) -> int | None:
    """The key of the invitation that a link speaks of; None when it was not signed here."""
    try:
        key = signing.loads(token, salt=_INVITATION_SALT)
    except signing.BadSignature:
        return None
    return int(key)
