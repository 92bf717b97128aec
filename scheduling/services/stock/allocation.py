"""Which visit has which piece: a company's stock and orders, given out to its live visits by rank and by date."""

from collections import defaultdict
from collections.abc import Collection, Mapping, Sequence
from datetime import date, timedelta
from functools import cached_property

from accounts.models import Company
from fleet.models import CatalogueItem
from scheduling.models import Plan, Round
from scheduling.planning.policy import Policy
from scheduling.planning.stock import parts
from scheduling.planning.stock.coverage import Commitment, Coverage, PartsWait, VisitParts, cover_visits
from scheduling.planning.stock.supply import Share
from scheduling.services.needs.waiting import cost_of_a_week
from scheduling.services.policy import read_policy
from scheduling.services.stock.lead_times import LeadTimes
from scheduling.services.stock.live_visits import LiveVisit, read_live_visits
from scheduling.services.stock.supplies import Supplies, read_supplies
from scheduling.services.stock.visit_parts import Catalogue, read_catalogue, task_of
from scheduling.services.travel import sites_within_reach


def live_plan(company: Company) -> Plan | None:
    """The newest plan that nothing took the place of; its rounds say which visit has which day and van."""
    live = Plan.objects.of_company(company).filter(state__in=[Plan.State.PUBLISHED, Plan.State.DRAFT])
    newest: Plan | None = live.order_by("-created_at", "-pk").first()
    return newest


class Allocation:
    """Every piece in stock and on order, allocated once; each part is read and worked out once, when it is asked for.

    Attributes
    ----------
    rounds, round_of
        Rounds of the plan, and the one each visit is in.
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
        """Say what counts.

        `plan` has the rounds that count; the visits `loaded` are in rounds whatever the plan, and take their parts
        today. Who has what asks for no forecasts; whoever goes on to ask them of the visits' needs has them read too.
        """
        self.company, self.today = company, today
        self.with_forecasts = with_forecasts
        rounds = Round.objects.filter(plan=plan).prefetch_related("stops") if plan is not None else Round.objects.none()
        self.rounds = list(rounds.order_by("day", "pk"))
        self.round_of: dict[int, Round] = {s.visit_id: r for r in self.rounds for s in r.stops.all()}
        self.loaded = frozenset(loaded)

    @cached_property
    def catalogue(self) -> Catalogue:
        """Items and their rules."""
        return read_catalogue(company=self.company)

    @cached_property
    def lead_times(self) -> LeadTimes:
        """How long what is ordered takes."""
        return LeadTimes(company=self.company, today=self.today)

    @cached_property
    def supplies(self) -> Supplies:
        """What there is and what is on order."""
        return read_supplies(company=self.company, today=self.today)

    @cached_property
    def visits(self) -> dict[int, LiveVisit]:
        """The live visits, by id."""
        return read_live_visits(company=self.company, with_forecasts=self.with_forecasts)

    @cached_property
    def days(self) -> dict[int, date]:
        """The day each is expected on: in the plan, by appointment, or its cheapest; today for what is overdue."""
        return {pk: max(self._expected(visit), self.today) for pk, visit in self.visits.items()}

    @cached_property
    def allocated(self) -> dict[str, dict[str, int]]:
        """Item key to visit key to the pieces that it takes."""
        tasks = [
            task_of(need, visit=str(pk)) for pk, visit in self.visits.items() for need in visit.needs if need.is_open
        ]
        return parts.parts_for(tasks, self.catalogue.rules_for(tasks))

    @property
    def shares(self) -> Mapping[tuple[str, str], Sequence[Share]]:
        """What each visit got of each item, by the keys of both."""
        return self._coverage.shares

    @property
    def waits(self) -> Mapping[str, PartsWait]:
        """Visit key to what it waits for."""
        # nobody has counted anything that a visit could wait for
        return self._coverage.waits if self._if_ordered else {}

    @cached_property
    def _coverage(self) -> Coverage:
        return cover_visits(
            self._visit_parts(),
            {item: self.supplies.of(item) for item in self.allocated},
            today=self.today,
            if_ordered=self._if_ordered,
        )

    def is_confirmed(self, visit: int | str) -> bool:
        """Whether a client or an installer counts on the visit."""
        return self.visits[int(visit)].is_confirmed

    def _expected(self, visit: LiveVisit) -> date:
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
            rows.append(
                VisitParts(
                    key=str(pk),
                    quantities=quantities[pk],
                    day=self.days[pk],
                    commitment=self._commitment(visit),
                    urgent_items=frozenset(str(n.item_id or "") for n in visit.needs if n.is_urgent and n.is_open),
                    van=str(van or ""),
                    weekly_costs=self._weekly_costs(visit),
                    second_drive=self._policy.visit_price(visit.travel_cost),
                )
            )
        return rows

    def _commitment(self, visit: LiveVisit) -> Commitment:
        if visit.is_confirmed:
            return Commitment.CONFIRMED
        if visit.pk in self.round_of or visit.pk in self.loaded:
            return Commitment.PLANNED
        return Commitment.OPEN if visit.site_id in self._within_reach else Commitment.NOT_YET

    def _weekly_costs(self, visit: LiveVisit) -> dict[str, float]:
        """What a week of waiting costs of the work that takes each item, by item."""
        costs: dict[str, float] = defaultdict(float)
        for need in visit.needs:
            if need.is_open:
                costs[str(need.item_id or "")] += cost_of_a_week(need, day=self.days[visit.pk]) or 0.0
        return dict(costs)

    @cached_property
    def _policy(self) -> Policy:
        return read_policy(company=self.company).planning

    @cached_property
    def _within_reach(self) -> frozenset[int]:
        return sites_within_reach(company=self.company)

    @cached_property
    def _if_ordered(self) -> dict[str, date]:
        """First day on which pieces ordered today can be used, for items that visits wait for.

        Small parts make nobody wait: every van carries them and any shop has them. Nor does an item that nobody has
        ever counted: not known is not none.
        """
        return {
            key: self.lead_times.arrival(item, self.today) + timedelta(days=1)
            for key, item in self.catalogue.items.items()
            if key in self.supplies.counted
            and item.kind != CatalogueItem.Kind.SMALL_PART
            and key in self.allocated  # last: it is dear to say
        }
