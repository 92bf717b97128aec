"""How much product water units gave in a period: by their totaliser where it was read, else by the stated use."""

from collections import defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from itertools import pairwise
from typing import Final, Protocol

from accounts.models import Company
from fleet.models import Reading, Unit
from scheduling.services.words import money as words

_DAY: Final = timedelta(days=1)
_DAYS_PER_WEEK: Final = 7.0
#: A counter tells of a period when its readings reach over so much of it (common practice, no source).
LEAST_SHARE: Final = 0.5


@dataclass(frozen=True, slots=True)
class Water:
    """Product water of a unit in L/day, and in words how it is known."""

    l_per_day: float
    source: str


class WithWater(Protocol):
    """What is read of a unit: a row of it, or some of its columns."""

    @property
    def pk(self) -> int: ...
    @property
    def totaliser(self) -> str: ...
    @property
    def design_recovery_fraction(self) -> float: ...
    @property
    def weekly_demand_l(self) -> float: ...


def water_of_units(
    *, company: Company, units: Sequence[WithWater], begins: datetime, ends: datetime
) -> dict[int, Water]:
    """Unit id to its water in a period; one query for all.

    The last count before the period and those in it are used. Between two of them the counter rose; where it fell it
    was exchanged, and that stretch is left out. A counter of the feed counts for the share of it that becomes permeate,
    by the recovery of the design.
    """
    counting = [unit.pk for unit in units if unit.totaliser != Unit.Stream.NONE]
    counts: Mapping[int, list[tuple[datetime, float]]] = _counts(company, counting, begins, ends)
    return {unit.pk: _water(unit, counts.get(unit.pk, []), begins, ends) for unit in units}


def _water(unit: WithWater, counts: Sequence[tuple[datetime, float]], begins: datetime, ends: datetime) -> Water:
    days = litres = 0.0
    for (before, was), (after, became) in pairwise(counts):
        if became >= was and after > begins:
            days += (after - before) / _DAY
            litres += became - was
    if days >= LEAST_SHARE * ((ends - begins) / _DAY):
        share = unit.design_recovery_fraction if unit.totaliser == Unit.Stream.FEED else 1.0
        return Water(litres * share / days, words.counted_by_totaliser(days))
    return Water(unit.weekly_demand_l / _DAYS_PER_WEEK, words.stated_use())


def _counts(
    company: Company, units: Sequence[int], begins: datetime, ends: datetime
) -> Mapping[int, list[tuple[datetime, float]]]:
    rows = Reading.objects.of_company(company).current().filter(unit__in=units, taken_at__lt=ends)
    rows = rows.filter(totaliser_l__isnull=False).order_by("taken_at", "pk")
    counts: dict[int, list[tuple[datetime, float]]] = defaultdict(list)
    for unit, at, litres in rows.values_list("unit_id", "taken_at", "totaliser_l"):
        if at < begins:
            counts[unit].clear()
        counts[unit].append((at, litres))
    return counts
