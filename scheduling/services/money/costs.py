"""What units and clients cost the company in a period: pieces used, minutes of work, travel, and what early changes
threw away.

Each report of work is priced once, in whole cents, and shared among the units it names; so the rows by unit and those
by client add up to the same.
"""

from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field, fields
from datetime import date, datetime, time, timedelta
from decimal import Decimal
from typing import Any, Final, NamedTuple

from django.db.models import Prefetch

from accounts.models import Client, Company
from fleet.models import CatalogueItem, Forecast, Placement, Unit
from fleet.services.sizing.running_cost import SizedCost, sized_costs
from scheduling.models import PurchaseOrder, PurchaseOrderLine, Round, ServiceRecord, Stop, Visit
from scheduling.planning.money.amounts import exact, rounded, shared
from scheduling.planning.policy import Policy
from scheduling.planning.travel.trips import great_circle_m
from scheduling.services.money.water import water_of_units
from scheduling.services.money.work import (
    Owners,
    minutes_by_unit,
    minutes_of,
    pieces_by_unit,
    units_of_positions,
)
from scheduling.services.policy import read_policy
from scheduling.services.words import money as words

_ZERO: Final = Decimal("0.00")
_LITRES: Final = Decimal(1000)
_DAY: Final = timedelta(days=1)
#: Removals that were no early change: the cartridge went on in another place, or was broken.
_NOT_EARLY: Final = (Placement.Removal.ROTATED, Placement.Removal.DAMAGED)


@dataclass
class Money:
    """Figures that add up, of a unit, a client or all.

    Attributes
    ----------
    parts, labour, travel
        In the company's currency.
    waste
        Of the parts: what was left in cartridges when they were changed, at their price.
    waste_unknown, changes
        Cartridges changed of which no forecast knew the share left, and all that were changed for good.
    reports, reports_without_minutes, reports_without_round
        Reports of work; those whose minutes are the policy's usual ones, and those whose travel is not known.
    minutes, km
        Of work, and of driving.
    litres
        Of product water.
    """

    parts: Decimal = _ZERO
    labour: Decimal = _ZERO
    travel: Decimal = _ZERO
    waste: Decimal = _ZERO
    waste_unknown: int = 0
    changes: int = 0
    reports: int = 0
    reports_without_minutes: int = 0
    reports_without_round: int = 0
    minutes: float = 0.0
    km: float = 0.0
    litres: float = 0.0

    @property
    def total(self) -> Decimal:
        """Parts, labour and travel."""
        return self.parts + self.labour + self.travel

    @property
    def per_1000_l(self) -> Decimal | None:
        """Total for 1,000 L of product water; None without water."""
        return self._per_1000_l(self.total)

    @property
    def parts_per_1000_l(self) -> Decimal | None:
        """Parts for 1,000 L of product water; None without water."""
        return self._per_1000_l(self.parts)

    @property
    def remarks(self) -> list[str]:
        """What the figures leave out or assume, in sentences."""
        said = (
            (self.waste_unknown, words.waste_unknown),
            (self.reports_without_minutes, words.minutes_assumed),
            (self.reports_without_round, words.travel_unknown),
        )
        return [sentence(count) for count, sentence in said if count]

    def add(self, other: "Money") -> None:
        """Add the figures of another row."""
        for name in _FIGURES:
            figure = getattr(other, name)
            # most of a large company's units cost nothing in most periods but what their water is counted by
            if figure:
                setattr(self, name, getattr(self, name) + figure)

    def _per_1000_l(self, money: Decimal) -> Decimal | None:
        return rounded(money * _LITRES / exact(self.litres)) if self.litres > 0.0 else None


_FIGURES: Final = tuple(each.name for each in fields(Money))


class ClientOfRow(NamedTuple):
    """What a row says of its client."""

    pk: int
    name: str


class UnitOfRow(NamedTuple):
    """What is read of a unit: a large company has thousands, and each holds four dozen columns more."""

    pk: int
    code: str
    totaliser: str
    design_recovery_fraction: float
    weekly_demand_l: float
    commissioned_on: date
    retired_on: date | None
    site_id: int
    client_id: int


@dataclass
class CostRow:
    """The money of one unit or one client; of work at a site without any unit, neither unit nor code.

    Attributes
    ----------
    water_sources
        How its litres are known, in words.
    sized
        What sizing says of the unit; None where it was not asked for, or the row is a client's.
    """

    client: ClientOfRow | None
    unit: UnitOfRow | None = None
    money: Money = field(default_factory=Money)
    water_sources: set[str] = field(default_factory=set)
    sized: SizedCost | None = None


@dataclass(frozen=True, slots=True)
class CostReport:
    """Costs of a period, from its first day until before its end; the dearest row first."""

    company: Company
    first_day: date
    before: date
    by: str
    rows: tuple[CostRow, ...]
    together: CostRow


def report_costs(
    *,
    company: Company,
    first_day: date,
    before: date,
    by: str,
    now: datetime,
    client: Client | None = None,
    unit: Unit | None = None,
    with_sizing: bool = False,
) -> CostReport:
    """Work out what was spent.

    Parameters
    ----------
    first_day, before
        The period, on the clock of the office; what lies after `now` counts for nothing.
    by
        'unit' or 'client'.
    client, unit
        Whose alone; None: all.
    with_sizing
        Whether each unit is set beside what sizing says of it, which takes a while for each.
    """
    begins, ends = (datetime.combine(day, time(), tzinfo=company.zone) for day in (first_day, before))
    ledger = _Ledger(company, begins, min(ends, now), unit)
    rows: dict[int | None, CostRow] = {}
    total = Money()
    cells = {
        (unit_id, client_id): cell
        for (unit_id, client_id), cell in ledger.cells().items()
        if (client is None or client.pk == client_id) and (unit is None or unit.pk == unit_id)
    }
    clients = {pk: ClientOfRow(pk, name) for pk, name in Client.objects.of_company(company).values_list("pk", "name")}
    for (unit_id, client_id), (money, source) in cells.items():
        key = client_id if by == "client" else unit_id
        if key not in rows:
            of_unit = ledger.units.get(unit_id or 0) if by == "unit" else None
            rows[key] = CostRow(clients.get(client_id), of_unit)
        rows[key].money.add(money)
        rows[key].water_sources |= {source} if source else set()
        total.add(money)
    if with_sizing and by == "unit":
        units = list(Unit.objects.filter(pk__in=[row.unit.pk for row in rows.values() if row.unit is not None]))
        sized = sized_costs(company=company, units=units, now=now)
        for row in rows.values():
            row.sized = sized.get(row.unit.pk) if row.unit is not None else None
    ordered = sorted(rows.values(), key=lambda row: (-row.money.total, _name_of(row)))
    return CostReport(company, first_day, before, by, tuple(ordered), CostRow(None, money=total))


def _name_of(row: CostRow) -> str:
    return row.unit.code if row.unit is not None else row.client.name if row.client is not None else ""


_Key = tuple[int | None, int]


class _Ledger:
    """Prices everything that happened in a period, in a number of queries that does not grow with it.

    Where one unit alone is asked for, of all units those at its site are looked at, who share visits with it; what is
    said of others then is not all of it.
    """

    def __init__(self, company: Company, begins: datetime, ends: datetime, unit: Unit | None = None) -> None:
        self.company, self.begins, self.ends = company, begins, max(begins, ends)
        self.policy: Policy = read_policy(company=company).planning
        self.owners = Owners(company)
        units: Any = Unit.objects.of_company(company).order_by("code")
        if unit is not None:
            units = units.filter(site=unit.site_id)
        read = [*UnitOfRow._fields[:-1], "site__client_id"]
        self.units: dict[int, UnitOfRow] = {row[0]: UnitOfRow(*row) for row in units.values_list(*read)}
        self.units_at: dict[int, list[int]] = defaultdict(list)
        for each in self.units.values():
            self.units_at[each.site_id].append(each.pk)
        reports = ServiceRecord.objects.of_company(company).filter(done_at__gte=begins, done_at__lt=self.ends)
        self.reports: list[ServiceRecord] = list(reports.select_related("site").order_by("done_at", "pk"))
        self.unit_of_position = units_of_positions(self.reports)
        changes = Placement.objects.of_company(company).filter(removed_at__gte=begins, removed_at__lt=self.ends)
        if unit is not None:
            changes = changes.filter(position__unit__in=self.units)
        self.changes: list[Placement] = list(
            changes.exclude(removal__in=_NOT_EARLY).select_related("position").order_by("pk")
        )
        items = {part["item"] for report in self.reports for part in report.parts}
        self.prices = _Paid(company, items | {change.item_id for change in self.changes})
        self._cells: dict[_Key, Money] = defaultdict(Money)

    def cells(self) -> dict[_Key, tuple[Money, str]]:
        """(unit, client) to the money, and how the litres are known."""
        travel = _Travel(self.company, self.begins, self.ends, self.policy)
        seen: set[int] = set()
        for report in self.reports:
            shares = minutes_by_unit(report, self.policy, self.unit_of_position)
            units: list[int | None] = list(shares) or list(self.units_at.get(report.site_id, ())) or [None]
            weights = list(shares.values()) if shares else [1.0] * len(units)
            cells = [self._cell(unit, report.site, report.done_at) for unit in units]
            self._price_work(report, cells, weights)
            self._price_parts(report, units, cells, weights)
            cells[0].reports += 1
            if report.visit_id in travel.by_visit and report.visit_id not in seen:
                seen.add(report.visit_id)
                _share_travel(travel.by_visit[report.visit_id], cells, weights)
            elif report.visit_id not in travel.by_visit:
                cells[0].reports_without_round += 1
        for visit_id, driven in travel.by_visit.items():
            if visit_id not in seen:
                here: list[int | None] = list(self.units_at.get(driven.site.pk, ())) or [None]
                cells = [self._cell(unit, driven.site, driven.at) for unit in here]
                _share_travel(driven, cells, [1.0] * len(cells))
        self._count_waste()
        sources = self._count_water()
        return {key: (money, sources.get(key[0] or 0, "")) for key, money in self._cells.items()}

    def _cell(self, unit: int | None, site: Any, at: datetime) -> Money:
        row = self.units.get(unit or 0)
        if row is not None:
            return self._cells[row.pk, self.owners.of_unit(row.pk, at, row.client_id)]
        return self._cells[unit, self.owners.of_site(site, at)]

    def _price_work(self, report: ServiceRecord, cells: Sequence[Money], weights: Sequence[float]) -> None:
        minutes, is_assumed = minutes_of(report, self.policy)
        cost = rounded(exact(minutes) * exact(self.policy.working_cost_per_minute))
        for cell, money, share in zip(cells, shared(cost, weights), _fractions(weights), strict=True):
            cell.labour += money
            cell.minutes += minutes * share
        cells[0].reports_without_minutes += is_assumed

    def _price_parts(
        self, report: ServiceRecord, units: Sequence[int | None], cells: Sequence[Money], weights: Sequence[float]
    ) -> None:
        day = self.company.day_at(report.done_at)
        for unit, pieces in pieces_by_unit(report, self.unit_of_position).items():
            cost = sum((count * self.prices.on(item, day) for item, count in pieces.items()), _ZERO)
            if unit in units:
                cells[units.index(unit)].parts += cost
                continue
            for cell, money in zip(cells, shared(cost, weights), strict=True):
                cell.parts += money

    def _count_waste(self) -> None:
        """What was left in cartridges when they were changed: the share that the last forecast before knew, at their
        price; nothing of those that were seen to be exhausted."""
        left = _shares_left(self.company, self.changes)
        for change in self.changes:
            unit = self.units[change.position.unit_id]
            removed_at = change.removed_at or self.ends
            cell = self._cell(unit.pk, None, removed_at)
            cell.changes += 1
            share = 0.0 if change.removal == Placement.Removal.EXHAUSTED else left.get(change.pk)
            if share is None:
                cell.waste_unknown += 1
            else:
                price = self.prices.on(change.item_id, self.company.day_at(change.first_installed_at))
                cell.waste += rounded(exact(share) * price)

    def _count_water(self) -> dict[int, str]:
        water = water_of_units(
            company=self.company, units=list(self.units.values()), begins=self.begins, ends=self.ends
        )
        for unit in self.units.values():
            for client, days in self._days_of_clients(unit).items():
                if days > 0.0:
                    self._cells[unit.pk, client].litres += water[unit.pk].l_per_day * days
        return {pk: each.source for pk, each in water.items()}

    def _days_of_clients(self, unit: UnitOfRow) -> dict[int, float]:
        """Client to the days of the period on which they had the unit in service."""
        zone = self.company.zone
        first = max(self.begins, datetime.combine(unit.commissioned_on, time(), tzinfo=zone))
        retired = unit.retired_on
        last = self.ends if retired is None else min(self.ends, datetime.combine(retired, time(), tzinfo=zone))
        days: dict[int, float] = defaultdict(float)
        for begins, ends in self.owners.stretches(unit.pk, first, last):
            days[self.owners.of_unit(unit.pk, begins, unit.client_id)] += (ends - begins) / _DAY
        return days


class _Paid:
    """What a piece of an item cost the company: by the newest order placed by then, else by the catalogue."""

    def __init__(self, company: Company, items: Iterable[int]) -> None:
        self._listed = dict(CatalogueItem.objects.of_company(company).values_list("pk", "price"))
        self._ordered: dict[int, list[tuple[date, Decimal]]] = defaultdict(list)
        lines = PurchaseOrderLine.objects.of_company(company).filter(
            item__in=set(items), order__placed_on__isnull=False
        )
        for item, day, price in (
            lines.exclude(order__state=PurchaseOrder.State.CANCELLED)
            .order_by("order__placed_on", "pk")
            .values_list("item_id", "order__placed_on", "price")
        ):
            if day is not None:
                self._ordered[item].append((day, price))

    def on(self, item: int, day: date) -> Decimal:
        """Of one piece that was used on a day."""
        price: Decimal = self._listed[item]
        for placed_on, paid in self._ordered.get(item, ()):
            if placed_on <= day:
                price = paid
        return price


@dataclass(frozen=True, slots=True)
class _Driven:
    """A visit's share of its round."""

    site: Any
    at: datetime
    km: float
    cost: Decimal


class _Travel:
    """Each visit's share of the round it was made in, of the newest published plan for its day.

    A round's kilometres and minutes are shared in proportion to how far its stops lie from where it begins, as the crow
    flies: a stop twice as far bears twice as much. Common practice, no source.
    """

    def __init__(self, company: Company, begins: datetime, ends: datetime, policy: Policy) -> None:
        self.by_visit: dict[int, _Driven] = {}
        stops = Stop.objects.select_related("visit__site").order_by("order")
        rounds = (
            Round.objects.of_company(company)
            .filter(plan__published_at__isnull=False, day__gte=company.day_at(begins), day__lte=company.day_at(ends))
            .select_related("installer", "plan")
            .prefetch_related(Prefetch("stops", queryset=stops))
            .order_by("plan__published_at", "pk")
        )
        for row in rounds:
            made = list(row.stops.all())
            away = [_away_m(row.installer, stop.visit.site) for stop in made]
            cost = exact(row.driving_minutes) * exact(policy.driving_cost_per_minute)
            cost = rounded(cost + exact(row.driving_km) * exact(policy.driving_cost_per_km))
            for stop, money, share in zip(made, shared(cost, away), _fractions(away), strict=True):
                visit = stop.visit
                if visit.state in Visit.VISITED and visit.closed_at and company.day_at(visit.closed_at) == row.day:
                    self.by_visit[visit.pk] = _Driven(visit.site, visit.closed_at, row.driving_km * share, money)


def _away_m(installer: Any, site: Any) -> float:
    if site.latitude is None or site.longitude is None:
        return 0.0
    return float(great_circle_m(installer.home_latitude, installer.home_longitude, site.latitude, site.longitude))


def _share_travel(driven: _Driven, cells: Sequence[Money], weights: Sequence[float]) -> None:
    for cell, money, share in zip(cells, shared(driven.cost, weights), _fractions(weights), strict=True):
        cell.travel += money
        cell.km += driven.km * share


def _fractions(weights: Sequence[float]) -> list[float]:
    total = sum(weights)
    return [weight / total if total > 0.0 else 1.0 / len(weights) for weight in weights]


def _shares_left(company: Company, changes: Sequence[Placement]) -> Mapping[int, float]:
    """Placement id to the share that was left of it, by the last forecast made before it was removed."""
    removed = {change.pk: change.removed_at for change in changes}
    left: dict[int, float] = {}
    rows = Forecast.objects.of_company(company).filter(placement__in=list(removed)).order_by("as_of", "pk")
    for placement, as_of, state, share in rows.values_list("placement_id", "as_of", "state", "remaining_share"):
        at = removed[placement]
        if at is None or as_of > company.day_at(at):
            continue
        if state == Forecast.State.EXHAUSTED:
            left[placement] = 0.0
        elif share is not None:
            left[placement] = share
    return left
