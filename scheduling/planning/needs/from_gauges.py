"""A reading is work as well: it is asked for where knowing first saves more than it costs."""

from __future__ import annotations

import dataclasses
import datetime
import math
from collections.abc import Mapping, Sequence

from fleet.engineering.observations import ASKED_WITHOUT_METER
from scheduling.planning.company_rules import ServicePolicy
from scheduling.planning.needs.dates import need_dates
from scheduling.planning.needs.facts import ForecastFacts, PositionFacts, Role, UnitFacts
from scheduling.planning.needs.from_calendar import is_unread
from scheduling.planning.needs.gauges import Gauge, gauge_of
from scheduling.planning.needs.need import NeedKind
from scheduling.planning.needs.tasks import Source, Task, TaskList, key_at_unit
from scheduling.planning.needs.ways_to_read import Offer, ReadingWanted, Unknown, Way, best_day, best_way
from scheduling.planning.words import readings as words

#: Ends the key of what a client without a meter is asked.
WHAT_IS_SEEN = "seen"

#: What was read so recently is not asked for again; common practice, no source.
RECENT_DAYS = 28

#: A visit so much sooner than the one for which a reading was weighed takes it along; common practice, no source.
_EARLIER_DAYS = 14


def can_be_read(unit: UnitFacts) -> bool:
    """Whether somebody can read a gauge of anything that stands in the unit."""
    return bool(_readable(unit, unit.gauges.by_client | unit.gauges.by_installer))


def with_reading(tasks: Sequence[Task], unit: UnitFacts, *, policy: ServicePolicy, today: datetime.date) -> list[Task]:
    """The tasks of a unit with the reading that is worth its price, ordered by key.

    The client is asked, or whoever comes next reads, or somebody is sent; only the last is a reason for a visit. A unit
    that was never read is asked for whatever that is worth. What the answer decides waits for it, as long as a client
    who is asked is waited for.

    Parameters
    ----------
    tasks
        All others that the unit calls for, see `tasks_of_unit`.
    unit, policy, today
        As there.
    """
    listed = TaskList(unit, policy)
    listed.by_key = {task.key: task for task in tasks}
    key, inspection = key_at_unit(NeedKind.TAKE_READING, unit), listed.by_key.get(key_at_unit(NeedKind.INSPECT, unit))
    if key not in listed.by_key and (inspection is None or inspection.finding is None):
        _add(listed, key, inspection, today)
    _ask_what_is_seen(listed, today)
    return [listed.by_key[name] for name in sorted(listed.by_key)]


def _ask_what_is_seen(tasks: TaskList, today: datetime.date) -> None:
    """Ask a client who can read no gauge there what can be seen, while nobody reads the unit.

    It tells of no date, and so waits for nothing and holds nothing up; what is seen is a finding at once.
    """
    unit = tasks.unit
    stages = {position.stage for position in unit.positions}
    if not stages or not unit.has_client or _readable(unit, unit.gauges.by_client):
        return
    if unit.last_read_on is not None and not is_unread(tasks, today):
        return
    if unit.seen_on is not None and (today - unit.seen_on).days < tasks.policy.rules.unread_after_days:
        return
    names = (*ASKED_WITHOUT_METER, *(("resin_colour_changed_fraction",) if "resin" in stages else ()))
    tasks.add(
        NeedKind.TAKE_READING,
        key_at_unit(NeedKind.TAKE_READING, unit, WHAT_IS_SEEN),
        Source.CALENDAR,
        label=words.quantities(names),
        reading=ReadingWanted(Way.ASK_CLIENT, None, names, 0.0, tasks.policy.rules.ask_client_cost, {}),
        late_cost_per_day=0.0,
        reason=words.seen_wanted(names, never_read=unit.last_read_on is None),
    )


def _add(tasks: TaskList, key: str, inspection: Task | None, today: datetime.date) -> None:
    unit, policy = tasks.unit, tasks.policy
    unknowns = _unknowns(tasks, today)
    offers = _offers(tasks, unknowns)
    wanted = best_way(unknowns, offers)
    never_read = unit.last_read_on is None
    if wanted is None and (never_read or is_unread(tasks, today)):
        wanted = _first_reading(tasks)
    if wanted is None:
        return
    reason = words.reading_wanted(wanted, never_read=never_read, currency=policy.planning.currency)
    if inspection is not None and wanted.way != Way.ASK_CLIENT:
        # whoever inspects the unit reads its gauges
        both = f"{inspection.reason} {reason}"
        tasks.by_key[inspection.key] = dataclasses.replace(inspection, reading=wanted, reason=both)
        return
    first_day = 0
    if wanted.way == Way.NEXT_VISIT and wanted.position is not None:
        visit_day = next(offer.known_from_day for offer in offers if offer.way == wanted.way)
        first_day = math.floor(visit_day) - _EARLIER_DAYS
    tasks.add(
        NeedKind.TAKE_READING,
        key,
        Source.FORECAST if wanted.position is not None else Source.CALENDAR,
        label=words.quantities(wanted.reads),
        reading=wanted,
        late_cost_per_day=policy.undone_cost(NeedKind.TAKE_READING.value) if wanted.way == Way.SEND else 0.0,
        not_before=today + datetime.timedelta(days=first_day) if first_day > 0 else None,
        reason=reason,
    )
    if wanted.way == Way.ASK_CLIENT:
        _wait_for_answer(tasks, wanted, inspection, today)


def _first_reading(tasks: TaskList) -> ReadingWanted | None:
    """A reading of all that can be read, where nothing says that one is worth its price."""
    gauges, planning, rules = tasks.unit.gauges, tasks.policy.planning, tasks.policy.rules
    by_client, by_installer = _readable(tasks.unit, gauges.by_client), _readable(tasks.unit, gauges.by_installer)
    if by_client:
        return ReadingWanted(Way.ASK_CLIENT, None, by_client, 0.0, rules.ask_client_cost, {})
    minutes = planning.minutes_for(NeedKind.TAKE_READING.value)
    price = minutes * planning.working_cost_per_minute
    return ReadingWanted(Way.NEXT_VISIT, None, by_installer, 0.0, price, {}) if by_installer else None


def _wait_for_answer(tasks: TaskList, wanted: ReadingWanted, inspection: Task | None, today: datetime.date) -> None:
    """Let what the answer decides wait until the client had time to answer; a confirmed visit is not held up."""
    asked_on = tasks.unit.asked_on or today
    first_day = asked_on + datetime.timedelta(days=tasks.policy.rules.client_answer_days)
    if first_day <= today or tasks.unit.gauges.next_visit_on is not None:
        return
    for key, task in tasks.by_key.items():
        if (task is inspection or task.position in wanted.saves_at) and task.finding is None:
            later = max(task.not_before or first_day, first_day)
            tasks.by_key[key] = dataclasses.replace(task, not_before=later)


def _offers(tasks: TaskList, unknowns: Sequence[Unknown]) -> list[Offer]:
    gauges, planning, rules = tasks.unit.gauges, tasks.policy.planning, tasks.policy.rules
    at_unit = planning.minutes_for(NeedKind.TAKE_READING.value) * planning.working_cost_per_minute
    offers = [
        Offer(
            Way.ASK_CLIENT,
            float(rules.client_answer_days),
            rules.ask_client_cost,
            gauges.by_client,
            rules.client_answer_share,
        ),
        Offer(Way.SEND, 1.0, at_unit + gauges.visit_price, gauges.by_installer),
    ]
    next_day = min((u.next_visit_day for u in unknowns if u.next_visit_day is not None), default=None)
    if next_day is not None:
        offers.insert(1, Offer(Way.NEXT_VISIT, next_day, at_unit, gauges.by_installer))
    return offers


def _unknowns(tasks: TaskList, today: datetime.date) -> list[Unknown]:
    """Cartridges of which a reading would tell something: their date rests on a forecast, and nobody read them lately.

    A membrane is one also where it is not yet to be replaced. What must be in the next rounds waits for no reading.
    """
    unit, policy = tasks.unit, tasks.policy
    leads = {lead.key: lag for lead, lag in unit.pairs if lag is not None}
    task_of = {
        task.position: task
        for task in tasks.by_key.values()
        if task.position is not None and task.kind in (NeedKind.REPLACE, NeedKind.ROTATE)
    }
    unknowns: list[Unknown] = []
    for position in unit.positions:
        forecast, task = position.forecast, task_of.get(position.key)
        if forecast is None or forecast.is_maximum_service_time or not tasks.is_within_weeks(forecast):
            continue
        if task is None and position.stage != "membrane":
            continue
        if task is not None and (task.finding is not None or task.is_urgent or task.forecast is None):
            continue
        gauge = gauge_of(position.stage, is_before_lag=position.key in leads)
        if gauge.reads and not _was_read_lately(gauge, forecast, unit.gauges.read_on, today):
            unknowns.append(_unknown(position, forecast, task, gauge, tasks))
    if not unknowns:
        return []
    days = _days_of_visits(tasks, today)
    confirmed = (unit.gauges.next_visit_on - today).days if unit.gauges.next_visit_on is not None else math.inf
    last = 7.0 * policy.planning.bundling_weeks
    with_visits = []
    for unknown in unknowns:
        next_day = min([confirmed, *(day for position, day in days if position != unknown.position)], default=math.inf)
        with_visits.append(dataclasses.replace(unknown, next_visit_day=next_day if next_day <= last else None))
    return with_visits


def _days_of_visits(tasks: TaskList, today: datetime.date) -> list[tuple[int | None, float]]:
    """Position, and day from today on which its task brings a visit by itself, of each task that costs by the day."""
    position_of = {position.key: position for position in tasks.unit.positions}
    days: list[tuple[int | None, float]] = []
    for task in tasks.by_key.values():
        if task.late_cost_per_day <= 0.0:
            continue
        day = float((task.due_on - today).days) if task.due_on is not None else 0.0
        is_forecast = task.finding is None and not task.is_urgent
        if is_forecast and task.position is not None and task.forecast is not None and task.forecast.quantile_days:
            position = position_of[task.position]
            day = best_day(_unknown(position, task.forecast, task, gauge_of(position.stage), tasks))
        first = (task.not_before - today).days if task.not_before is not None else 0
        days.append((task.position, max(day, float(first), 0.0)))
    return days


def _unknown(
    position: PositionFacts, forecast: ForecastFacts, task: Task | None, gauge: Gauge, tasks: TaskList
) -> Unknown:
    dates = need_dates(forecast=forecast, lag_forecast=task.lag_forecast if task is not None else None)
    used = forecast.used_days if forecast.used_days is not None else math.nan
    share = dates.remaining_share if not math.isnan(dates.remaining_share) else 1.0
    price = task.price if task is not None else position.price
    return Unknown(
        position=position.key,
        gauge=gauge,
        quantile_days=dates.quantile_days,
        exhausted_quantile_days=dates.exhausted_quantile_days,
        used_days=used,
        waste=share * price,
        late_cost_per_day=task.late_cost_per_day if task is not None else tasks.late_cost(position),
        exhausted_cost_per_day=task.exhausted_cost_per_day if task is not None else 0.0,
        least_probability=tasks.policy.rules.membrane_probability if position.stage == "membrane" else 0.0,
        visit_price=tasks.unit.gauges.visit_price / max(_cartridges_due(tasks), 1),
        interval_days=7.0 * tasks.policy.planning.visit_interval_weeks,
    )


def _cartridges_due(tasks: TaskList) -> int:
    """Cartridges that share the price of a visit."""
    return sum(task.kind in (NeedKind.REPLACE, NeedKind.ROTATE) for task in tasks.by_key.values())


def _was_read_lately(
    gauge: Gauge, forecast: ForecastFacts, read_on: Mapping[str, datetime.date], today: datetime.date
) -> bool:
    """Whether its gauge was read in the last weeks, and of what stands there now."""
    days = [(today - read_on[column]).days if column in read_on else math.inf for column in gauge.reads]
    served = forecast.used_days if forecast.used_days is not None else math.inf
    newest = min(max(days), forecast.read_days_ago if forecast.read_days_ago is not None else math.inf)
    return newest < min(RECENT_DAYS, served)


def _readable(unit: UnitFacts, columns: frozenset[str]) -> tuple[str, ...]:
    """Columns of the gauges of what stands in the unit that can be read, in the order of the train."""
    reads: dict[str, None] = {}
    for position in unit.positions:
        behind = any(p.stage == position.stage and p.role == Role.LAG for p in unit.positions)
        gauge = gauge_of(position.stage, is_before_lag=position.role == Role.LEAD and behind)
        if position.cartridge is not None and columns.issuperset(gauge.reads):
            reads |= dict.fromkeys(gauge.reads)
    return tuple(reads)
