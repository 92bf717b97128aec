"""Which visit has which piece: a company's stock and orders, given out to its live visits by rank and by date."""

from collections import defaultdict
from datetime import date

from accounts.models import Company
from scheduling.models import Plan, Round, Visit
from scheduling.planning.stock import parts, supply
from scheduling.services.stock.supplies import Supplies, read_supplies
from scheduling.services.stock.visit_parts import Catalogue, read_catalogue, tasks_of


class Allocation:
    """Every piece in stock and on order, allocated once; read once.

    Attributes
    ----------
    visits, days
        The live visits by id, and the day each is expected on: in the plan, by appointment, or its cheapest; today for
        what is overdue.
    rounds, round_of
        Rounds of the plan, and the one each visit is in.
    allocated
        Item key to visit key to pieces.
    shares
        What each visit got of each item.
    """

    def __init__(self, *, company: Company, today: date, plan: Plan | None) -> None:
        self.company, self.today = company, today
        self.catalogue: Catalogue = read_catalogue(company=company)
        self.supplies: Supplies = read_supplies(company=company, today=today)
        rounds = Round.objects.filter(plan=plan).prefetch_related("stops") if plan is not None else Round.objects.none()
        self.rounds = list(rounds.order_by("day", "pk"))
        self.round_of: dict[int, Round] = {s.visit_id: r for r in self.rounds for s in r.stops.all()}
        visits = Visit.objects.of_company(company).filter(state__in=Visit.LIVE).select_related("site")
        self.visits: dict[int, Visit] = {
            v.pk: v for v in visits.prefetch_related("tasks__need__position", "tasks__need__forecast").order_by("pk")
        }
        self.days = {pk: max(self._expected(visit), today) for pk, visit in self.visits.items()}
        tasks = tasks_of(self.visits.values())
        self.allocated = parts.parts_for(tasks, self.catalogue.rules_for(tasks))
        self.shares: dict[tuple[str, str], list[supply.Share]] = defaultdict(list)
        for item, by_visit in self.allocated.items():
            demands = [self._demand(int(visit), item, quantity) for visit, quantity in by_visit.items()]
            for share in supply.allocate(demands, self.supplies.of(item)):
                self.shares[share.demand, item].append(share)

    def is_agreed(self, visit: int | str) -> bool:
        """Whether a client or an installer counts on the visit."""
        return self.visits[int(visit)].state in Visit.AGREED

    def _expected(self, visit: Visit) -> date:
        planned = self.round_of.get(visit.pk)
        if planned is not None:
            return planned.day
        if visit.appointment_at is not None:
            return self.company.day_at(visit.appointment_at)
        return visit.best_day

    def _demand(self, visit: int, item: str, quantity: int) -> supply.Demand:
        row, round_ = self.visits[visit], self.round_of.get(visit)
        van = round_.installer_id if round_ is not None else row.installer_id
        return supply.Demand(str(visit), quantity, self.days[visit], self._rank(row, item), str(van or ""))

    def _rank(self, visit: Visit, item: str) -> int:
        if visit.state in Visit.AGREED:
            return 0
        if visit.pk not in self.round_of:
            return 3
        # a visit that is urgent for something else goes without the piece; this one would drive for nothing
        urgent = any(t.need.is_urgent and str(t.need.item_id or "") == item for t in visit.tasks.all())
        return 1 if urgent else 2
