"""What a company's units call for as of one day, as unsaved `Need` rows."""

from collections.abc import Callable, Collection
from dataclasses import replace
from datetime import date

from accounts.models import Company
from scheduling.models import Need
from scheduling.planning.company_rules import ServicePolicy
from scheduling.planning.needs.ahead import next_change
from scheduling.planning.needs.decide import tasks_of_unit
from scheduling.planning.needs.facts import UnitFacts
from scheduling.planning.needs.from_gauges import can_be_read, with_reading
from scheduling.planning.needs.tasks import Task
from scheduling.services.needs.facts import FleetFacts, read_facts
from scheduling.services.needs.gauges import read_gauges

#: Called with a unit and the day on which time alone changes what it calls for, as `next_change` finds it.
ChangeAhead = Callable[[int, date], object]


def compute_needs(
    *,
    company: Company,
    policy: ServicePolicy,
    today: date,
    units: Collection[int] | None = None,
    change_ahead: ChangeAhead | None = None,
) -> list[Need]:
    """Every task the company's units call for, unsaved and without its curve, ordered by key.

    Parameters
    ----------
    company
        Whose units.
    policy
        Prices, risks and times.
    today
        The company's day.
    units
        Ids of the units that are looked at; None: all.
    change_ahead
        Told of the units for which such a day is in sight.
    """
    fleet_facts = read_facts(company=company, today=today, units=units)
    if change_ahead is not None:
        for facts in fleet_facts.facts:
            day = next_change(facts, policy=policy, today=today)
            if day is not None:
                change_ahead(facts.key, day)
    gauges = read_gauges(company=company, policy=policy, today=today, units=fleet_facts.units, only=units)
    needs = [
        _row(task, fleet_facts, facts.key)
        for facts in fleet_facts.facts
        for task in _tasks(replace(facts, gauges=gauges[facts.key]), policy, today)
    ]
    return sorted(needs, key=lambda need: need.key)


def _tasks(facts: UnitFacts, policy: ServicePolicy, today: date) -> list[Task]:
    if facts.last_read_on is None and facts.asked_on is None and can_be_read(facts):
        facts = replace(facts, asked_on=today)
    return with_reading(tasks_of_unit(facts, policy=policy, today=today), facts, policy=policy, today=today)


def _row(task: Task, fleet_facts: FleetFacts, unit_id: int) -> Need:
    unit = fleet_facts.units[unit_id]
    return Need(
        company_id=unit.company_id,
        site=unit.site,
        unit=unit,
        position_id=task.position,
        kind=task.kind.value,
        source=task.source.value,
        label=task.label,
        key=task.key,
        item_id=task.item,
        missing_part=task.missing_part,
        forecast=fleet_facts.forecasts[task.forecast.key] if task.forecast is not None else None,
        lag_forecast=fleet_facts.forecasts[task.lag_forecast.key] if task.lag_forecast is not None else None,
        finding=fleet_facts.findings[task.finding.key] if task.finding is not None else None,
        cause=task.cause,
        minutes=task.minutes,
        skills=list(task.skills),
        price=task.price,
        late_cost_per_day=task.late_cost_per_day,
        exhausted_cost_per_day=task.exhausted_cost_per_day,
        is_urgent=task.is_urgent,
        not_before=task.not_before,
        due_on=task.due_on,
        reading_way=task.reading.way.value if task.reading is not None else "",
        reads=list(task.reading.reads) if task.reading is not None else [],
        reading_of_id=task.reading.position if task.reading is not None else None,
        reading_saves=round(task.reading.saves, 2) if task.reading is not None else 0.0,
        reading_price=round(task.reading.price, 2) if task.reading is not None else 0.0,
        reason=task.reason,
    )
