"""Who is at the door, and for which of their memberships."""

from datetime import datetime

from django.contrib.auth import authenticate

from accounts.errors import DomainError, InvalidInput, NotAllowed
from accounts.language import gettext
from accounts.models import Membership, SecondFactor, User
from accounts.services import brakes, second_factor
from accounts.services.audit import record_refused_sign_in
from accounts.wall import over_all_companies


class WrongCredentials(DomainError):  # noqa: N818 - the words of the domain
    """The email or the password is wrong; which of the two is never said."""


class CodeNeeded(WrongCredentials):
    """The password is right, and a code is asked for beside it: none came, or a wrong one."""


def check_credentials(
    *, email: str, password: str, place: str, now: datetime, membership_id: int | None = None, code: str = ""
) -> Membership:
    """Give the membership of a person who knows the password: the one asked for, or the oldest.

    Who has a second factor gives a `code` of their authenticator too, or a recovery code. The membership says when and
    how the person proved who they are (`authenticated_at`, `has_given_code`).

    Raises WrongCredentials, CodeNeeded, TooManyTries, NotAllowed for a person without a membership, InvalidInput for a
    membership that is not theirs.
    """
    user = check_password_of(email=email, password=password, place=place, now=now, code=code)
    membership = _chosen(user, membership_id)
    membership.authenticated_at = now
    membership.has_given_code = SecondFactor.is_of(user)
    return membership


@over_all_companies()
def _chosen(user: User, membership_id: int | None) -> Membership:
    """The membership asked for, or the oldest."""
    rows = Membership.objects.filter(user_id=user.pk, is_active=True).select_related("company", "user").order_by("pk")
    if membership_id is None:
        membership = rows.first()
        if membership is None:
            raise NotAllowed("no_membership", "You belong to no company at present: ask an owner to invite you.")
    else:
        membership = rows.filter(pk=membership_id).first() if membership_id < 2**63 else None
        if membership is None:
            raise InvalidInput("membership_unknown", "You have no such membership.", pointer="/membership")
    return membership


def check_password_of(*, email: str, password: str, place: str, now: datetime, code: str = "") -> User:
    """Give the person who knows the password of an address and, where they have a second factor, a code.

    Every try is counted, by person and `place`, the network address it comes from; a failure is in the trail of the
    companies concerned. Call it outside of a transaction, so that both stay.

    Raises WrongCredentials for whoever does not know it, CodeNeeded for whoever gave no code or a wrong one,
    TooManyTries for whoever may not try now.
    """
    keys = brakes.take_try(person=email, place=place, now=now)
    account = User.objects.filter(email__iexact=email).order_by("pk").first()
    # For somebody unknown the password is hashed as well: the answer takes as long.
    user = authenticate(username=account.username if account is not None else email, password=password)
    if not isinstance(user, User):
        record_refused_sign_in(email=email, now=now)
        raise WrongCredentials("wrong_credentials", "The email or the password is wrong.")
    if SecondFactor.is_of(user):
        _check_code_beside_password(user=user, code=code, keys=keys, now=now)
    brakes.give_back(keys=keys, person=email, place=place, now=now)
    return user


def check_own_password(*, user: User, password: str, place: str, now: datetime) -> None:
    """Refuse whoever has a session or token of somebody and does not know their password; counted in the same way.

    Raises InvalidInput for `/current_password`, TooManyTries. Call it outside of a transaction.
    """
    keys = brakes.take_try(person=user.email, place=place, now=now)
    if not user.check_password(password):
        raise InvalidInput("wrong_password", "This is not your current password.", pointer="/current_password")
    brakes.give_back(keys=keys, person=user.email, place=place, now=now)


def check_own_code(*, user: User, code: str, place: str, now: datetime) -> None:
    """Refuse whoever has a session or token of somebody and no code of theirs; counted as passwords are.

    Raises InvalidInput for `/code`, TooManyTries. Call it outside of a transaction.
    """
    keys = brakes.take_try(person=user.email, place=place, now=now)
    if not second_factor.takes(user=user, code=code, now=now):
        raise InvalidInput("wrong_code", _wrong_code(), pointer="/code")
    brakes.give_back(keys=keys, person=user.email, place=place, now=now)


def _check_code_beside_password(*, user: User, code: str, keys: list[str], now: datetime) -> None:
    if not code:
        # A password alone that is right is no failure, but it frees nobody of the waits that wrong codes brought.
        brakes.take_back(keys=keys)
        raise CodeNeeded(
            "code_needed", "Send a code of your authenticator beside the password, as 'code', or a recovery code."
        )
    if not second_factor.takes(user=user, code=code, now=now):
        record_refused_sign_in(email=user.email, now=now)
        raise CodeNeeded("wrong_code", _wrong_code())


def _wrong_code() -> str:
    return gettext(
        "This is none of your codes at present: wait for the next one of your authenticator, or give a recovery code "
        "that was not used yet."
    )
