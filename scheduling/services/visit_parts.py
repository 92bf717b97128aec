"""What visits take from the van: the cartridges of their tasks and the small things the catalogue's rules ask for."""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date

from accounts.models import Company
from fleet.models import CatalogueItem, PartsRule
from scheduling.models import Need, Visit, VisitTask
from scheduling.planning import parts


@dataclass(frozen=True, slots=True)
class Catalogue:
    """A company's catalogue and rules, as rows and in the words of the planning room."""

    items: Mapping[str, CatalogueItem]
    rules: Sequence[PartsRule]

    @property
    def entries(self) -> dict[str, parts.CatalogueItem]:
        """Every item in the words of the planning room; the lead time is reckoned outside of it, in calendar days."""
        return {
            key: parts.CatalogueItem(key=key, name=item.name, price=float(item.price), pack_size=item.pack_size)
            for key, item in self.items.items()
        }

    def rules_for(self, tasks: Iterable[parts.Task]) -> list[parts.Rule]:
        """The rules that can apply to these tasks.

        A rule's work names a kind of need ('repair') or the cause behind it ('shutoff_valve_fault'), so that a repair
        takes the part it is about.
        """
        kinds = {task.kind for task in tasks}
        rules = []
        for rule in self.rules:
            named = frozenset(kind for kind in kinds if rule.work in kind.split(":"))
            if rule.work and not named:
                continue
            rules.append(
                parts.Rule(
                    item=str(rule.item_id),
                    quantity=rule.quantity,
                    per=rule.per,
                    kinds=named if rule.work else frozenset(),
                    stages=frozenset([rule.stage]) if rule.stage else frozenset(),
                )
            )
        return rules


def read_catalogue(*, company: Company) -> Catalogue:
    """Read a company's catalogue, items out of sale included: they may still be in a task."""
    return Catalogue(
        items={str(item.pk): item for item in CatalogueItem.objects.of_company(company)},
        rules=list(PartsRule.objects.of_company(company).order_by("pk")),
    )


def tasks_of(visits: Iterable[Visit], days: Mapping[int, date]) -> list[parts.Task]:
    """The open tasks of visits, in the words of the planning room.

    Parameters
    ----------
    visits
        With `tasks__need__position` at hand.
    days
        Visit id to the day it is expected on.
    """
    return [
        task_of(task.need, visit=visit.pk, day=days.get(visit.pk))
        for visit in visits
        for task in visit.tasks.all()
        if task.need.state == Need.State.OPEN
    ]


def task_of(need: Need, *, visit: int, day: date | None) -> parts.Task:
    """One need as a task of a visit."""
    return parts.Task(
        visit=str(visit),
        unit=str(need.unit_id),
        kind=f"{need.kind}:{need.cause}" if need.cause else need.kind,
        position=str(need.position_id or ""),
        stage=need.position.stage if need.position is not None else "",
        item=str(need.item_id or ""),
        day=day,
    )


def parts_by_visit(*, company: Company, visits: Sequence[Visit]) -> dict[int, dict[str, int]]:
    """Visit id to item key to quantity; a visit that takes nothing has no entry."""
    catalogue = read_catalogue(company=company)
    rows = VisitTask.objects.of_company(company).filter(
        visit__in=[visit.pk for visit in visits], need__state=Need.State.OPEN
    )
    tasks = [
        task_of(task.need, visit=task.visit_id, day=None)
        for task in rows.select_related("need__position").order_by("visit_id", "order")
    ]
    table: dict[int, dict[str, int]] = {}
    for line in parts.parts_for(tasks, catalogue.rules_for(tasks), catalogue.entries):
        for visit, quantity in line.taken_by.items():
            table.setdefault(int(visit), {})[line.item] = quantity
    return table
