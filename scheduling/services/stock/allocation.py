"""Which visit has which piece: a company's stock and orders, given out to its live visits by rank and by date."""

from collections import defaultdict
from collections.abc import Collection, Mapping, Sequence
from datetime import date, timedelta
from functools import cached_property

from django.db.models import Prefetch

from accounts.models import Company
from fleet.models import CatalogueItem, Forecast
from scheduling.models import Need, Plan, Round, Visit, VisitTask
from scheduling.planning.policy import Policy
from scheduling.planning.stock import parts
from scheduling.planning.stock.coverage import Commitment, PartsWait, VisitParts, cover_visits
from scheduling.planning.stock.supply import Share
from scheduling.services.needs.reading import OF_DISTRIBUTION, all_but
from scheduling.services.needs.waiting import cost_of_a_week
from scheduling.services.policy import read_policy
from scheduling.services.stock.lead_times import LeadTimes
from scheduling.services.stock.supplies import Supplies, read_supplies
from scheduling.services.stock.visit_parts import Catalogue, read_catalogue, tasks_of
from scheduling.services.travel import sites_within_reach


def live_plan(company: Company) -> Plan | None:
    """The newest plan that nothing took the place of; its rounds say which visit has which day and van."""
    live = Plan.objects.of_company(company).filter(state__in=[Plan.State.PUBLISHED, Plan.State.DRAFT])
    newest: Plan | None = live.order_by("-created_at", "-pk").first()
    return newest


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
    waits
        Visit key to what it waits for.
    """

    def __init__(
        self,
        *,
        company: Company,
        today: date,
        plan: Plan | None = None,
        loaded: Collection[int] = (),
        with_forecasts: bool = False,
    ) -> None:
        """Read and allocate.

        `plan` has the rounds that count; the visits `loaded` are in rounds whatever the plan, and take their parts
        today. Who has what asks for no forecasts; whoever goes on to ask them of the visits' needs has them read too.
        """
        self.company, self.today = company, today
        self.catalogue: Catalogue = read_catalogue(company=company)
        self.lead_times = LeadTimes(company=company, today=today)
        self.supplies: Supplies = read_supplies(company=company, today=today)
        rounds = Round.objects.filter(plan=plan).prefetch_related("stops") if plan is not None else Round.objects.none()
        self.rounds = list(rounds.order_by("day", "pk"))
        self.round_of: dict[int, Round] = {s.visit_id: r for r in self.rounds for s in r.stops.all()}
        visits = Visit.objects.of_company(company).filter(state__in=Visit.LIVE).select_related("site")
        # Joined: needs looked up by themselves are too many for one statement of SQLite in a company of some hundreds.
        joined = ["need__position", *(["need__forecast"] if with_forecasts else [])]
        unread = all_but(Forecast, OF_DISTRIBUTION, "need__forecast") if with_forecasts else []
        tasks_of_visits = VisitTask.objects.select_related(*joined).defer("need__reason", *unread)
        visits = visits.prefetch_related(Prefetch("tasks", tasks_of_visits))
        self.visits: dict[int, Visit] = {v.pk: v for v in visits.order_by("pk")}
        # A related manager makes a query set each time it is asked, also of what is at hand.
        self._needs = {pk: [task.need for task in visit.tasks.all()] for pk, visit in self.visits.items()}
        self.loaded = frozenset(loaded)
        self.days = {pk: max(self._expected(visit), today) for pk, visit in self.visits.items()}
        tasks = tasks_of(self.visits.values())
        self.allocated = parts.parts_for(tasks, self.catalogue.rules_for(tasks))
        coverage = cover_visits(
            self._visit_parts(),
            {item: self.supplies.of(item) for item in self.allocated},
            today=today,
            if_ordered=self._if_ordered(),
        )
        self.shares: Mapping[tuple[str, str], Sequence[Share]] = coverage.shares
        self.waits: Mapping[str, PartsWait] = coverage.waits

    def is_confirmed(self, visit: int | str) -> bool:
        """Whether a client or an installer counts on the visit."""
        return self.visits[int(visit)].state in Visit.CONFIRMED_OR_UNDER_WAY

    def _expected(self, visit: Visit) -> date:
        planned = self.round_of.get(visit.pk)
        if planned is not None:
            return planned.day
        if visit.appointment_at is not None:
            return self.company.day_at(visit.appointment_at)
        return self.today if visit.pk in self.loaded else visit.best_day

    def _visit_parts(self) -> list[VisitParts]:
        """The visits in the words of the planning room."""
        quantities: dict[int, dict[str, int]] = defaultdict(dict)
        for item, by_visit in self.allocated.items():
            for key, quantity in by_visit.items():
                quantities[int(key)][item] = quantity
        rows = []
        for pk, visit in self.visits.items():
            round_ = self.round_of.get(pk)
            van = round_.installer_id if round_ is not None else visit.installer_id
            urgent = [need for need in self._needs[pk] if need.is_urgent]
            rows.append(
                VisitParts(
                    key=str(pk),
                    quantities=quantities[pk],
                    day=self.days[pk],
                    commitment=self._commitment(visit),
                    urgent_items=frozenset(str(n.item_id or "") for n in urgent if n.state == Need.State.OPEN),
                    van=str(van or ""),
                    weekly_costs=self._weekly_costs(visit),
                    second_drive=self._policy.visit_price(visit.travel_cost),
                )
            )
        return rows

    def _commitment(self, visit: Visit) -> Commitment:
        if visit.state in Visit.CONFIRMED_OR_UNDER_WAY:
            return Commitment.CONFIRMED
        if visit.pk in self.round_of or visit.pk in self.loaded:
            return Commitment.PLANNED
        return Commitment.OPEN if visit.site_id in self._within_reach else Commitment.NOT_YET

    def _weekly_costs(self, visit: Visit) -> dict[str, float]:
        """What a week of waiting costs of the work that takes each item, by item."""
        costs: dict[str, float] = defaultdict(float)
        for need in self._needs[visit.pk]:
            if need.state == Need.State.OPEN:
                costs[str(need.item_id or "")] += cost_of_a_week(need, day=self.days[visit.pk]) or 0.0
        return dict(costs)

    @cached_property
    def _policy(self) -> Policy:
        return read_policy(company=self.company).planning

    @cached_property
    def _within_reach(self) -> frozenset[int]:
        return sites_within_reach(company=self.company)

    def _if_ordered(self) -> dict[str, date]:
        """First day on which pieces ordered today can be used, for items that visits wait for.

        Small parts make nobody wait: every van carries them and any shop has them. Nor does an item that nobody has
        ever counted: not known is not none.
        """
        return {
            key: self.lead_times.arrival(item, self.today) + timedelta(days=1)
            for key, item in self.catalogue.items.items()
            if key in self.allocated and key in self.supplies.counted and item.kind != CatalogueItem.Kind.SMALL_PART
        }
