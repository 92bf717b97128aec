"""Links that are sent by e-mail: signed, for a while, and of use once.

Those of accounts come from Django's generator for lost passwords: a link dies after `PASSWORD_RESET_TIMEOUT`, and with
the password, the address and the sign-in of a browser that the account had when it was made.
"""

from typing import Any

from django.conf import settings
from django.contrib.auth.tokens import PasswordResetTokenGenerator
from django.core import signing
from django.utils.http import urlsafe_base64_decode, urlsafe_base64_encode

from accounts.models import Invitation, Membership, SecondFactor, User
from accounts.wall import over_all_companies

INVITATION = "invitation/"
PASSWORD = "password/"
NEW_ADDRESS = "new-address/"
SIGN_IN = "sign-in/link/"
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


class _PasswordLinks(PasswordResetTokenGenerator):
    """Links by which whoever reads the mail of an account chooses its password."""

    key_salt = "accounts.password"


class _FirstPasswordLinks(PasswordResetTokenGenerator):
    """Links that an administrator of the server hands on; they prove no address."""

    key_salt = "accounts.first_password"


class _AddressLinks(PasswordResetTokenGenerator):
    """Links that prove one new address of one account."""

    key_salt = "accounts.new_address"

    def __init__(self, address: str) -> None:
        super().__init__()
        self.address = address

    def _make_hash_value(self, user: Any, timestamp: int) -> str:
        return f"{super()._make_hash_value(user, timestamp)}{self.address}"


class _SignInLinks(PasswordResetTokenGenerator):
    """Links that sign a client in."""

    key_salt = "accounts.sign_in"

    def _make_hash_value(self, user: Any, timestamp: int) -> str:
        # The library leaves out fractions of a second, in which a link could be used twice.
        moment = user.last_login.isoformat() if user.last_login is not None else ""
        return f"{super()._make_hash_value(user, timestamp)}{moment}"


def password_token(user: User, *, proves_address: bool = True) -> str:
    """The signed part of a link that chooses a password."""
    links = _PasswordLinks() if proves_address else _FirstPasswordLinks()
    return f"{_encoded(str(user.pk))}.{links.make_token(user)}"


def read_password_token(token: str) -> tuple[User, bool] | None:
    """Whose password a link chooses, and whether it proves the address; None where it is of no use."""
    user, _, signed = _user_of(token)
    if user is None:
        return None
    if _PasswordLinks().check_token(user, signed):
        return user, True
    return (user, False) if _FirstPasswordLinks().check_token(user, signed) else None


def address_token(user: User, address: str) -> str:
    """The signed part of a link that proves a new address of an account."""
    return f"{_encoded(str(user.pk))}.{_encoded(address)}.{_AddressLinks(address).make_token(user)}"


def read_address_token(token: str) -> tuple[User, str] | None:
    """Whose new address a link proves, and the address; None where it is of no use."""
    user, between, signed = _user_of(token)
    address = _decoded(between)
    return (user, address) if user is not None and _AddressLinks(address).check_token(user, signed) else None


def sign_in_token(user: User) -> str:
    """The signed part of a link that signs in."""
    return f"{_encoded(str(user.pk))}.{_SignInLinks().make_token(user)}"


def read_sign_in_token(token: str) -> User | None:
    """Whom a link signs in; None where it is of no use."""
    user, _, signed = _user_of(token)
    return user if user is not None and _SignInLinks().check_token(user, signed) else None


@over_all_companies()
def client_membership_of(user: User | None) -> Membership | None:
    """The oldest membership of somebody who is a client wherever they are a member, and nothing else; None for others.

    A mailbox alone opens no office: who may do more signs in with a password, and who signs in with a code gives it.
    """
    if user is None or SecondFactor.is_of(user):
        return None
    memberships = Membership.objects.filter(user=user, is_active=True).select_related("company", "user").order_by("pk")
    are_clients = all(row.role == Membership.Role.CLIENT for row in memberships)
    return memberships[0] if memberships and are_clients else None


def _user_of(token: str) -> tuple[User | None, str, str]:
    """The person a token speaks of, what stands between, and what is signed; nothing is checked yet."""
    first, _, rest = token.partition(".")
    between, _, signed = rest.rpartition(".")
    key = _decoded(first)
    user = User.objects.filter(pk=int(key), is_active=True).first() if key.isdecimal() and len(key) < 19 else None
    return user, between, signed


def _encoded(text: str) -> str:
    return urlsafe_base64_encode(text.encode())


def _decoded(text: str) -> str:
    try:
        return urlsafe_base64_decode(text).decode()
    except ValueError:
        return ""
