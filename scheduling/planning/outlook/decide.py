"""When a simulated site is visited next, and for what: as planning decides it, or by the calendar."""

from __future__ import annotations

import datetime
import math
from collections.abc import Sequence
from dataclasses import dataclass

from fleet.engineering.limits import USUAL_SERVICE_TIME_DAYS
from scheduling.planning.company_rules import ServicePolicy
from scheduling.planning.needs.dates import need_dates
from scheduling.planning.needs.decide import tasks_of_unit
from scheduling.planning.needs.facts import Role
from scheduling.planning.needs.need import Need
from scheduling.planning.needs.tasks import Task
from scheduling.planning.outlook.sites import SimulatedSite, WorkAtUnit
from scheduling.planning.outlook.units import SimulatedUnit
from scheduling.planning.travel.trips import Place
from scheduling.planning.visits.bundling import bundle_visits
from scheduling.planning.visits.proposal import BundlingSite

#: Without news, and without a visit, planning is asked again after so many days.
ASK_AGAIN_DAYS = 91

#: Who is called because of bad water comes so many days later: common practice, no source.
CALL_DAYS = 3

#: Membranes changed by the calendar serve so long.
_MEMBRANE_DAYS = USUAL_SERVICE_TIME_DAYS["membrane"]

_NOWHERE = Place(0.0, 0.0)


@dataclass(frozen=True, slots=True)
class Decision:
    """What is decided about a site on a day.

    Attributes
    ----------
    visit_on
        Day of the visit; infinite: none is planned.
    work
        What is done on it.
    ask_on
        Day on which the decision is made anew, unless a visit or news come first.
    """

    visit_on: float
    work: tuple[WorkAtUnit, ...]
    ask_on: float


def planned(
    sites: Sequence[SimulatedSite], days: Sequence[float], *, policy: ServicePolicy, travel_costs: Sequence[float]
) -> list[Decision]:
    """What planning decides about each site on its day: its own functions find the tasks, bundle them and choose.

    Parameters
    ----------
    sites, days
        What is decided on, and on which day of each.
    policy
        What it is decided by.
    travel_costs
        Driving money of a visit to each, by that policy.
    """
    tasks_of: list[dict[str, tuple[int, Task]]] = []
    needs: list[Need] = []
    for number, (site, day) in enumerate(zip(sites, days, strict=True)):
        today, by_key = site.today(day), {}
        for at, unit in enumerate(site.units):
            for task in tasks_of_unit(unit.facts_on(day, today), policy=policy, today=today):
                key = f"{number}:{at}:{task.key}"
                by_key[key] = (at, task)
                needs.append(_need(task, key=key, site=str(number), unit=str(at), today=today))
        tasks_of.append(by_key)
    proposals = bundle_visits(
        needs,
        [BundlingSite(str(number), _NOWHERE) for number in range(len(sites))],
        policy=policy.planning,
        travel_costs=travel_costs,
    )
    first_of = {int(proposal.site): proposal for proposal in proposals if proposal.number == 0}
    decisions = []
    for number, (site, day) in enumerate(zip(sites, days, strict=True)):
        proposal = first_of.get(number)
        ask_on = min(day + ASK_AGAIN_DAYS, _due_to_be_read(site, day, policy))
        if proposal is None:
            decisions.append(Decision(math.inf, (), ask_on))
            continue
        visit_on = day + proposal.best_day
        if proposal.best_day >= policy.planning.horizon_days and any(u.unit.reading_interval_days for u in site.units):
            # readings until then may say otherwise
            ask_on = min(ask_on, visit_on)
            visit_on = math.inf
        chosen = [tasks_of[number][key] for key in proposal.needs]
        work = tuple(
            WorkAtUnit(unit, tuple(task for where, task in chosen if where == at)) for at, unit in enumerate(site.units)
        )
        decisions.append(Decision(visit_on, work, ask_on))
    return decisions


def _due_to_be_read(site: SimulatedSite, day: float, policy: ServicePolicy) -> float:
    """The next day on which a unit of the site has gone unread for so long that somebody looks at it."""
    today, due = site.today(day), math.inf
    for unit in site.units:
        since = unit.last_read_on(day, today) or unit.facts.commissioned_on
        in_days = policy.rules.unread_after_days - (today - since).days
        if in_days > 0:
            due = min(due, day + in_days)
    return due


def _need(task: Task, *, key: str, site: str, unit: str, today: datetime.date) -> Need:
    dates = need_dates(
        forecast=task.forecast,
        lag_forecast=task.lag_forecast,
        is_seen=task.finding is not None and task.position is not None,
        is_confirmed=task.finding is not None and task.finding.is_confirmed,
        due_in_days=(task.due_on - today).days if task.due_on is not None else None,
    )
    first = (task.not_before - today).days if task.not_before is not None else None
    return Need(
        key=key,
        site=site,
        unit=unit,
        kind=task.kind,
        position=str(task.position or ""),
        label=task.label,
        minutes=float(task.minutes),
        skills=frozenset(task.skills),
        urgent=task.is_urgent,
        not_before_day=None if first is not None and first <= 0 else first,
        quantile_days=dates.quantile_days,
        remaining_share=dates.remaining_share,
        price=task.price,
        late_cost_per_day=task.late_cost_per_day,
        fresh_life_days=dates.fresh_life_days,
        exhausted_quantile_days=dates.exhausted_quantile_days,
        exhausted_cost_per_day=task.exhausted_cost_per_day,
    )


def by_calendar(
    site: SimulatedSite, day: float, *, interval_days: int, first_visit: float, policy: ServicePolicy
) -> Decision:
    """The next visit of a fixed interval, on which all but young membranes are changed; or a call for bad water.

    A reading that shows a stage exhausted whose days are dear enough to be urgent by the policy makes somebody come
    ``CALL_DAYS`` later and change what is exhausted; other stages wait for the interval.
    """
    regular = _next(day, first_visit, interval_days)
    if day + CALL_DAYS < regular and any(_calls(unit, day, policy) for unit in site.units):
        # what is seen to be exhausted is changed on any visit
        return Decision(day + CALL_DAYS, (), math.inf)
    return Decision(regular, _all(site, regular), math.inf)


def _calls(unit: SimulatedUnit, day: float, policy: ServicePolicy) -> bool:
    """Whether bad water that was seen at a unit is dear enough to come for."""
    return any(
        unit.late_on(stage) <= day
        and all(unit.cartridges[position.key].is_seen_exhausted for position in stage.positions)
        and policy.planning.late_cost(stage.name, unit.facts.use) >= policy.planning.urgent_late_cost_per_day
        for stage in unit.stages
    )


def _next(day: float, first_visit: float, interval_days: int) -> float:
    """The first visit of the interval after a day."""
    if day < first_visit:
        return first_visit
    return first_visit + (math.floor((day - first_visit) / interval_days) + 1) * interval_days


def _all(site: SimulatedSite, day: float) -> tuple[WorkAtUnit, ...]:
    """Everything in the train but membranes younger than three years; of a pair the lead goes and the lag moves up."""
    return tuple(
        WorkAtUnit(
            unit,
            changed=tuple(
                position
                for position in unit.facts.positions
                if position.key in unit.cartridges
                and position.role != Role.LAG
                and (position.stage != "membrane" or day - unit.cartridges[position.key].fitted_on >= _MEMBRANE_DAYS)
            ),
        )
        for unit in site.units
    )
