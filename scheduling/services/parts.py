"""Parts lists: for every visit of a plan, for every van's round, for the plan's days and for the weeks to order for."""

from collections import Counter
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from typing import Any

from django.db import transaction

from accounts.models import Company
from scheduling.models import PartsLine, PartsList, Plan, Round, StockLevel, Stop, Visit
from scheduling.planning import parts
from scheduling.services.days import company_day
from scheduling.services.policy import read_policy
from scheduling.services.visit_parts import Catalogue, read_catalogue, tasks_of

Scope = PartsList.Scope
_LIVE = (
    Visit.State.PROPOSED,
    Visit.State.OFFERED,
    Visit.State.CONFIRMED,
    Visit.State.ON_THE_WAY,
    Visit.State.IN_PROGRESS,
)


@dataclass(frozen=True, slots=True)
class PartsWritten:
    """How many lists were written anew or changed, and how many stand as they were."""

    written: int
    unchanged: int


def write_parts_lists(*, plan: Plan, now: datetime) -> PartsWritten:
    """Write the parts lists a plan gives rise to.

    * one for each visit in it, against everything in stock,
    * one for each round, against what its van still holds that morning: short is what must be loaded,
    * one for the plan's days and one for the weeks the policy orders for, against everything in stock: short is what
      must be ordered, in packs, with the last day on which an order still arrives in time.

    The weeks to order for also hold the visits that no round serves yet, on the day they are due or cheapest. Writing
    twice changes nothing.
    """
    company = plan.company
    today = company_day(company=company, now=now)
    policy = read_policy(company=company)
    with transaction.atomic():
        Company.objects.select_for_update(no_key=True).get(pk=company.pk)
        writer = _Writer(plan, today, now)
        last_ordered = today + timedelta(days=policy.house.order_horizon_days - 1)
        writer.visits_and_rounds()
        writer.period(plan.first_day, plan.first_day + timedelta(days=plan.days - 1), in_plan_only=True)
        writer.period(today, last_ordered, in_plan_only=False)
        writer.drop_stale()
    return PartsWritten(writer.written, writer.unchanged)


class _Writer:
    """Writes the lists of one plan from rows read once."""

    def __init__(self, plan: Plan, today: date, now: datetime) -> None:
        self.plan, self.company, self.today, self.now = plan, plan.company, today, now
        self.catalogue: Catalogue = read_catalogue(company=self.company)
        self.rounds = list(Round.objects.filter(plan=plan).prefetch_related("stops"))
        self.day_of: dict[int, date] = {s.visit_id: r.day for r in self.rounds for s in r.stops.all()}
        visits = Visit.objects.of_company(self.company).filter(state__in=_LIVE)
        self.visits = {v.pk: v for v in visits.prefetch_related("tasks__need__position").order_by("pk")}
        self.in_vans: dict[int, Counter[str]] = {}
        self.in_all: Counter[str] = Counter()
        for level in StockLevel.objects.of_company(self.company):
            self.in_all[str(level.item_id)] += level.quantity
            if level.installer_id is not None:
                self.in_vans.setdefault(level.installer_id, Counter())[str(level.item_id)] += level.quantity
        self.lists = self._read_lists()
        self.written = self.unchanged = 0

    def _read_lists(self) -> dict[tuple[Any, ...], PartsList]:
        rows = PartsList.objects.of_company(self.company).prefetch_related("lines")
        mine = [
            *rows.filter(scope=Scope.VISIT, visit__in=self.day_of),
            *rows.filter(scope=Scope.ROUND, round__plan=self.plan),
            *rows.filter(scope=Scope.PERIOD),
        ]
        return {_key(row): row for row in mine}

    def visits_and_rounds(self) -> None:
        for visit_id, day in self.day_of.items():
            if visit_id in self.visits:
                lines = self._lines([visit_id], self.in_all)
                self._write(lines, scope=Scope.VISIT, visit_id=visit_id, first_day=day, last_day=day)
        # in order of days: what a van uses on one day is not aboard on the next
        for round_ in sorted(self.rounds, key=lambda r: (r.day, r.pk)):
            stops: Iterable[Stop] = round_.stops.all()
            aboard = self.in_vans.setdefault(round_.installer_id, Counter())
            lines = self._lines([s.visit_id for s in stops], aboard)
            for line in lines:
                aboard[str(line.item_id)] -= min(line.quantity, line.in_stock)
                # what a van lacks is loaded from the store; what to order is the period's matter
                line.packs_to_order, line.needed_by, line.order_by = 0, None, None
            self._write(lines, scope=Scope.ROUND, round_id=round_.pk, first_day=round_.day, last_day=round_.day)

    def period(self, first: date, last: date, *, in_plan_only: bool) -> None:
        days = {pk: self._expected(visit) for pk, visit in self.visits.items()}
        chosen = [
            pk
            for pk, day in days.items()
            # what is overdue is wanted now, whatever its best day was
            if max(day, self.today) <= last and (pk in self.day_of if in_plan_only else True)
        ]
        lines = self._lines(chosen, self.in_all, {pk: max(days[pk], first) for pk in chosen})
        self._write(lines, scope=Scope.PERIOD, first_day=first, last_day=last)

    def drop_stale(self) -> None:
        """Drop lists of visits and periods that a replaced plan left behind: nobody would load or order by them."""
        stale = PartsList.objects.of_company(self.company).exclude(scope=Scope.ROUND)
        stale.filter(plan__state=Plan.State.REPLACED).delete()

    def _expected(self, visit: Visit) -> date:
        """The day a visit is expected on: in the plan, by appointment, or its cheapest."""
        planned = self.day_of.get(visit.pk)
        if planned is not None:
            return planned
        if visit.appointment_at is not None:
            return company_day(company=self.company, now=visit.appointment_at)
        return visit.best_day

    def _lines(
        self, visits: Sequence[int], stock: Mapping[str, int], days: Mapping[int, date] | None = None
    ) -> list[PartsLine]:
        known = [self.visits[pk] for pk in visits if pk in self.visits]
        tasks = tasks_of(known, days if days is not None else self.day_of)
        rules = self.catalogue.rules_for(tasks)
        found = parts.parts_for(tasks, rules, self.catalogue.entries, stock, today=self.today)
        return [self._line(line) for line in found]

    def _line(self, line: parts.PartsLine) -> PartsLine:
        item = self.catalogue.items[line.item]
        return PartsLine(
            item=item,
            quantity=line.needed,
            in_stock=line.in_stock,
            short=line.shortfall,
            packs_to_order=line.packs,
            needed_by=line.needed_by,
            order_by=order_by(line.needed_by, item.lead_time_days) if line.needed_by is not None else None,
            reasons=[
                {"visit": int(visit), "quantity": quantity}
                for visit, quantity in sorted(line.taken_by.items(), key=_id)
            ],
        )

    def _write(self, lines: list[PartsLine], **identity: Any) -> None:
        """Write a list, or leave it alone when it says the same already."""
        fresh = PartsList(company=self.company, plan=self.plan, written_at=self.now, **identity)
        row = self.lists.get(_key(fresh))
        if row is None:
            fresh.save()
            row = fresh
        else:
            same_days = (row.first_day, row.last_day) == (fresh.first_day, fresh.last_day)
            same_lines = [_content(line) for line in row.lines.all()] == sorted(_content(line) for line in lines)
            if same_days and same_lines and row.plan_id == self.plan.pk:
                self.unchanged += 1
                return
            row.plan, row.first_day, row.last_day, row.written_at = self.plan, fresh.first_day, fresh.last_day, self.now
            row.save()
            row.lines.all().delete()
        for line in lines:
            line.parts_list = row
        PartsLine.objects.bulk_create(lines)
        self.written += 1


def order_by(needed_by: date, lead_time_days: int) -> date:
    """Last working day on which an order still reaches the shelf the day before it is needed.

    The van is loaded before the installer leaves, so what arrives on the day itself is too late.

    >>> order_by(date(2026, 12, 1), 7)  # a Tuesday; Monday minus seven days is a Monday
    datetime.date(2026, 11, 23)
    >>> order_by(date(2026, 12, 1), 8)  # would be a Sunday
    datetime.date(2026, 11, 20)
    """
    return parts.working_days_before(needed_by - timedelta(days=1 + lead_time_days), 0)


def _key(row: PartsList) -> tuple[Any, ...]:
    if row.scope == Scope.VISIT:
        return (row.scope, row.visit_id)
    if row.scope == Scope.ROUND:
        return (row.scope, row.round_id)
    return (row.scope, row.first_day, row.last_day)


def _content(line: PartsLine) -> tuple[Any, ...]:
    return (
        line.item_id,
        line.quantity,
        line.in_stock,
        line.short,
        line.packs_to_order,
        str(line.needed_by),
        str(line.order_by),
        str(line.reasons),
    )


def _id(entry: tuple[str, int]) -> int:
    return int(entry[0])
