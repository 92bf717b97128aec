"""What of each item will be wanted in the coming half year, where, and how likely it runs out if none is ordered."""

from collections import defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from functools import cached_property
from typing import Any, Final, NamedTuple

from accounts.models import Company
from fleet.models import CatalogueItem, Forecast, Unit
from scheduling.models import Need
from scheduling.planning.stock.reorder import Arrival, ExpectedDemand
from scheduling.planning.stock.weeks_ahead import WEEKS, Week, wanted_by_place, weeks_ahead
from scheduling.services.needs.facts import days_from
from scheduling.services.needs.rows import read_needs
from scheduling.services.stock.allocation import Allocation, live_plan
from scheduling.services.stock.demand import expect_demand
from scheduling.services.stock.unplanned import unplanned_use
from scheduling.services.words import stock as words

# More likely than not.
_LIKELY = 0.5


class _ForecastRow(NamedTuple):
    """The newest forecast of a position, as far as the distributions of what is wanted rest on it."""

    position: int
    pk: int
    item: int | None
    as_of: date
    date_grid: list[int]
    low: float | None
    median: float | None
    high: float | None

    @property
    def fresh_life_days(self) -> tuple[float, ...]:
        """Life of a fresh cartridge there; empty where the forecast is older than that answer."""
        low, median, high = self.low, self.median, self.high
        return () if low is None or median is None or high is None else (low, median, high)


_COLUMNS: Final = (
    "position_id",
    "pk",
    "placement__item_id",
    "as_of",
    "date_grid",
    "fresh_life_p10_days",
    "fresh_life_p50_days",
    "fresh_life_p90_days",
)


@dataclass(frozen=True, slots=True)
class WantedAt:
    """A position that wants pieces of an item within the weeks: with which probability, and how many on average."""

    forecast: Forecast
    chance: float
    expected: float


@dataclass(frozen=True, slots=True)
class DatedWeek:
    """A week with its last day."""

    day: date
    numbers: Week


@dataclass(frozen=True, slots=True)
class ItemOutlook:
    """One item week by week, with the positions behind the numbers.

    Attributes
    ----------
    on_hand, on_order
        Pieces in the store and in the vans that can be used, and those still to come.
    unplanned_per_week
        Pieces a week that are used without a plan, on average of the past year.
    runs_out_on
        End of the first week by which it has more likely than not run out; None within these weeks.
    wanted_at
        Surest first; empty where nobody asked for them.
    """

    item: CatalogueItem
    on_hand: int
    on_order: int
    unplanned_per_week: float
    weeks: Sequence[DatedWeek]
    wanted_at: Sequence[WantedAt] = ()

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
    """The half year of a company's stock, read once.

    What visits take and what forecasts may call for is counted as in the parts lists; beyond them, every position whose
    cartridge has a date, and what is fitted after it, wants its pieces too. Small parts count with the work that is
    known, and not again with what comes after it.
    """

    def __init__(self, *, company: Company, now: datetime) -> None:
        self.company, self.today = company, company.day_at(now)
        self.last = self.today + timedelta(days=7 * WEEKS)
        self.unplanned = unplanned_use(company=company, now=now)
        self.allocation = Allocation(company=company, today=self.today, plan=live_plan(company))

    @property
    def items(self) -> frozenset[str]:
        """Keys of the items that are wanted, there, on order or used without a plan."""
        supplies = self.allocation.supplies
        return frozenset(self.demand) | supplies.counted | frozenset(supplies.coming) | frozenset(self.unplanned)

    def of(self, item: CatalogueItem, *, with_places: bool = False) -> ItemOutlook:
        """Look at one item, with the positions behind its numbers if they are asked for."""
        key = str(item.pk)
        demands, supplies, unplanned = self.demand.get(key, []), self.allocation.supplies, self.unplanned.get(key, 0.0)
        supply = [
            Arrival(
                each.quantity,
                (each.usable_from - self.today).days if each.usable_from is not None else 0,
                (each.usable_until - self.today).days if each.usable_until is not None else None,
            )
            for each in supplies.of(key)
        ]
        return ItemOutlook(
            item=item,
            on_hand=supplies.at_hand(key),
            on_order=supplies.on_order(key),
            unplanned_per_week=7.0 * unplanned,
            weeks=[
                DatedWeek(self.today + timedelta(days=week.day), week)
                for week in weeks_ahead(demands, supply, unplanned_per_day=unplanned)
            ],
            wanted_at=self._wanted_at(demands) if with_places else (),
        )

    def _wanted_at(self, demands: Sequence[ExpectedDemand]) -> list[WantedAt]:
        """The positions behind an item's numbers, the surest first."""
        places = wanted_by_place(demands, 7 * WEEKS)
        chosen = {self._forecasts[int(at)].pk: numbers for at, numbers in places.items() if int(at) in self._forecasts}
        forecasts = Forecast.objects.of_company(self.company).select_related("position__unit").in_bulk(list(chosen))
        wanted = [WantedAt(forecasts[pk], *numbers) for pk, numbers in chosen.items() if pk in forecasts]
        return sorted(wanted, key=lambda each: (-each.chance, -each.expected, each.forecast.position_id))

    @cached_property
    def _forecasts(self) -> dict[int, _ForecastRow]:
        """The newest forecast of each position of the units in use, by position."""
        units = Unit.objects.of_company(self.company).filter(Unit.is_in_use_on(self.today))
        latest = Forecast.objects.of_company(self.company).filter(is_latest=True, position__unit__in=units)
        rows: Any = latest.order_by("pk").values_list(*_COLUMNS)
        return {row[0]: _ForecastRow(*row) for row in rows}

    @cached_property
    def demand(self) -> Mapping[str, Sequence[ExpectedDemand]]:
        """What is wanted of each item, for certain or by chance."""
        needs = Need.objects.of_company(self.company).filter(Need.TAKES_A_VISIT, state=Need.State.OPEN)
        open_needs = list(read_needs(needs, with_forecasts=True))
        lives = {pk: row.fresh_life_days for pk, row in self._forecasts.items()}
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
        for position, row in self._forecasts.items():
            if position in spoken_of or row.item is None:
                continue
            dates = days_from(row.as_of, row.date_grid, self.today)
            if dates:
                table[str(row.item)].append(ExpectedDemand(1, None, dates, str(position), lives[position]))
        return table
