"""Parts lists: for every visit of a plan, for every van's round, for the plan's days and for the weeks to order for."""

import math
from collections import Counter, defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from typing import Any

from django.db import transaction

from accounts.errors import Conflict, Fault, InvalidInput
from accounts.many_rows import update_rows
from accounts.services.companies import lock_company
from fleet.models import CatalogueItem
from fleet.services.many_units import MOST_NAMED
from scheduling.models import Installer, Need, PartsLine, PartsList, Plan
from scheduling.planning.stock import reorder
from scheduling.planning.stock.deliveries import order_by
from scheduling.planning.stock.reorder import ExpectedDemand
from scheduling.planning.stock.replenish import ItemToOrder, packs_to_order
from scheduling.planning.stock.supply import Share
from scheduling.planning.stock.uncertain_demand import chance_of_running_out, over_lead_time
from scheduling.services.events_out import orders_due
from scheduling.services.needs.rows import NeedRow, read_needs
from scheduling.services.policy import read_policy
from scheduling.services.stock.allocation import Allocation
from scheduling.services.stock.demand import expect_demand
from scheduling.services.stock.live_visits import LiveVisit
from scheduling.services.stock.sentences import sentence_of_period, sentence_of_shares
from scheduling.services.stock.supplies import STORE, place_of, van_key
from scheduling.services.stock.unplanned import unplanned_use
from scheduling.services.words import stock as words

Scope = PartsList.Scope
# What costs nothing is still ordered in an order of worth.
_LEAST_PRICE = 0.01


@dataclass(frozen=True, slots=True)
class PartsWritten:
    """How many lists were written anew or changed, and how many stand as they were."""

    written: int
    unchanged: int


def write_parts_lists(*, plan: Plan, now: datetime) -> PartsWritten:
    """Write the parts lists a plan gives rise to.

    * one for each visit in it, against what is in stock and on order for it,
    * one for each round: what its van holds, what is to be loaded from the store, what is missing,
    * one for the plan's days and one for the weeks the policy orders for: short is what must be ordered, in packs, with
      the last day on which an order still arrives in time. Where they are the same days, the latter alone.

    Every piece in stock and on order is allocated once, to visits confirmed first, then to those in the
    plan, where the piece is urgent before where it is not, then to the others, each by date; so two rounds never count
    on the same piece. The weeks to order for also
    hold the visits that no round serves yet, on the day they are due or cheapest, and the pieces beyond them that the
    policy's service level asks for. Writing twice changes nothing.
    """
    company = plan.company
    today = company.day_at(now)
    with transaction.atomic():
        lock_company(company.pk)
        writer = PartsWriter(plan, today, now)
        writer.visits_and_rounds()
        if writer.days_of_plan != writer.days_to_order:
            writer.period(*writer.days_of_plan, in_plan_only=True)
        to_order = writer.period(*writer.days_to_order, in_plan_only=False)
        writer.store()
        writer.delete_stale()
        orders_due(to_order, today, now)
    return PartsWritten(writer.written, writer.unchanged)


def rewrite_period(*, parts_list: PartsList, now: datetime) -> PartsList:
    """Work out a period's list anew, as things stand; what was ordered or received since is taken into account.

    Raises
    ------
    InvalidInput
        When the list is for a visit or a round.
    Conflict
        When its days have gone by, or its plan is gone.
    """
    if parts_list.scope != Scope.PERIOD:
        sentence = f"parts list {parts_list.pk} is for a {parts_list.scope}; orders are made from one for a period."
        raise InvalidInput("not_a_period", sentence, faults=[Fault("/parts_list", sentence)])
    plan = parts_list.plan
    today = parts_list.company.day_at(now)
    if plan is None or plan.state == Plan.State.REPLACED or parts_list.last_day < today:
        why = (
            "The list's plan was replaced" if parts_list.last_day >= today else f"Its days ended {parts_list.last_day}"
        )
        raise Conflict("list_has_gone_by", f"{why}; take a list of the newest plan.", pointer="/parts_list")
    first, last = parts_list.first_day, parts_list.last_day
    with transaction.atomic():
        lock_company(parts_list.company_id)
        writer = PartsWriter(plan, today, now)
        of_plan = (first, last) == writer.days_of_plan != writer.days_to_order
        rewritten = writer.period(first, last, in_plan_only=of_plan)
        writer.store()
        return rewritten


class PartsWriter:
    """Writes the lists of one plan from rows read once."""

    def __init__(self, plan: Plan, today: date, now: datetime) -> None:
        self.plan, self.company, self.today, self.now = plan, plan.company, today, now
        self.rules = read_policy(company=self.company).rules
        allocation = Allocation(company=self.company, today=today, plan=plan, with_forecasts=True)
        self.allocation, self.catalogue, self.supplies = allocation, allocation.catalogue, allocation.supplies
        self.visits, self.days, self.shares = allocation.visits, allocation.days, allocation.shares
        self.rounds, self.round_of, self.allocated = allocation.rounds, allocation.round_of, allocation.allocated
        self.van_names = dict(Installer.objects.of_company(self.company).values_list("pk", "name"))
        self.unplanned = unplanned_use(company=self.company, now=now)
        self.lists = self._read_lists()
        self.unchanged = 0
        # Stored together at the end: a plan has a list for each visit and each round.
        self.new: list[PartsList] = []
        self.changed: list[PartsList] = []
        self.lines: list[PartsLine] = []

    @property
    def days_of_plan(self) -> tuple[date, date]:
        """First and last day of the plan."""
        return self.plan.first_day, self.plan.first_day + timedelta(days=self.plan.days - 1)

    @property
    def days_to_order(self) -> tuple[date, date]:
        """First and last day of the weeks the policy orders for."""
        return self.today, self.today + timedelta(days=self.rules.order_horizon_days - 1)

    @property
    def written(self) -> int:
        """How many lists say something new."""
        return len(self.new) + len(self.changed)

    def _read_lists(self) -> dict[tuple[Any, ...], PartsList]:
        rows = PartsList.objects.of_company(self.company).prefetch_related("lines")
        own_lists = [
            *rows.filter(scope=Scope.VISIT, visit__in=self.round_of),
            *rows.filter(scope=Scope.ROUND, round__plan=self.plan),
        ]
        return {_key(row): row for row in own_lists}

    # -- visits and rounds

    def visits_and_rounds(self) -> None:
        """Write the lists of the plan's visits and of its rounds."""
        for visit in self.round_of:
            if visit in self.visits:
                day = self.days[visit]
                lines = self._lines_of([visit], van=None)
                self._write(lines, scope=Scope.VISIT, visit_id=visit, first_day=day, last_day=day)
        used: dict[int, Counter[str]] = defaultdict(Counter)
        given_out = self._given_out_of_vans()
        # in order of days: what a van uses on one day is not aboard on the next
        for round_ in self.rounds:
            visit_ids = [stop.visit_id for stop in round_.stops.all() if stop.visit_id in self.visits]
            lines = self._lines_of(visit_ids, van=round_.installer_id)
            aboard, used_aboard = self.supplies.vans.get(round_.installer_id, Counter()), used[round_.installer_id]
            for line in lines:
                item, used_before = str(line.item_id), line.in_stock
                line.in_stock = aboard[item] - used_aboard[item]
                used_aboard[item] += used_before
                line.reserved_elsewhere = given_out[van_key(round_.installer_id), item] - used_aboard[item]
                if line.reserved_elsewhere:
                    line.sentence = words.and_reserved(line.sentence, line.reserved_elsewhere)
            self._write(lines, scope=Scope.ROUND, round_id=round_.pk, first_day=round_.day, last_day=round_.day)

    def _given_out_of_vans(self) -> Counter[tuple[str, str]]:
        """Place and item to the pieces that any visit gets from there."""
        given_out: Counter[tuple[str, str]] = Counter()
        for (_, item), shares in self.shares.items():
            for share in shares:
                given_out[place_of(share.supply), item] += share.quantity
        return given_out

    def _lines_of(self, visits: Sequence[int], *, van: int | None) -> list[PartsLine]:
        """What visits take and where it comes from; with a van: what is aboard and what is to be loaded."""
        lines = []
        for item, by_visit in sorted(self.allocated.items()):
            quantity_by_visit = {str(visit): by_visit[str(visit)] for visit in visits if str(visit) in by_visit}
            if not quantity_by_visit:
                continue
            shares = [share for visit in quantity_by_visit for share in self.shares[visit, item]]
            in_time = [share for share in shares if not share.is_late]
            quantity = sum(quantity_by_visit.values())
            aboard = _from(van_key(van), in_time) if van is not None else 0
            coming = sum(s.quantity for s in in_time if s.supply.startswith("order:"))
            at_hand = sum(s.quantity for s in in_time) - coming
            in_stock = aboard if van is not None else at_hand
            lines.append(
                PartsLine(
                    item=self.catalogue.items[item],
                    quantity=quantity,
                    in_stock=in_stock,
                    from_store=_from(STORE, in_time) if van is not None else 0,
                    on_order=coming,
                    late=sum(s.quantity for s in shares if s.is_late),
                    short=quantity - in_stock - (0 if van is not None else coming),
                    reasons=self._reasons(item, quantity_by_visit),
                    sentence=sentence_of_shares(
                        quantity, shares, self.supplies.coming.get(item, ()), self.van_names, own_van=van
                    ),
                )
            )
        return lines

    # -- periods

    def period(self, first: date, last: date, *, in_plan_only: bool) -> PartsList:
        """Write the list of a period: what its work takes, what stands for it, what must be ordered by when."""
        chosen = {
            pk: visit
            for pk, visit in self.visits.items()
            # what is overdue is wanted now, whatever its best day was
            if self.days[pk] <= last and (pk in self.round_of or not in_plan_only)
        }
        if in_plan_only:
            needs = [need for visit in chosen.values() for need in visit.needs if need.is_open]
        else:
            needs = self.needs_of_visits_to_come()
        confirmed = {pk for pk in self.visits if self.allocation.is_confirmed(pk)}
        demand_by_item = expect_demand(
            visits=self.visits if not in_plan_only else chosen,
            days=self.days,
            fixed=confirmed | set(self.round_of),
            needs=needs,
            catalogue=self.catalogue,
            today=self.today,
            last=last,
        )
        lines = [
            self._period_line(item, demands, chosen, last, in_plan_only=in_plan_only)
            for item, demands in sorted(demand_by_item.items())
        ]
        if not in_plan_only:
            self._order_now(lines, demand_by_item)
        return self._write(
            [line for line in lines if line.quantity or line.spare or line.packs_now],
            scope=Scope.PERIOD,
            first_day=first,
            last_day=last,
        )

    def needs_of_visits_to_come(self) -> list[NeedRow]:
        """The open needs that take a visit, in the order of their ids; those of live visits are at hand already."""
        rows = Need.objects.of_company(self.company).filter(Need.TAKES_A_VISIT, state=Need.State.OPEN)
        at_hand = {need.pk: need for visit in self.visits.values() for need in visit.needs}
        ids = list(rows.order_by("pk").values_list("pk", flat=True))
        others = [pk for pk in ids if pk not in at_hand]
        if others:
            # of a longer list the ids are slower to look up than the company they belong to
            unread = rows.filter(pk__in=others) if len(others) <= MOST_NAMED else rows
            at_hand |= {need.pk: need for need in read_needs(unread, with_forecasts=True)}
        return [at_hand[pk] for pk in ids if pk in at_hand]

    def _order_now(self, lines: Sequence[PartsLine], demand_by_item: Mapping[str, Sequence[ExpectedDemand]]) -> None:
        """Packs that cannot wait for the next look, of all items together."""
        items = []
        for line in lines:
            key = str(line.item_id)
            before, through = over_lead_time(
                demand_by_item[key],
                self.allocation.lead_times.of(line.item),
                review_days=self.rules.order_review_days,
                unplanned_per_day=self.unplanned.get(key, 0.0),
            )
            there, price = line.in_stock + line.on_order, max(float(line.item.price), _LEAST_PRICE)
            items.append(ItemToOrder(key, there, before, through, line.item.pack_size, price))
        packs = packs_to_order(items, fill_rate=self.rules.parts_service_level)
        for line in lines:
            line.packs_now = packs.get(str(line.item_id), 0)

    def _period_line(
        self,
        key: str,
        demands: Sequence[ExpectedDemand],
        chosen: Mapping[int, LiveVisit],
        last: date,
        *,
        in_plan_only: bool,
    ) -> PartsLine:
        item = self.catalogue.items[key]
        quantity_by_visit = {visit: n for visit, n in self.allocated.get(key, {}).items() if int(visit) in chosen}
        quantity = sum(quantity_by_visit.values())
        # what confirmed visits outside of the list hold is not there for it
        held = [s for visit in self.allocated.get(key, ()) if int(visit) not in chosen for s in self._held(visit, key)]
        in_stock = self.supplies.at_hand(key) - sum(s.quantity for s in held if not s.supply.startswith("order:"))
        reserved: Counter[str] = Counter()
        for share in held:
            reserved[share.supply] += share.quantity
        arrivals = [
            reorder.Arrival(coming.line.outstanding - reserved[coming.key], (coming.usable_from - self.today).days)
            for coming in self.supplies.coming.get(key, ())
        ]
        level = self.rules.parts_service_level
        supply = [reorder.Arrival(in_stock), *arrivals]
        unplanned = 0.0 if in_plan_only else self.unplanned.get(key, 0.0)
        cover = reorder.cover(
            demands, supply, last_day=(last - self.today).days, level=level, unplanned_per_day=unplanned
        )
        needed_by = self.today + timedelta(days=cover.short_on) if cover.short_on is not None else None
        latest = self._order_by(item, needed_by, level) if needed_by is not None else None
        chance = None if in_plan_only else round(self._chance_of_running_out(item, demands, supply, unplanned), 3)
        line = PartsLine(
            item=item,
            quantity=quantity,
            spare=max(0, cover.quantity - quantity),
            in_stock=in_stock,
            on_order=sum(arrival.quantity for arrival in arrivals),
            late=sum(s.quantity for visit in quantity_by_visit for s in self.shares[visit, key] if s.is_late),
            short=cover.missing,
            packs_to_order=math.ceil(cover.missing / item.pack_size),
            needed_by=needed_by,
            order_by=latest,
            chance_of_running_out=chance,
            reasons=self._reasons(key, quantity_by_visit),
        )
        line.sentence = sentence_of_period(
            line,
            last=last,
            level=level,
            expected=cover.expected,
            today=self.today,
            next_order_here=self._next_order_here(item),
        )
        return line

    def _chance_of_running_out(
        self,
        item: CatalogueItem,
        demands: Sequence[ExpectedDemand],
        supply: Sequence[reorder.Arrival],
        unplanned: float,
    ) -> float:
        return chance_of_running_out(
            demands,
            supply,
            self.allocation.lead_times.of(item),
            review_days=self.rules.order_review_days,
            unplanned_per_day=unplanned,
        )

    def _next_order_here(self, item: CatalogueItem) -> date:
        """When an order of the next look usually arrives."""
        return self.allocation.lead_times.arrival(item, self.today + timedelta(days=self.rules.order_review_days))

    def _order_by(self, item: CatalogueItem, needed_by: date, level: float) -> date:
        """Last day on which an order still comes in time with the service level."""
        lead_time = self.allocation.lead_times.of(item)
        return order_by(needed_by, lead_time.days_with(level), lead_time.closed, no_orders=lead_time.no_orders)

    def _held(self, visit: str, item: str) -> Sequence[Share]:
        return self.shares[visit, item] if self.allocation.is_confirmed(visit) else []

    # -- rows

    def _reasons(self, item: str, by_visit: dict[str, int]) -> list[dict[str, Any]]:
        """Which visits take it, in order of date, and how many pieces each has not got in time."""
        reasons = []
        for visit, quantity in by_visit.items():
            row = self.visits[int(visit)]
            in_time = sum(share.quantity for share in self.shares[visit, item] if not share.is_late)
            reasons.append(
                {
                    "visit": row.pk,
                    "site": row.site_id,
                    "site_code": row.site_code,
                    "site_name": row.site_name,
                    "day": self.days[row.pk].isoformat(),
                    "quantity": quantity,
                    "missing": quantity - in_time,
                }
            )
        return sorted(reasons, key=lambda reason: (reason["day"], reason["visit"]))

    def _write(self, lines: list[PartsLine], **identity: Any) -> PartsList:
        """Say what a list says, or leave it alone when it says the same already."""
        fresh = PartsList(company=self.company, plan=self.plan, written_at=self.now, **identity)
        row = self._stored(fresh)
        if row is None:
            row = fresh
            self.new.append(row)
        else:
            same_days = (row.first_day, row.last_day) == (fresh.first_day, fresh.last_day)
            if same_days and _contents(row.lines.all()) == _contents(lines) and row.plan_id == self.plan.pk:
                self.unchanged += 1
                return row
            row.plan, row.first_day, row.last_day, row.written_at = self.plan, fresh.first_day, fresh.last_day, self.now
            self.changed.append(row)
        for line in lines:
            line.parts_list = row
        self.lines += lines
        return row

    def _stored(self, fresh: PartsList) -> PartsList | None:
        """The list as it is stored, with its lines at hand."""
        if fresh.scope != Scope.PERIOD:
            return self.lists.get(_key(fresh))
        # every night leaves two of them, and only these are asked for
        rows = PartsList.objects.of_company(self.company).prefetch_related("lines")
        return rows.filter(scope=Scope.PERIOD, first_day=fresh.first_day, last_day=fresh.last_day).first()

    def store(self) -> None:
        """Store what the lists say."""
        PartsList.objects.bulk_create(self.new)
        update_rows(self.changed, ["plan", "first_day", "last_day", "written_at"])
        PartsLine.objects.filter(parts_list__in=[row.pk for row in self.changed]).delete()
        PartsLine.objects.bulk_create(self.lines)

    def delete_stale(self) -> None:
        """Drop lists of visits and periods that a replaced plan left behind: nobody would load or order by them."""
        stale = PartsList.objects.of_company(self.company).exclude(scope=Scope.ROUND)
        stale.filter(plan__state=Plan.State.REPLACED).delete()


def _from(place: str, shares: Sequence[Share]) -> int:
    """Pieces of shares that come from a place."""
    return sum(share.quantity for share in shares if place_of(share.supply) == place)


def _key(row: PartsList) -> tuple[Any, ...]:
    return (row.scope, row.visit_id if row.scope == Scope.VISIT else row.round_id)


_COMPARED = (
    "item_id",
    "quantity",
    "spare",
    "in_stock",
    "reserved_elsewhere",
    "from_store",
    "on_order",
    "late",
    "short",
    "packs_to_order",
    "packs_now",
    "chance_of_running_out",
    "needed_by",
    "order_by",
    "reasons",
    "sentence",
)


def _contents(lines: Iterable[PartsLine]) -> list[tuple[Any, ...]]:
    """What lines say, in the order of their items, each of which has one."""
    return [tuple(getattr(line, name) for name in _COMPARED) for line in sorted(lines, key=lambda line: line.item_id)]
