"""How a person's e-mail address changes: the new one is proven, and the old one is told."""

from datetime import datetime

from django.db import IntegrityError, transaction
from django.db.models import Q

from accounts.errors import Conflict, NotFound
from accounts.models import Letter, Membership, User
from accounts.services import links
from accounts.services.audit import record
from accounts.services.letters import write_letter
from accounts.services.signing_in import check_own_password
from accounts.wall import over_all_companies


def ask_for_new_address(*, by: Membership, email: str, current_password: str, place: str, now: datetime) -> None:
    """Have a link sent to a new address of one's own; nothing changes until it is followed. Leaves an audit entry.

    Whether the address has an account is looked up when the letter leaves, and then none does. Raises InvalidInput when
    the password is wrong, TooManyTries when it was tried too often, from `place` or in all.
    """
    check_own_password(user=by.user, password=current_password, place=place, now=now)
    with transaction.atomic():
        write_letter(kind=Letter.Kind.NEW_ADDRESS, email=email.strip().lower(), user=by.user, now=now)
        record(by=by, action="want address", subject=by, now=now)


@over_all_companies()
@transaction.atomic
def take_new_address(*, token: str, now: datetime) -> User:
    """Let a person sign in with the address whose link was followed; the old address is told.

    Leaves an audit entry in each of their companies.

    Raises
    ------
    NotFound
        When the link is of no use.
    Conflict
        When somebody else has the address by now.
    """
    found = links.read_address_token(token)
    locked = User.objects.select_for_update().filter(pk=found[0].pk).first() if found is not None else None
    found = links.read_address_token(token)
    if locked is None or found is None:
        raise NotFound("link_unknown", "This link is not one of ours, was used, or is too old: ask for another.")
    user, address = found
    old = user.email
    if User.objects.filter(Q(email__iexact=address) | Q(username__iexact=address)).exclude(pk=user.pk).exists():
        raise _taken()
    if user.username.lower() == old.lower():
        user.username = address
    user.email, user.email_proven_at = address, now
    try:
        with transaction.atomic():
            user.save(update_fields=["email", "username", "email_proven_at"])
    except IntegrityError:
        raise _taken() from None
    write_letter(kind=Letter.Kind.ADDRESS_CHANGED, email=old, user=user, now=now)
    for membership in Membership.objects.filter(user=user, is_active=True).select_related("user").order_by("pk"):
        details = {"old": old, "new": address}
        record(by=membership, action="change address", subject=membership, details=details, now=now)
    return user


def _taken() -> Conflict:
    return Conflict("address_in_use", "This address has an account already: the address stays as it was.")
