"""Who is at the door, and for which of their memberships."""

from datetime import datetime

from django.contrib.auth import authenticate
from django.contrib.auth.password_validation import validate_password
from django.core.exceptions import ValidationError
from django.db import transaction

from accounts.errors import DomainError, Fault, InvalidInput, NotAllowed
from accounts.models import AccessToken, Membership, User
from accounts.services.audit import record


class WrongCredentials(DomainError):  # noqa: N818 - the words of the domain
    """The email or the password is wrong; which of the two is never said."""


def check_credentials(*, email: str, password: str, membership_id: int | None = None) -> Membership:
    """Give the membership of a person who knows the password: the one asked for, or the oldest.

    Changes nothing. Raises WrongCredentials, NotAllowed for a person without a membership, InvalidInput for a
    membership that is not theirs.
    """
    account = User.objects.filter(email__iexact=email).order_by("pk").first()
    # For somebody unknown the password is hashed as well: the answer takes as long.
    user = authenticate(username=account.username if account is not None else email, password=password)
    if user is None:
        raise WrongCredentials("wrong_credentials", "The email or the password is wrong.")
    rows = Membership.objects.filter(user_id=user.pk, is_active=True).select_related("company", "user").order_by("pk")
    if membership_id is None:
        membership = rows.first()
        if membership is None:
            raise NotAllowed("no_membership", "You belong to no company at present: ask its owner to add you.")
        return membership
    chosen = rows.filter(pk=membership_id).first() if membership_id < 2**63 else None
    if chosen is None:
        raise InvalidInput("membership_unknown", "You have no such membership.", pointer="/membership")
    return chosen


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
    tokens = AccessToken.objects.filter(user=user, meter_unit_id=None)
    if keep_token is not None:
        tokens = tokens.exclude(pk=keep_token.pk)
    revoked, _ = tokens.delete()
    record(by=by, action="change password", subject=user, details={"tokens_revoked": revoked}, now=now)


def check_new_password(*, user: User, password: str, pointer: str) -> None:
    """Refuse a password that is too easy to guess."""
    try:
        validate_password(password, user)
    except ValidationError as error:
        faults = [Fault(pointer, sentence) for sentence in error.messages]
        raise InvalidInput("weak_password", "This password is too easy to guess.", faults=faults) from None
