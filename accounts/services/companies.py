"""A company as a whole: who changes it takes turns, and what rests on it follows."""

from collections.abc import Callable
from datetime import datetime
from typing import Any

from django.db import transaction

from accounts.errors import InvalidInput
from accounts.models import Company, Membership
from accounts.services.audit import record

Consequence = Callable[..., None]
"""Called with `company`, `fields` (names of what changed) and `now`, in the transaction of the change."""

_subscribed: dict[str, Consequence] = {}


def subscribe(name: str, consequence: Consequence) -> None:
    """Have something follow every change of a company; the same name again takes the place of the first.

    A room does so when its application is ready, so that nothing here has to know of it.
    """
    _subscribed[name] = consequence


def update_company(*, company: Company, by: Membership, now: datetime, **facts: Any) -> Company:
    """Change facts of a company; what is what it was changes nothing.

    Raises InvalidInput where `second_factor_roles` would lock out who sends it: they sign in with a code themselves.
    """
    if "second_factor_roles" in facts:
        facts["second_factor_roles"] = sorted(set(facts["second_factor_roles"]))
        if by.role in facts["second_factor_roles"] and not by.has_given_code:
            raise InvalidInput(
                "second_factor_of_your_own",
                f"You signed in without a code: set up your own second factor before you ask it of the role "
                f"'{by.role}'.",
                pointer="/second_factor_roles",
            )
    with transaction.atomic():
        lock_company(company.pk)
        fields = frozenset(name for name, value in facts.items() if getattr(company, name) != value)
        for name in fields:
            setattr(company, name, facts[name])
        if fields:
            company.save(update_fields=sorted(fields))
            record(by=by, action="update company", subject=company, now=now, details={"fields": sorted(fields)})
            for consequence in _subscribed.values():
                consequence(company=company, fields=fields, now=now)
    return company


def lock_company(company_id: int) -> None:
    """Hold a company's row until the transaction ends: whoever else asks for it waits.

    Whatever must not happen twice at once in a company, as finding its needs, planning its rounds or booking its stock,
    takes this lock first, before any row of its own; so two of them can wait for one another, never both.

    Raises
    ------
    TransactionManagementError
        Outside of a transaction.
    Company.DoesNotExist
        When the company is gone.
    """
    Company.objects.select_for_update(no_key=True).get(pk=company_id)
