"""Clients sign in by a link that is sent to their address: whoever reads its mail needs no password."""

from datetime import datetime

from django.db import transaction

from accounts.errors import NotFound
from accounts.models import Letter, Membership, User
from accounts.services import links
from accounts.services.audit import record
from accounts.services.brakes import know_place, take_asking
from accounts.services.letters import write_letter
from accounts.wall import over_all_companies


def ask_for_sign_in(*, email: str, place: str, now: datetime) -> None:
    """Have a link sent to a client's address, by which whoever reads its mail signs in.

    Whether the address is a client's is looked up when the letter leaves, so that asking is the same for each. Raises
    TooManyTries when too much was asked for from `place`.
    """
    take_asking(place=place, now=now)
    write_letter(kind=Letter.Kind.SIGN_IN, email=email.strip().lower(), now=now)


@over_all_companies()
@transaction.atomic
def sign_in_by_link(*, token: str, place: str, now: datetime) -> Membership:
    """Give the client's membership that a link signs in for, once: the link is used from now on.

    From `place` they can sign in from now on, whatever strangers try. Leaves an audit entry. Raises NotFound when the
    link is of no use.
    """
    found = links.read_sign_in_token(token)
    # The lock first, then the look at the link: of two who follow it at once, one finds it used.
    locked = User.objects.select_for_update().filter(pk=found.pk).first() if found is not None else None
    user = links.read_sign_in_token(token)
    membership = links.client_membership_of(user) if locked is not None and user is not None else None
    if user is None or membership is None:
        raise NotFound("link_unknown", "This link is not one of ours, was used, or is too old: ask for another.")
    user.last_login = now
    user.save(update_fields=["last_login"])
    know_place(person=user.email, place=place, now=now)
    record(by=membership, action="sign in", subject=membership, details={"way": "link"}, now=now)
    return membership
