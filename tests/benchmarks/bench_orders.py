"""Years of ordering, simulated: the fill rate against the level asked for, and the money on the shelf.

`python -m tests.benchmarks.bench_orders` runs 200 seeded years of 52 weeks. What happens in them is drawn here, by
distributions that the ordering knows nothing of: lives are log-normal in half of the runs, as the forecasts assume, and
Weibull in the other half, with the position's own mean; the forecasts know that mean only to ten per cent. Suppliers
are punctual within some days and now and then a week late, where the ordering assumes a gamma distribution. Unplanned
use comes in bursts, where the ordering assumes a Poisson process of the mean rate.

Beside it 'reorder at two left': a pack whenever two pieces or fewer are at hand and on order, looked at on the same
days. It has no level to ask for, so that the ordering is asked for the fill rate that it reaches. The company has 20
units, for which two left is a sensible habit. Prices, lives and numbers are invented.
"""

import argparse
import json
import math
import multiprocessing
from collections.abc import Iterator, Sequence
from dataclasses import asdict, dataclass, field
from pathlib import Path

import numpy as np
from scipy.special import ndtr, ndtri

from scheduling.planning.needs.need import DISTRIBUTION_LEVELS
from scheduling.planning.stock.lead_times import LeadTime
from scheduling.planning.stock.reorder import ExpectedDemand
from scheduling.planning.stock.replenish import ItemToOrder, packs_to_order
from scheduling.planning.stock.uncertain_demand import over_lead_time

WEEKS, REVIEW_DAYS = 52, 7
#: Days before the year in which stocks find their level; they are not counted.
WARM_UP_DAYS = 91
_VARIATION = 0.25


@dataclass(frozen=True)
class Item:
    """One item: its price and pack, how many positions it stands in, how long it lasts, how much goes unplanned."""

    key: str
    price: float
    pack_size: int
    positions: int
    mean_life_days: float
    unplanned_per_year: float
    lead_days: float


ITEMS = (
    Item("sediment", 4.2, 6, 20, 150, 3, 6),
    Item("carbon", 11.8, 4, 20, 190, 2, 6),
    Item("resin", 19.0, 2, 16, 130, 2, 6),
    Item("membrane", 48.0, 1, 20, 800, 1, 10),
    Item("sediment, large", 14.0, 2, 5, 170, 1, 10),
    Item("carbon, large", 27.0, 2, 5, 200, 1, 10),
    Item("membrane, large", 120.0, 1, 5, 900, 0.5, 14),
)


@dataclass
class Shelf:
    """Pieces of one item at hand, on order by day of arrival, and who waits for one."""

    at_hand: int
    on_order: dict[int, int] = field(default_factory=dict)
    waiting: list[int] = field(default_factory=list)

    @property
    def there(self) -> int:
        return self.at_hand + sum(self.on_order.values()) - len(self.waiting)


@dataclass
class Score:
    """What a year came to."""

    wanted: int = 0
    met: int = 0
    money_days: float = 0.0
    days: int = 0
    orders: int = 0
    by_item: np.ndarray = field(default_factory=lambda: np.zeros((len(ITEMS), 3)))

    @property
    def fill_rate(self) -> float:
        return self.met / self.wanted

    @property
    def money(self) -> float:
        """Money on the shelf, on average."""
        return self.money_days / self.days

    def __add__(self, other: "Score") -> "Score":
        return Score(
            self.wanted + other.wanted,
            self.met + other.met,
            self.money_days + other.money_days,
            self.days + other.days,
            self.orders + other.orders,
            self.by_item + other.by_item,
        )


class Year:
    """One run: the same draws whatever orders are made, as far as the fitting of late pieces leaves them the same."""

    def __init__(self, seed: int) -> None:
        self.seed, self.is_weibull = seed, seed % 2 == 1
        rng = np.random.default_rng([seed, 1])
        self.means = [item.mean_life_days * np.exp(rng.normal(0.0, 0.3, item.positions)) for item in ITEMS]
        self.believed = [means * np.exp(rng.normal(0.0, 0.1, means.size)) for means in self.means]
        self.lives = [np.random.default_rng([seed, 2, number]) for number in range(len(ITEMS))]
        self.others = [np.random.default_rng([seed, 3, number]) for number in range(len(ITEMS))]
        self.roads = [np.random.default_rng([seed, 4, number]) for number in range(len(ITEMS))]

    def life(self, number: int, position: int) -> float:
        """How long a cartridge lasts that is fitted now."""
        mean, rng = self.means[number][position], self.lives[number]
        if self.is_weibull:
            shape = 4.54  # coefficient of variation 0.25
            return float(mean / math.gamma(1.0 + 1.0 / shape) * rng.weibull(shape))
        spread = math.sqrt(math.log(1.0 + _VARIATION**2))
        return float(mean * math.exp(rng.normal(-(spread**2) / 2.0, spread)))

    def bursts(self, number: int) -> int:
        """Pieces that are used today without a plan: one to three at a time."""
        rng = self.others[number]
        happens = rng.random() < ITEMS[number].unplanned_per_year / 365.0 / 1.5
        return int(rng.choice([1, 2, 3], p=[0.6, 0.3, 0.1])) if happens else 0

    def lead_days(self, number: int) -> int:
        rng = self.roads[number]
        days = ITEMS[number].lead_days + rng.integers(-2, 3)
        return int(days + 7 if rng.random() < 0.1 else days)


# of the lead times that are drawn: a tenth comes a week late, the others within two days
_LATE_MEAN, _LATE_SD = 0.7, math.sqrt(2.0 + 49 * 0.1 * 0.9)


def simulate(seed: int, fill_rate: float | None) -> Score:
    """One year; without a fill rate 'reorder at two left'."""
    year, score = Year(seed), Score()
    start = np.random.default_rng([seed, 5])
    shelves = [Shelf(item.pack_size) for item in ITEMS]
    fitted = [-start.uniform(0.0, 0.9, means.size) * means for means in year.means]
    ends = [
        np.array([_end(year, number, k, float(fitted[number][k])) for k in range(item.positions)])
        for number, item in enumerate(ITEMS)
    ]
    for day in range(WARM_UP_DAYS + 7 * WEEKS):
        counts = day >= WARM_UP_DAYS
        for number, shelf in enumerate(shelves):
            shelf.at_hand += shelf.on_order.pop(day, 0)
            while shelf.waiting and shelf.at_hand:
                shelf.at_hand -= 1
                _fit(year, number, shelf.waiting.pop(0), day, fitted, ends)
            due = [int(k) for k in np.flatnonzero(ends[number] < day + 1)]
            for position in [*due, *[-1] * year.bursts(number)]:
                score.wanted += counts
                score.by_item[number, 0] += counts
                if shelf.at_hand:
                    shelf.at_hand -= 1
                    score.met += counts
                    score.by_item[number, 1] += counts
                    _fit(year, number, position, day, fitted, ends)
                else:
                    shelf.waiting.append(position)
                    if position >= 0:
                        ends[number][position] = np.inf
            score.money_days += counts * shelf.at_hand * ITEMS[number].price
            score.by_item[number, 2] += counts * shelf.at_hand
        score.days += counts
        if day % REVIEW_DAYS == 0:
            bought = (
                _at_two_left(shelves) if fill_rate is None else _planned(year, shelves, fitted, ends, day, fill_rate)
            )
            for number, packs in bought:
                arrives = day + max(year.lead_days(number), 1)
                shelves[number].on_order.setdefault(arrives, 0)
                shelves[number].on_order[arrives] += packs * ITEMS[number].pack_size
                score.orders += counts
    return score


def _end(year: Year, number: int, position: int, fitted_on: float) -> float:
    """When a cartridge ends that stands already: drawn until one has lasted to the first day."""
    for _ in range(1000):
        end = fitted_on + year.life(number, position)
        if end > 0.0:
            return end
    return 1.0


def _fit(year: Year, number: int, position: int, day: int, fitted: list[np.ndarray], ends: list[np.ndarray]) -> None:
    if position >= 0:
        fitted[number][position] = day
        ends[number][position] = day + year.life(number, position)


def _at_two_left(shelves: Sequence[Shelf]) -> Iterator[tuple[int, int]]:
    for number, shelf in enumerate(shelves):
        packs = 0
        while shelf.there + packs * ITEMS[number].pack_size <= 2:
            packs += 1
        if packs:
            yield number, packs


def _planned(
    year: Year,
    shelves: Sequence[Shelf],
    fitted: list[np.ndarray],
    ends: list[np.ndarray],
    day: int,
    fill_rate: float,
) -> Iterator[tuple[int, int]]:
    """What the ordering makes of forecasts: log-normal, by the age and the life that is believed of each position."""
    items = []
    for number, (item, shelf) in enumerate(zip(ITEMS, shelves, strict=True)):
        stands = np.isfinite(ends[number])
        believed, age = year.believed[number][stands], day + 1 - fitted[number][stands]
        spread = math.sqrt(math.log(1.0 + (_VARIATION**2 + 0.1**2)))
        middle = np.log(believed) - spread**2 / 2.0
        gone = ndtr((np.log(np.maximum(age, 0.5)) - middle) / spread)
        left = np.clip(gone[:, None] + (1.0 - gone[:, None]) * np.asarray(DISTRIBUTION_LEVELS), 1e-6, 1 - 1e-6)
        ends_in = np.maximum(np.exp(middle[:, None] + spread * ndtri(left)) - age[:, None], 0.0)
        near = ends_in[:, 0] <= 60.0
        demands = [ExpectedDemand(1, quantile_days=tuple(row)) for row in ends_in[near].tolist()]
        lead = LeadTime(item.lead_days + _LATE_MEAN, _LATE_SD)
        unplanned = item.unplanned_per_year / 365.0
        before, through = over_lead_time(demands, lead, review_days=REVIEW_DAYS, unplanned_per_day=unplanned)
        items.append(ItemToOrder(str(number), shelf.there, before, through, item.pack_size, item.price))
    return ((int(key), packs) for key, packs in packs_to_order(items, fill_rate=fill_rate).items())


def _one(question: tuple[int, float | None]) -> tuple[int, Score]:
    return question[0], simulate(*question)


def runs(count: int, fill_rate: float | None, processes: int, folder: Path | None = None) -> list[Score]:
    """So many seeded years, in order of their seeds; those that lie in the folder already are read from it."""
    file = folder / f"{fill_rate}.jsonl" if folder is not None else None
    scores = _kept(file, count)
    questions = [(seed, fill_rate) for seed in range(count) if seed not in scores]
    with multiprocessing.Pool(processes) as pool:
        for seed, score in pool.imap_unordered(_one, questions):
            scores[seed] = score
            if file is not None:
                with file.open("a") as lines:
                    lines.write(json.dumps([seed, asdict(score) | {"by_item": score.by_item.tolist()}]) + "\n")
    return [scores[seed] for seed in range(count)]


def _kept(file: Path | None, count: int) -> dict[int, Score]:
    if file is None or not file.exists():
        return {}
    rows = map(json.loads, file.read_text().splitlines())
    return {seed: Score(**row | {"by_item": np.array(row["by_item"])}) for seed, row in rows if seed < count}


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--runs", type=int, default=200)
    parser.add_argument("--levels", type=float, nargs="*", default=[0.90, 0.95, 0.99])
    parser.add_argument("--processes", type=int, default=2)
    parser.add_argument("--folder", type=Path, help="keep each year here as it is done, and go on from there")
    parser.add_argument("--items", action="store_true", help="print each item as well")
    options = parser.parse_args()
    if options.folder is not None:
        options.folder.mkdir(parents=True, exist_ok=True)
    print(f"{options.runs} years of {WEEKS} weeks")
    columns = f"{'as assumed':>11} {'other lives':>12} {'money':>9} {'orders/year':>12}"
    print(f"{'way':24} {'asked':>7} {'fill rate':>10} {columns}")
    simple = runs(options.runs, None, options.processes, options.folder)
    total = sum(simple, Score())
    _print("reorder at two left", None, simple, by_item=options.items)
    planned = []
    for level in [*options.levels, round(total.fill_rate, 4)]:
        planned.append(runs(options.runs, level, options.processes, options.folder))
        _print("planned", level, planned[-1], by_item=options.items)
    saved = 1.0 - sum(planned[-1], Score()).money / total.money
    print(f"Asked for the fill rate of 'reorder at two left' the shelf holds {saved:.1%} less money.")
    _print_at_the_same_rate(simple, planned)


def _print_at_the_same_rate(simple: Sequence[Score], planned: Sequence[Sequence[Score]]) -> None:
    """The saving at exactly the fill rate of two left, between the runs beside it; its error by drawing years anew."""
    of_simple, of_planned = _columns(simple), np.array([_columns(scores) for scores in planned])
    every = np.arange(len(simple))
    draws = np.random.default_rng(0).choice(every, (2000, every.size))
    saved = _saved(of_simple, of_planned, every)
    errors = np.array([_saved(of_simple, of_planned, years) for years in draws])
    if np.isnan(saved):
        print("No two runs lie on both sides of the fill rate of 'reorder at two left'; ask for more levels.")
        return
    low, high = np.nanquantile(errors, [0.025, 0.975])
    print(
        f"At exactly its fill rate, between the runs beside it: {saved:.1%} less money, standard error "
        f"{np.nanstd(errors):.1%}, 95 % of draws between {low:.1%} and {high:.1%}."
    )


def _columns(scores: Sequence[Score]) -> np.ndarray:
    """Of each year what was wanted and met, and the money on the shelf."""
    return np.array([[score.wanted, score.met, score.money] for score in scores]).T


def _saved(simple: np.ndarray, planned: np.ndarray, years: np.ndarray) -> float:
    """Share of the money that is saved in these years at the fill rate of two left; NaN where no runs lie around it."""
    rate, money = simple[1, years].sum() / simple[0, years].sum(), simple[2, years].mean()
    rates = planned[:, 1][:, years].sum(axis=1) / planned[:, 0][:, years].sum(axis=1)
    order = np.argsort(rates)
    between = np.interp(rate, rates[order], planned[:, 2][:, years].mean(axis=1)[order], left=np.nan, right=np.nan)
    return float(1.0 - between / money)


def _print(way: str, asked: float | None, scores: Sequence[Score], *, by_item: bool) -> None:
    total = sum(scores, Score())
    as_assumed, other = (sum(scores[k::2], Score()).fill_rate for k in (0, 1))
    level = f"{asked:.2%}" if asked is not None else ""
    print(
        f"{way:24} {level:>7} {total.fill_rate:>10.2%} {as_assumed:>11.2%} {other:>12.2%} {total.money:>9.0f} "
        f"{total.orders / len(scores):>12.1f}",
        flush=True,
    )
    for item, (wanted, met, piece_days) in zip(ITEMS, total.by_item if by_item else (), strict=by_item):
        print(f"  {item.key:30} {met / wanted:>12.2%}   {piece_days / total.days:.2f} pieces on the shelf")


if __name__ == "__main__":
    main()
