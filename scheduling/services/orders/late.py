"""What is late of the orders, and which visits that endangers."""

from collections import defaultdict
from dataclasses import dataclass, field
from datetime import date, datetime
from typing import Final, NamedTuple

from accounts.kept_answers import KeptAnswers
from accounts.models import Company
from scheduling.models import PurchaseOrderLine
from scheduling.services.stock.allocation import Allocation, live_plan
from scheduling.services.stock.counting import rows_of_allocation
from scheduling.services.words import stock as words

#: Visits that one sentence names: common practice, no source. In a large company thousands wait for one line.
_MOST_NAMED: Final = 12


class VisitAt(NamedTuple):
    """A live visit and its site, as far as is told of them."""

    pk: int
    state: str
    site_id: int
    site_code: str
    site_name: str


class Endangered(NamedTuple):
    """A visit that counts on pieces which come late."""

    visit: VisitAt
    day: date
    pieces: int


@dataclass(frozen=True, slots=True)
class LateLine:
    """A line that is overdue, or comes after a visit that counts on it."""

    line: PurchaseOrderLine
    days_overdue: int
    visits: list[Endangered] = field(default_factory=list)

    @property
    def sentence(self) -> str:
        """What is late, by how much, and who waits; of many, the first and how many there are beside them."""
        line = self.line
        assert line.expected_on is not None
        late = words.late_line(
            line.order.number,
            line.order.supplier.name,
            line.outstanding,
            line.item.code,
            line.expected_on,
            self.days_overdue,
        )
        waiting = [
            words.visit_counts_on(f"{one.visit.site_code} {one.visit.site_name}", one.day, one.pieces)
            for one in self.visits[:_MOST_NAMED]
        ]
        return f"{late} {words.needed_by(waiting, len(self.visits) - len(waiting))}"


def late_deliveries(*, company: Company, now: datetime) -> list[LateLine]:
    """Lines that are overdue, or come too late for a visit, with the visits that endangers; the earliest first."""
    today = company.day_at(now)
    kept = KeptAnswers(("late deliveries", company.pk, today), lambda: rows_of_allocation(company))
    late = kept.of(["all"], lambda names, at: {"all": _late_lines(company, today)})["all"]
    lines = PurchaseOrderLine.objects.of_company(company).select_related("order__supplier", "item").in_bulk(list(late))
    late_lines = [
        LateLine(lines[pk], overdue, visits)
        for pk, (overdue, visits) in late.items()
        # one that went since is of no look any more
        if pk in lines
    ]
    return sorted(late_lines, key=lambda late: (late.line.expected_on or today, late.line.pk))


def _late_lines(company: Company, today: date) -> dict[int, tuple[int, list[Endangered]]]:
    """Line id to how many days it is overdue, and for whom it is too late."""
    allocation = Allocation(company=company, today=today, plan=live_plan(company))
    late_lines = {}
    for item, coming in allocation.supplies.coming.items():
        counting: dict[str, list[tuple[Endangered, bool]]] = defaultdict(list)
        for visit in allocation.allocated.get(item, ()):
            pk = int(visit)
            row = allocation.visits[pk]
            at = VisitAt(pk, row.state, row.site_id, row.site_code, row.site_name)
            for share in allocation.shares[visit, item]:
                one_visit = Endangered(at, allocation.days[pk], share.quantity)
                counting[share.supply].append((one_visit, share.is_late))
        for one in coming:
            line = one.line
            overdue = max((today - line.expected_on).days, 0) if line.expected_on is not None else 0
            counted = [visit for visit, is_late in counting[one.key] if is_late or overdue]
            if overdue or counted:
                counted.sort(key=lambda e: (e.day, e.visit.pk))
                late_lines[line.pk] = (overdue, counted)
    return late_lines
