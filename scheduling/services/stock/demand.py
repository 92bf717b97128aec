"""What the work of some weeks will and may take: visits on their days, and forecasts that may come sooner."""

import dataclasses
from collections import defaultdict
from collections.abc import Collection, Mapping
from datetime import date
from itertools import chain
from types import MappingProxyType
from typing import Any

from scheduling.planning.stock import parts
from scheduling.planning.stock.reorder import ExpectedDemand
from scheduling.services.needs.rows import NeedRow
from scheduling.services.stock.live_visits import LiveVisit
from scheduling.services.stock.visit_parts import Catalogue, task_of


def expect_demand(
    *,
    visits: Mapping[int, LiveVisit],
    days: Mapping[int, date],
    fixed: Collection[int],
    needs: Collection[NeedRow],
    catalogue: Catalogue,
    today: date,
    last: date,
    fresh_lives: Mapping[int, tuple[float, ...]] = MappingProxyType({}),
) -> dict[str, list[ExpectedDemand]]:
    """Item key to the pieces that are wanted by the last day, for certain or by chance.

    * A visit expected by then takes its parts on its day. Unless its day is fixed, each cartridge of it may be wanted
      sooner, with the probability that it is exhausted sooner.
    * A need that no such visit holds takes its parts with the probability that its cartridge is exhausted by then.

    Parameters
    ----------
    visits
        The live ones, by id.
    days
        Visit id to the day it is expected on.
    fixed
        Ids of visits that keep their day: confirmed with the client, or in the plan.
    needs
        The open ones, read with their forecasts.
    catalogue
        With its parts rules.
    today, last
        First and last day that count.
    fresh_lives
        Position id to the days within which what is fitted there is exhausted (as `ExpectedDemand.fresh_life_days`);
        such a position wants its piece again. Left out: a position wants one piece.
    """
    held: dict[int, int] = {}
    for pk, visit in visits.items():
        for need in visit.needs:
            held[need.pk] = pk
    tasks_in: dict[int, list[NeedRow]] = defaultdict(list)
    loose = []
    for need in needs:
        visit_id = held.get(need.pk)
        if visit_id is not None and days[visit_id] <= last:
            tasks_in[visit_id].append(need)
        else:
            loose.append(need)
    every = [task_of(need, visit=str(pk)) for pk, visit_needs in tasks_in.items() for need in visit_needs]
    alone = {need.pk: task_of(need, visit=f"need {need.pk}") for need in loose}
    rules = catalogue.rules_for(chain(every, alone.values()))

    demand_by_item: dict[str, list[ExpectedDemand]] = defaultdict(list)
    for item, by_visit in parts.parts_for([_without_item(task) for task in every], rules).items():
        for key, quantity in by_visit.items():
            demand_by_item[item].append(ExpectedDemand(quantity, _from(today, days[int(key)])))
    for pk, visit_needs in tasks_in.items():
        for need in visit_needs:
            if need.item_id is not None:
                sooner = () if pk in fixed else need.quantile_days(today)
                wanted = ExpectedDemand(1, _from(today, days[pk]), sooner, **_again(need, fresh_lives))
                demand_by_item[str(need.item_id)].append(wanted)
    for need in loose:
        chances = need.quantile_days(today)
        # what a later visit holds, and no forecast speaks of, is that visit's
        day = need.best_day if not chances and need.pk not in held else None
        if not chances and (day is None or day > last):
            continue
        on = _from(today, day) if day is not None else None
        for item, by_visit in parts.parts_for([alone[need.pk]], rules).items():
            again = _again(need, fresh_lives)
            demand_by_item[item].append(ExpectedDemand(sum(by_visit.values()), on, chances, **again))
    return demand_by_item


def _without_item(task: parts.PartsTask) -> parts.PartsTask:
    """The same task, as far as the rules for small things go."""
    return dataclasses.replace(task, item="")


def _again(need: NeedRow, fresh_lives: Mapping[int, tuple[float, ...]]) -> dict[str, Any]:
    """Where a need's piece goes, and after which days it is wanted there again."""
    if need.position_id is None:
        return {}
    return {"position": str(need.position_id), "fresh_life_days": fresh_lives.get(need.position_id, ())}


def _from(today: date, day: date) -> int:
    return max((day - today).days, 0)
