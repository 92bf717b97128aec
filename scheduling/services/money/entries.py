"""Prices, rates, contracts and warranties as people enter them; proposals follow, and what was issued stays."""

from datetime import datetime
from typing import Any

from django.db import transaction

from accounts.errors import Conflict, Fault, InvalidInput
from accounts.models import Membership
from accounts.services import record
from accounts.services.companies import lock_company
from scheduling.models import InvoicedWork, ServiceContract
from scheduling.models.covers import Cover


def enter(*, model: Any, by: Membership, now: datetime, **facts: Any) -> Any:
    """Store a row.

    Raises
    ------
    InvalidInput
        When a cover ends before it starts.
    """
    with transaction.atomic():
        row = model(company=by.company, **facts)
        _check(row)
        row.save()
        record(by=by, action=f"enter {model._meta.verbose_name}", subject=row, now=now)
    return row


def change_entry(*, row: Any, by: Membership, now: datetime, **facts: Any) -> Any:
    """Change a row.

    Raises
    ------
    InvalidInput
        When a cover would end before it starts.
    Conflict
        When periods of a contract would be counted anew although some are invoiced.
    """
    with transaction.atomic():
        lock_company(by.company_id)
        changed = [name for name, value in facts.items() if getattr(row, name) != value]
        if isinstance(row, ServiceContract):
            _refuse_recount(row, changed)
        for name in changed:
            setattr(row, name, facts[name])
        _check(row)
        if changed:
            row.save()
            record(by=by, action=f"change {row._meta.verbose_name}", subject=row, now=now)
    return row


def delete_entry(*, row: Any, by: Membership, now: datetime) -> None:
    """Delete a row; what was issued keeps what it said."""
    with transaction.atomic():
        lock_company(by.company_id)
        if isinstance(row, ServiceContract) and InvoicedWork.objects.filter(contract=row).exists():
            raise Conflict(
                "contract_is_invoiced", f"Periods of {row.name} are invoiced; give it a last day, ends_on, instead."
            )
        record(by=by, action=f"delete {row._meta.verbose_name}", subject=row, now=now)
        row.delete()


def _refuse_recount(contract: ServiceContract, changed: list[str]) -> None:
    fixed = sorted({"client", "starts_on", "per"} & set(changed))
    if fixed and InvoicedWork.objects.filter(contract=contract).exists():
        sentence = (
            f"Periods of {contract.name} are invoiced, so its client, first day and period stay; give it a last day "
            "and enter another contract."
        )
        raise Conflict("contract_is_invoiced", sentence, faults=[Fault(f"/{name}", sentence) for name in fixed])


def _check(row: Any) -> None:
    if not isinstance(row, Cover):
        return
    faults = []
    if row.ends_on is not None and row.ends_on < row.starts_on:
        faults.append(Fault("/ends_on", f"ends_on {row.ends_on} is before starts_on {row.starts_on}."))
    unit = row.unit  # type: ignore[attr-defined]
    if isinstance(row, ServiceContract):
        if unit is not None and unit.site.client_id != row.client_id:
            faults.append(
                Fault("/unit", f"unit {unit.code} is not this client's; give one of theirs, or leave it out.")
            )
    elif row.item is None and unit is None:  # type: ignore[attr-defined]
        faults.append(Fault("/unit", "A warranty is of a unit, of an item or of both; give one."))
    elif row.item is not None and (row.covers_labour or row.covers_travel):  # type: ignore[attr-defined]
        sentence = "The warranty of an item covers its pieces alone; enter one of the unit for labour and travel."
        faults += [Fault(f"/{name}", sentence) for name in ("covers_labour", "covers_travel") if getattr(row, name)]
    if faults:
        raise InvalidInput("cover_not_valid", faults[0].sentence, faults=faults)
