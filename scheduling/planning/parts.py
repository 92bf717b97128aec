"""Parts: what a visit, a van's round and a period take, what is missing, and what to order by when."""

from __future__ import annotations

import datetime
import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass

from scheduling.planning.errors import PlanningError

#: What a rule counts.
PER = ("position", "housing", "unit", "visit")


@dataclass(frozen=True, slots=True)
class Task:
    """One task of a visit, as far as parts go.

    Attributes
    ----------
    visit, unit
        Keys; tasks with the same visit share what is taken 'per visit'.
    kind
        Kind of task, as in ``needs.NeedKind``.
    position
        Position worked at; empty for the unit as a whole.
    stage
        Stage of the position; empty for the unit as a whole.
    item
        Catalogue key of what goes in; empty when nothing is put in.
    quantity
        How many of it.
    day
        Date the visit is planned for; None: not known yet.
    """

    visit: str
    unit: str
    kind: str
    position: str = ""
    stage: str = ""
    item: str = ""
    quantity: int = 1
    day: datetime.date | None = None


@dataclass(frozen=True, slots=True)
class Rule:
    """A small thing that work needs: O-ring, sanitiser, test strip, gloves.

    Attributes
    ----------
    item
        Catalogue key.
    quantity
        Taken each time.
    per
        'position': for every task at a position; 'housing': once for each position that is opened, however many tasks
        there are at it; 'unit': once for each unit worked on; 'visit': once.
    kinds, stages
        Only for tasks of these kinds and stages; empty: for all.
    """

    item: str
    quantity: int
    per: str
    kinds: frozenset[str] = frozenset()
    stages: frozenset[str] = frozenset()

    def __post_init__(self) -> None:
        if self.per not in PER:
            raise PlanningError(f"rule {self.item}.per", f"must be one of {', '.join(PER)}, not {self.per!r}.")
        if self.quantity < 1:
            raise PlanningError(f"rule {self.item}.quantity", f"must be at least 1, not {self.quantity!r}.")

    def applies_to(self, task: Task) -> bool:
        """Whether the task calls for it."""
        if self.kinds and task.kind not in self.kinds:
            return False
        if self.stages and task.stage not in self.stages:
            return False
        return bool(task.position) or self.per in ("unit", "visit")


@dataclass(frozen=True, slots=True)
class CatalogueItem:
    """What ordering needs to know of an item."""

    key: str
    name: str = ""
    price: float = 0.0
    pack_size: int = 1
    lead_time_working_days: int = 0

    def __post_init__(self) -> None:
        if self.pack_size < 1:
            raise PlanningError(f"item {self.key}.pack_size", f"must be at least 1, not {self.pack_size!r}.")
        if self.lead_time_working_days < 0:
            raise PlanningError(
                f"item {self.key}.lead_time_working_days", f"must be at least 0, not {self.lead_time_working_days!r}."
            )


@dataclass(frozen=True, slots=True)
class PartsLine:
    """One item of a parts list.

    Attributes
    ----------
    item, name
        Catalogue key and name.
    needed
        How many the tasks take.
    in_stock
        How many are there.
    shortfall
        How many are missing.
    packs, order_quantity, order_cost
        What to order to cover that, in whole packs, pieces and money.
    needed_by
        First day on which stock no longer suffices; None without a shortfall or a date.
    order_by
        Last day on which an order still arrives in time.
    order_is_late
        Whether that day has gone by.
    taken_by
        Visit key to quantity.
    """

    item: str
    name: str
    needed: int
    in_stock: int
    shortfall: int
    packs: int
    order_quantity: int
    order_cost: float
    needed_by: datetime.date | None
    order_by: datetime.date | None
    order_is_late: bool
    taken_by: Mapping[str, int]


def parts_for(
    tasks: Sequence[Task],
    rules: Iterable[Rule],
    catalogue: Mapping[str, CatalogueItem],
    stock: Mapping[str, int] | None = None,
    *,
    today: datetime.date | None = None,
    holidays: frozenset[datetime.date] = frozenset(),
) -> list[PartsLine]:
    """The parts list of any set of tasks: one visit, one van's round, or a period.

    Parameters
    ----------
    tasks
        What is to be done.
    rules
        The small things work needs.
    catalogue
        Every item by key.
    stock
        Item key to pieces at hand; None: the list says what is needed and stock counts as none.
    today
        Today; without it nothing is called late.
    holidays
        Days that are not working days, besides Saturdays and Sundays.

    Returns
    -------
    Lines ordered by item key.

    Raises
    ------
    PlanningError
        When an item is not in the catalogue, or a quantity is not positive.
    """
    taken = _take(tasks, tuple(rules))
    day_of = {task.visit: task.day for task in tasks}
    lines = []
    for item in sorted(taken):
        if item not in catalogue:
            raise PlanningError("item", f"{item!r} is not in the catalogue; add it there first.")
        entry = catalogue[item]
        by_visit = taken[item]
        needed = sum(by_visit.values())
        at_hand = (stock or {}).get(item, 0)
        shortfall = max(0, needed - at_hand)
        packs = math.ceil(shortfall / entry.pack_size)
        needed_by = _first_day_short(by_visit, day_of, at_hand) if shortfall else None
        order_by = (
            working_days_before(needed_by, entry.lead_time_working_days, holidays) if needed_by is not None else None
        )
        lines.append(
            PartsLine(
                item=item,
                name=entry.name or item,
                needed=needed,
                in_stock=at_hand,
                shortfall=shortfall,
                packs=packs,
                order_quantity=packs * entry.pack_size,
                order_cost=packs * entry.pack_size * entry.price,
                needed_by=needed_by,
                order_by=order_by,
                order_is_late=order_by is not None and today is not None and order_by < today,
                taken_by=dict(by_visit),
            )
        )
    return lines


def _take(tasks: Sequence[Task], rules: tuple[Rule, ...]) -> dict[str, dict[str, int]]:
    """Item to visit to quantity."""
    taken: dict[str, dict[str, int]] = {}

    def add(item: str, visit: str, quantity: int) -> None:
        by_visit = taken.setdefault(item, {})
        by_visit[visit] = by_visit.get(visit, 0) + quantity

    once: set[tuple[int, tuple[str, ...]]] = set()
    for task in tasks:
        if task.item:
            if task.quantity < 1:
                raise PlanningError(f"task {task.visit}.quantity", f"must be at least 1, not {task.quantity!r}.")
            add(task.item, task.visit, task.quantity)
        for number, rule in enumerate(rules):
            if not rule.applies_to(task):
                continue
            counted = {
                "housing": (task.visit, task.unit, task.position),
                "unit": (task.visit, task.unit),
                "visit": (task.visit,),
            }.get(rule.per)
            if counted is not None:
                if (number, counted) in once:
                    continue
                once.add((number, counted))
            add(rule.item, task.visit, rule.quantity)
    return taken


def _first_day_short(
    by_visit: Mapping[str, int], day_of: Mapping[str, datetime.date | None], at_hand: int
) -> datetime.date | None:
    """The day on which the visits, in order of date, have used up what is at hand."""
    left = at_hand
    for day, visit in sorted((day, visit) for visit in by_visit if (day := day_of[visit]) is not None):
        left -= by_visit[visit]
        if left < 0:
            return day
    return None


def working_days_before(
    day: datetime.date, count: int, holidays: frozenset[datetime.date] = frozenset()
) -> datetime.date:
    """The last working day that lies ``count`` working days before ``day``.

    Examples
    --------
    >>> working_days_before(datetime.date(2026, 11, 30), 2)  # a Monday; Friday is one before, Thursday two
    datetime.date(2026, 11, 26)
    """
    result = day
    left = count
    while left > 0:
        result -= datetime.timedelta(days=1)
        if result.weekday() < 5 and result not in holidays:
            left -= 1
    while result.weekday() >= 5 or result in holidays:
        result -= datetime.timedelta(days=1)
    return result
