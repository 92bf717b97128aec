"""People who do not exist, for companies that are invented: the one place where a password is chosen for somebody.

No route leads here.
"""

from datetime import datetime

from django.db import transaction

from accounts.models import Client, Membership, User
from accounts.services.audit import record
from accounts.services.members import check_client, new_account, only_owner


def choose_for_invented(*, user: User, password: str) -> None:
    """Choose the password of an invented person."""
    user.set_password(password)
    user.save(update_fields=["password"])


@transaction.atomic
def add_invented_person(
    *,
    by: Membership,
    email: str,
    role: str,
    password: str,
    now: datetime,
    client: Client | None = None,
    name: str = "",
) -> Membership:
    """Give an invented person a place in an invented company, whose owner `by` is. Leaves an audit entry.

    Raises NotAllowed; InvalidInput for a client role without its client (or a client with another role); Conflict when
    the address has an account: an account that is somebody's is never touched.
    """
    only_owner(by=by)
    check_client(by=by, role=role, client=client)
    user = new_account(email=email)
    choose_for_invented(user=user, password=password)
    membership = Membership.objects.create(user=user, company_id=by.company_id, role=role, client=client, name=name)
    record(by=by, action="add member", subject=membership, details={"role": role}, now=now)
    return membership
