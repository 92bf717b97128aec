"""What of each item will be wanted in the coming half year, where, and how likely it runs out if none is ordered."""

import json
from collections import defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from functools import cached_property
from typing import Any, Final, NamedTuple

from django.db.models import TextField
from django.db.models.functions import Cast

from accounts.kept_answers import KeptAnswers
from accounts.models import Company
from fleet.models import CatalogueItem, Forecast, Position, Unit
from scheduling.models import Need
from scheduling.planning.needs.need import median_days
from scheduling.planning.stock.reorder import Arrival, ExpectedDemand
from scheduling.planning.stock.weeks_ahead import WEEKS, Week, wanted_by_place, weeks_ahead
from scheduling.services.needs.facts import days_from_all
from scheduling.services.needs.rows import read_needs
from scheduling.services.stock.allocation import Allocation, live_plan
from scheduling.services.stock.counting import rows_of_outlook
from scheduling.services.stock.demand import expect_demand
from scheduling.services.stock.unplanned import unplanned_use
from scheduling.services.words import stock as words

# More likely than not.
_LIKELY = 0.5


_COLUMNS: Final = (
    "position_id",
    "pk",
    "placement__item_id",
    "as_of",
    "grid",
    "fresh_life_p10_days",
    "fresh_life_p50_days",
    "fresh_life_p90_days",
    "position__unit_id",
    "position__stage",
    "position__role",
    "state",
    "driver",
)


_OF_PLACE: Final = (
    "pk",
    "position_id",
    "position__stage",
    "position__role",
    "position__unit_id",
    "position__unit__code",
    "p50",
)


class _ForecastRow(NamedTuple):
    """The newest forecast of a position, as far as the distributions of what is wanted rest on it.

    `fresh_life_days` is empty where the forecast is older than that answer, and `days` where there is no date.
    """

    pk: int
    item: int | None
    days: tuple[float, ...]
    fresh_life_days: tuple[float, ...]
    unit: int
    stage: str
    role: str
    state: str
    driver: str

    def goes_by_itself(self, lead: "_ForecastRow") -> bool:
        """Whether this lag is replaced where it stands, as needs have it, and not moved up when its lead is rotated."""
        if not lead.days or self.state == Forecast.State.EXHAUSTED:
            return True
        ages_out = self.driver == Forecast.Driver.MAXIMUM_SERVICE_TIME
        return ages_out and bool(self.days) and median_days(self.days) <= median_days(lead.days)


class Place(NamedTuple):
    """A position that wants an item, by its newest forecast: with which probability, and how many on average."""

    forecast: int
    chance: float
    expected: float


class WantedAt(NamedTuple):
    """A position that wants pieces of an item within the weeks: with which probability, and how many on average.

    `exhausted_p50` is the day by which what stands there is exhausted with 50 %, by the forecast.
    """

    forecast: int
    position: int
    stage: str
    role: str
    unit: int
    unit_code: str
    exhausted_p50: date | None
    chance: float
    expected: float


@dataclass(frozen=True, slots=True)
class DatedWeek:
    """A week with its last day."""

    day: date
    numbers: Week


@dataclass(frozen=True, slots=True)
class ItemOutlook:
    """One item week by week.

    Attributes
    ----------
    on_hand, on_order
        Pieces in the store and in the vans that can be used, and those still to come.
    unplanned_per_week
        Pieces a week that are used without a plan, on average of the past year.
    runs_out_on
        End of the first week by which it has more likely than not run out; None within these weeks.
    """

    item: CatalogueItem
    on_hand: int
    on_order: int
    unplanned_per_week: float
    weeks: Sequence[DatedWeek]

    @property
    def runs_out_on(self) -> date | None:
        """The end of the week; None within these weeks."""
        return next((week.day for week in self.weeks if week.numbers.chance_missing > _LIKELY), None)

    @property
    def sentence(self) -> str:
        """All of it in one sentence."""
        last = self.weeks[-1]
        return words.outlook(
            self.on_hand, self.on_order, last.numbers.wanted_p10, last.numbers.wanted_p90, last.day, self.runs_out_on
        )


class StockOutlook:
    """The half year of a company's stock, read once, and only where nobody has looked since something changed.

    What visits take and what forecasts may call for is counted as in the parts lists; beyond them, every position whose
    cartridge has a date, and what is fitted after it, wants its pieces too. A pair in series wants one for each lead
    that is spent, since a rotation moves its lag up. Small parts count with the work that is known, and not again with
    what comes after it.
    """

    def __init__(self, *, company: Company, now: datetime) -> None:
        self.company, self.today = company, company.day_at(now)
        # of the past year up to this moment, so that it may be another though no row is
        self.unplanned = unplanned_use(company=company, now=now)
        about = ("outlook", company.pk, self.today, sorted(self.unplanned.items()))
        self._kept = KeptAnswers(about, lambda: rows_of_outlook(company))
        self._read_at: tuple[str | None, _Working] | None = None

    @property
    def items(self) -> frozenset[str]:
        """Keys of the items that are wanted, there, on order or used without a plan."""
        return self._kept.of(["items"], lambda names, at: {"items": self._working(at).items})["items"]

    def of_all(self, items: Sequence[CatalogueItem]) -> list[ItemOutlook]:
        """Look at some items."""
        names = [str(item.pk) for item in items]
        numbers = self._kept.of(names, lambda keys, at: {key: self._working(at).numbers(key) for key in keys})
        return [ItemOutlook(item, *numbers[str(item.pk)]) for item in items]

    def of(self, item: CatalogueItem) -> ItemOutlook:
        """Look at one item."""
        return self.of_all([item])[0]

    def places(self, item: CatalogueItem) -> Sequence[Place]:
        """The positions behind an item's numbers, the surest first."""
        name = f"places of {item.pk}"
        return self._kept.of([name], lambda names, at: {name: self._working(at).places(str(item.pk))})[name]

    def wanted_at(self, places: Sequence[Place]) -> list[WantedAt]:
        """Some of these positions, as far as they are told of; what went meanwhile is left out."""
        rows = Forecast.objects.of_company(self.company).filter(pk__in=[at.forecast for at in places])
        read: Any = rows.order_by().values_list(*_OF_PLACE)
        found: dict[int, tuple[Any, ...]] = {row[0]: row for row in read}
        there = [at for at in places if at.forecast in found]
        return [WantedAt._make((*found[at.forecast], at.chance, at.expected)) for at in there]

    def _working(self, versions: str | None) -> "_Working":
        """What is worked out from rows of these versions; where there are none, what was read first."""
        if self._read_at is None or self._read_at[0] != versions:
            self._read_at = (versions, _Working(self.company, self.today, self.unplanned))
        return self._read_at[1]


class _Working:
    """What the outlook is worked out from, each part read when it is asked for."""

    def __init__(self, company: Company, today: date, unplanned: Mapping[str, float]) -> None:
        self.company, self.today, self.unplanned = company, today, unplanned
        self.last = today + timedelta(days=7 * WEEKS)
        self.allocation = Allocation(company=company, today=today, plan=live_plan(company))

    @property
    def items(self) -> frozenset[str]:
        """As of the outlook."""
        supplies = self.allocation.supplies
        return frozenset(self.demand) | supplies.counted | frozenset(supplies.coming) | frozenset(self.unplanned)

    def numbers(self, key: str) -> tuple[int, int, float, list[DatedWeek]]:
        """What an `ItemOutlook` says beside the item."""
        demands, supplies, unplanned = self.demand.get(key, []), self.allocation.supplies, self.unplanned.get(key, 0.0)
        supply = [
            Arrival(
                each.quantity,
                (each.usable_from - self.today).days if each.usable_from is not None else 0,
                (each.usable_until - self.today).days if each.usable_until is not None else None,
            )
            for each in supplies.of(key)
        ]
        weeks = [
            DatedWeek(self.today + timedelta(days=week.day), week)
            for week in weeks_ahead(demands, supply, unplanned_per_day=unplanned)
        ]
        return supplies.at_hand(key), supplies.on_order(key), 7.0 * unplanned, weeks

    def places(self, key: str) -> list[Place]:
        """The positions behind an item's numbers, the surest first."""
        wanted = wanted_by_place(self.demand.get(key, []), 7 * WEEKS)
        here = {int(at): numbers for at, numbers in wanted.items() if numbers[0] > 0.0 and int(at) in self._forecasts}
        surest = sorted(here.items(), key=lambda entry: (-entry[1][0], -entry[1][1], entry[0]))
        return [Place(self._forecasts[at].pk, *numbers) for at, numbers in surest]

    @cached_property
    def _forecasts(self) -> dict[int, _ForecastRow]:
        """The newest forecast of each position of the units in use, by position."""
        units = Unit.objects.of_company(self.company).filter(Unit.is_in_use_on(self.today))
        latest = Forecast.objects.of_company(self.company).filter(is_latest=True, position__unit__in=units)
        # as text, read all at once: one by one they cost ten times as much
        with_grid = latest.order_by("pk").annotate(grid=Cast("date_grid", TextField()))
        rows: Any = list(with_grid.values_list(*_COLUMNS))
        grids: list[list[int]] = json.loads(f"[{','.join(row[4] for row in rows)}]")
        all_days = days_from_all([row[3] for row in rows], grids, self.today)
        return {
            position: _ForecastRow(pk, item, days, () if None in rest[:3] else tuple(rest[:3]), *rest[3:])
            for (position, pk, item, _, _, *rest), days in zip(rows, all_days, strict=True)
        }

    @cached_property
    def demand(self) -> Mapping[str, Sequence[ExpectedDemand]]:
        """What is wanted of each item, for certain or by chance."""
        needs = Need.objects.of_company(self.company).filter(Need.TAKES_A_VISIT, state=Need.State.OPEN)
        open_needs = list(read_needs(needs, with_forecasts=True))
        lives = {position: row.fresh_life_days for position, row in self._forecasts.items()}
        visits, round_of = self.allocation.visits, self.allocation.round_of
        fixed = {pk for pk, visit in visits.items() if visit.is_confirmed} | set(round_of)
        table: dict[str, list[ExpectedDemand]] = defaultdict(list)
        table.update(
            expect_demand(
                visits=visits,
                days=self.allocation.days,
                fixed=fixed,
                needs=open_needs,
                catalogue=self.allocation.catalogue,
                today=self.today,
                last=self.last,
                fresh_lives=lives,
            )
        )
        spoken_of = {need.position_id for need in open_needs if need.item_id is not None}
        lags = {(row.unit, row.stage): row for row in self._forecasts.values() if row.role == Position.Role.LAG}
        leads = {(row.unit, row.stage): row for row in self._forecasts.values() if row.role == Position.Role.LEAD}
        for position, row in self._forecasts.items():
            if position in spoken_of or not row.days:
                continue
            lead, lag = leads.get((row.unit, row.stage)), lags.get((row.unit, row.stage))
            if row.role == Position.Role.LAG and lead is not None and not row.goes_by_itself(lead):
                continue
            # what a rotation takes is a lag
            item = lag.item if row.role == Position.Role.LEAD and lag is not None and lag.item is not None else row.item
            if item is not None:
                table[str(item)].append(ExpectedDemand(1, None, row.days, str(position), row.fresh_life_days))
        return table
