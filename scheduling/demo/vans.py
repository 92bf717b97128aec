"""Installers with their vans and stock, and what they have done so far, for the invented company."""

from collections import Counter
from collections.abc import Mapping
from datetime import datetime, time
from typing import Any

from django.db import transaction

from accounts.models import Company, Membership
from fleet.demo.records import Call, Life
from fleet.demo.scenario import Scenario
from fleet.models import CatalogueItem, Position, Unit
from scheduling.demo import words
from scheduling.models import CompanyPolicy, Installer, Need, ServiceRecord, StockLevel, StockMovement
from scheduling.planning.policy import Policy
from scheduling.services.policy import read_policy
from scheduling.services.stock.ledger import opening_of


@transaction.atomic
def load_vans(
    *, company: Company, members: Mapping[str, Membership], scenario: Scenario, counted_at: datetime
) -> dict[str, Installer]:
    """Load installers, van and store stock, and the company's policy; installers by the scenario's key."""
    installers = {
        spec.key: Installer.objects.create(
            company=company,
            membership=members[spec.email],
            name=spec.name,
            van=spec.van,
            home_latitude=spec.home_latitude,
            home_longitude=spec.home_longitude,
            shift_starts=time.fromisoformat(spec.shift_starts),
            shift_ends=time.fromisoformat(spec.shift_ends),
            weekdays=list(spec.weekdays),
        )
        for spec in scenario.installers
    }
    items = {item.code: item for item in CatalogueItem.objects.of_company(company)}
    levels = [
        StockLevel(
            company=company,
            item=items[row["item"]],
            installer=installers[row["van"]] if row["van"] else None,
            quantity=int(row["quantity"]),
            counted_at=counted_at,
        )
        for row in scenario.stock
    ]
    StockMovement.objects.bulk_create(opening_of(level) for level in StockLevel.objects.bulk_create(levels))
    CompanyPolicy.objects.create(company=company, settings=dict(scenario.company["policy"]))
    return installers


@transaction.atomic
def load_past_work(
    *, company: Company, members: Mapping[str, Membership], scenario: Scenario, lives: Mapping[str, Life], now: datetime
) -> None:
    """Load the reports of past calls, as they stood in the company's files before this house had them.

    The cartridges are in the card index already and the stock was counted since, so nothing else follows from them but
    when each tank was last sanitised.
    """
    units = {unit.code: unit for unit in Unit.objects.of_company(company).select_related("site")}
    positions = {(row.unit_id, row.order): row.pk for row in Position.objects.of_company(company)}
    items = {item.code: item.pk for item in CatalogueItem.objects.of_company(company)}
    usual = read_policy(company=company).planning
    records, sanitised = [], []
    for life in lives.values():
        unit = units[life.unit.code]
        by = members[scenario.installer_of(life.unit).email]
        for number, call in enumerate(life.calls, start=1):
            records.append(
                ServiceRecord(
                    company=company,
                    site=unit.site,
                    reference=f"{unit.code}-call-{number}",
                    done_at=call.at,
                    done_by=by,
                    minutes=_minutes(call, usual),
                    work=_work(call, unit, positions, items),
                    parts=_cartridges(call, items),
                    note=words.earlier_files(),
                    received_at=now,
                )
            )
            if any(action.action == Need.Kind.SANITISE for action in call.actions):
                sanitised.append(_sanitised(company, unit, call.at))
    ServiceRecord.objects.bulk_create(records)
    Need.objects.bulk_create(sanitised)


def _work(
    call: Call, unit: Unit, positions: Mapping[tuple[int, int], int], items: Mapping[str, int]
) -> list[dict[str, Any]]:
    return [
        {
            "action": action.action,
            "unit": unit.pk,
            "position": positions.get((unit.pk, action.order)),
            "item": items.get(action.item),
            "serial_or_lot": action.lot,
            "removal": action.removal,
            "needs": [],
            "note": "",
        }
        for action in call.actions
    ]


def _minutes(call: Call, usual: Policy) -> int:
    return round(usual.removal_minutes + sum(usual.task_minutes[action.action] for action in call.actions))


def _cartridges(call: Call, items: Mapping[str, int]) -> list[dict[str, int]]:
    """The cartridges that were fitted, out of the van; small parts were not written down then."""
    fitted = Counter(items[action.item] for action in call.actions if action.item in items)
    return [
        {"item": item, "quantity": count, "from_van": count, "from_store": 0, "uncounted": 0}
        for item, count in sorted(fitted.items())
    ]


def _sanitised(company: Company, unit: Unit, at: datetime) -> Need:
    return Need(
        company=company,
        site=unit.site,
        unit=unit,
        kind=Need.Kind.SANITISE,
        key=f"sanitise:unit-{unit.pk}",
        state=Need.State.DONE,
        minutes=25,
        created_at=at,
        updated_at=at,
        closed_at=at,
    )
