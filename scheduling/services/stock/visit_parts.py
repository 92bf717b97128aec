"""What visits take from the van: the cartridges of their tasks and the small things the catalogue's rules ask for."""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass

from accounts.models import Company
from fleet.models import CatalogueItem, PartsRule
from scheduling.models import Need, Visit, VisitTask
from scheduling.planning.needs.work import part_for
from scheduling.planning.stock import parts
from scheduling.services.needs.rows import NeedRow


@dataclass(frozen=True, slots=True)
class Catalogue:
    """A company's catalogue and rules, as rows and in the words of the planning room."""

    items: Mapping[str, CatalogueItem]
    rules: Sequence[PartsRule]

    def rules_for(self, tasks: Iterable[parts.PartsTask]) -> list[parts.Rule]:
        """The rules that can apply to these tasks.

        A rule's work names a kind of need ('repair'), the cause behind it ('shutoff_valve_fault') or the fitting that
        the diagnosis calls for ('automatic_shutoff_valve'), so that a repair takes the part it is about.
        """
        kinds = {task.kind for task in tasks}
        rules = []
        for rule in self.rules:
            matching_kinds = frozenset(kind for kind in kinds if rule.work in kind.split(":"))
            if rule.work and not matching_kinds:
                continue
            rules.append(
                parts.Rule(
                    item=str(rule.item_id),
                    quantity=rule.quantity,
                    per=rule.per,
                    kinds=matching_kinds if rule.work else frozenset(),
                    stages=frozenset([rule.stage]) if rule.stage else frozenset(),
                    purpose=self.items[str(rule.item_id)].purpose,
                )
            )
        return rules


def read_catalogue(*, company: Company) -> Catalogue:
    """Read a company's catalogue, items out of sale included: they may still be in a task."""
    return Catalogue(
        items={str(i.pk): i for i in CatalogueItem.objects.of_company(company).select_related("supplier")},
        rules=list(PartsRule.objects.of_company(company).order_by("pk")),
    )


def task_of(need: Need | NeedRow, *, visit: str) -> parts.PartsTask:
    """One need as a task of a visit; of a `Need`, its position is looked at too."""
    stage = need.stage if isinstance(need, NeedRow) else need.position.stage if need.position is not None else None
    part = part_for(need.kind, need.cause)
    return parts.PartsTask(
        visit=visit,
        unit=str(need.unit_id),
        kind=":".join(word for word in (need.kind, need.cause, part) if word),
        position=str(need.position_id or ""),
        stage=stage or "",
        item=str(need.item_id or ""),
        purpose=part if need.item_id or need.missing_part else "",
    )


def parts_by_visit(*, company: Company, visits: Sequence[Visit]) -> dict[int, dict[str, int]]:
    """Visit id to item key to quantity; a visit that takes nothing has no entry."""
    catalogue = read_catalogue(company=company)
    rows = VisitTask.objects.of_company(company).filter(
        visit__in=[visit.pk for visit in visits], need__state=Need.State.OPEN
    )
    tasks = [
        task_of(task.need, visit=str(task.visit_id))
        for task in rows.select_related("need__position").order_by("visit_id", "order")
    ]
    table: dict[int, dict[str, int]] = {}
    for item, by_visit in parts.parts_for(tasks, catalogue.rules_for(tasks)).items():
        for visit, quantity in by_visit.items():
            table.setdefault(int(visit), {})[item] = quantity
    return table
