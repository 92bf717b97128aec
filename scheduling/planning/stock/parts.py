"""Parts: what a visit, a van's round and a period take."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from scheduling.planning.errors import PlanningError

#: What a rule counts.
PER = ("position", "housing", "unit", "visit")


@dataclass(frozen=True, slots=True)
class PartsTask:
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
    purpose
        What the fitting that was chosen for this unit is for, a name of `PURPOSES`, also where none of the catalogue
        fits; empty: none was chosen.
    """

    visit: str
    unit: str
    kind: str
    position: str = ""
    stage: str = ""
    item: str = ""
    quantity: int = 1
    purpose: str = ""


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
    purpose
        What the item is for; a task for which a fitting of this purpose was chosen does not take the rule's.
    """

    item: str
    quantity: int
    per: str
    kinds: frozenset[str] = frozenset()
    stages: frozenset[str] = frozenset()
    purpose: str = ""

    def __post_init__(self) -> None:
        if self.per not in PER:
            raise PlanningError(f"rule {self.item}.per", f"must be one of {', '.join(PER)}, not {self.per!r}.")
        if self.quantity < 1:
            raise PlanningError(f"rule {self.item}.quantity", f"must be at least 1, not {self.quantity!r}.")

    def applies_to(self, task: PartsTask) -> bool:
        """Whether the task calls for it."""
        if self.kinds and task.kind not in self.kinds:
            return False
        if self.stages and task.stage not in self.stages:
            return False
        if self.purpose and self.purpose == task.purpose:
            return False
        return bool(task.position) or self.per in ("unit", "visit")


def parts_for(tasks: Sequence[PartsTask], rules: Sequence[Rule]) -> dict[str, dict[str, int]]:
    """What any set of tasks takes: one visit, one van's round, or a period.

    Parameters
    ----------
    tasks
        What is to be done.
    rules
        The small things work needs.

    Returns
    -------
    Item to visit to quantity.

    Raises
    ------
    PlanningError
        When a quantity is not positive.
    """
    allocated: dict[str, dict[str, int]] = {}

    def add(item: str, visit: str, quantity: int) -> None:
        by_visit = allocated.setdefault(item, {})
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
    return allocated
