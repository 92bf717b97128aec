"""Passwords: chosen by the person alone, with the one they had or by a link that was sent to their address."""

from datetime import datetime

from django.contrib.auth.password_validation import validate_password
from django.core.exceptions import ValidationError
from django.db import transaction

from accounts.errors import Fault, InvalidInput
from accounts.models import AccessToken, Membership, User
from accounts.services.audit import record


@transaction.atomic
def change_password(
    *, by: Membership, current: str, new: str, now: datetime, keep_token: AccessToken | None = None
) -> None:
    """Change one's own password, and revoke every token of one's own but `keep_token` and those of meters.

    Leaves an audit entry. Raises InvalidInput when `current` is wrong or `new` is too easy to guess.
    """
    user = by.user
    if not user.check_password(current):
        raise InvalidInput("wrong_password", "This is not your current password.", pointer="/current_password")
    check_new_password(user=user, password=new, pointer="/new_password")
    user.set_password(new)
    user.save(update_fields=["password"])
    revoked = _revoke_tokens(user, keep=keep_token)
    record(by=by, action="change password", subject=user, details={"tokens_revoked": revoked}, now=now)


def choose_by_link(*, user: User, password: str, now: datetime) -> int:
    """Have whoever proved the address choose the password of an account: every other way in ends.

    Sessions end with the password they began with; revoked are the tokens but those of meters, and how many is given.
    Raises InvalidInput when it is too easy to guess. Call it in a transaction.
    """
    check_new_password(user=user, password=password, pointer="/password")
    user.set_password(password)
    user.email_proven_at = now
    user.save(update_fields=["password", "email_proven_at"])
    return _revoke_tokens(user)


def check_new_password(*, user: User, password: str, pointer: str) -> None:
    """Refuse a password that is too easy to guess."""
    try:
        validate_password(password, user)
    except ValidationError as error:
        faults = [Fault(pointer, sentence) for sentence in error.messages]
        raise InvalidInput("weak_password", "This password is too easy to guess.", faults=faults) from None


def _revoke_tokens(user: User, *, keep: AccessToken | None = None) -> int:
    tokens = AccessToken.objects.filter(user=user, meter_unit_id=None)
    revoked, _ = (tokens.exclude(pk=keep.pk) if keep is not None else tokens).delete()
    return revoked
