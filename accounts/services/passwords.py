"""Passwords: chosen by the person alone, with the one they had or by a link that was sent to their address."""

from datetime import datetime

from django.contrib.auth.password_validation import validate_password
from django.core.exceptions import ValidationError
from django.db import transaction

from accounts.errors import Fault, InvalidInput, NotFound
from accounts.models import AccessToken, Letter, Membership, User
from accounts.services import links
from accounts.services.audit import record
from accounts.services.brakes import know_place, take_asking
from accounts.services.letters import write_letter
from accounts.services.sessions import end_access
from accounts.services.signing_in import check_own_password
from accounts.wall import over_all_companies


def change_password(
    *,
    by: Membership,
    current: str,
    new: str,
    place: str,
    now: datetime,
    keep_token: AccessToken | None = None,
    keep_session: str | None = None,
) -> None:
    """Change one's own password, and end every other way in of one's own, in all companies, but those of meters.

    Stays what it was asked with, `keep_token` or the session with the key `keep_session`. The person is told. Leaves an
    audit entry. Raises InvalidInput when `current` is wrong or `new` is too easy to guess, TooManyTries when it was
    tried too often, from `place` or in all.
    """
    user = by.user
    check_own_password(user=user, password=current, place=place, now=now)
    check_new_password(user=user, password=new, pointer="/new_password")
    with transaction.atomic():
        user.set_password(new)
        user.save(update_fields=["password"])
        ended = end_access(user=user, keep_token=keep_token, keep_session=keep_session)
        write_letter(kind=Letter.Kind.PASSWORD_CHANGED, email=user.email, user=user, now=now)
        record(by=by, action="change password", subject=user, details={"tokens_revoked": ended.tokens}, now=now)


def ask_for_reset(*, email: str, place: str, now: datetime) -> None:
    """Have a link sent to an address, by which whoever reads its mail chooses the password.

    Whether the address is known is looked up when the letter leaves, so that asking is the same for each. Raises
    TooManyTries when too much was asked for from `place`.
    """
    take_asking(place=place, now=now)
    write_letter(kind=Letter.Kind.PASSWORD_RESET, email=email.strip().lower(), now=now)


@over_all_companies()
@transaction.atomic
def reset_password(*, token: str, password: str, place: str, now: datetime) -> User:
    """Choose a password by a link, once; every way in of the person ends, but those of meters, and they are told.

    From `place` they can sign in from now on, whatever strangers try.

    Leaves an audit entry in each of their companies.

    Raises
    ------
    NotFound
        When the link is of no use.
    InvalidInput
        When the password is too easy to guess.
    """
    found = links.read_password_token(token)
    # The lock first, then the look at the link: of two who follow it at once, one finds it used.
    locked = User.objects.select_for_update().filter(pk=found[0].pk).first() if found is not None else None
    found = links.read_password_token(token)
    if locked is None or found is None:
        raise NotFound("link_unknown", "This link is not one of ours, was used, or is too old: ask for another.")
    user, proves_address = found
    revoked = choose_by_link(user=user, password=password, now=now, proves_address=proves_address)
    if proves_address:
        write_letter(kind=Letter.Kind.PASSWORD_CHANGED, email=user.email, user=user, now=now)
    know_place(person=user.email, place=place, now=now)
    for membership in Membership.objects.filter(user=user, is_active=True).select_related("user").order_by("pk"):
        record(by=membership, action="reset password", subject=user, details={"tokens_revoked": revoked}, now=now)
    return user


def choose_by_link(*, user: User, password: str, now: datetime, proves_address: bool = True) -> int:
    """Have whoever has the link choose the password of an account: every other way in ends, but those of meters.

    How many tokens were revoked is given. Raises InvalidInput when the password is too easy to guess. Call it in a
    transaction.
    """
    check_new_password(user=user, password=password, pointer="/password")
    user.set_password(password)
    if proves_address:
        user.email_proven_at = now
    user.save(update_fields=["password", "email_proven_at"])
    return end_access(user=user).tokens


def check_new_password(*, user: User, password: str, pointer: str) -> None:
    """Refuse a password that is too easy to guess."""
    try:
        validate_password(password, user)
    except ValidationError as error:
        faults = [Fault(pointer, sentence) for sentence in error.messages]
        raise InvalidInput("weak_password", "This password is too easy to guess.", faults=faults) from None
