"""Where the lines and bands of a plot lie, in the units of its drawing; the template draws them in the page's colours.

A drawing is 720 wide and 300 high; what stands in it stands in a table beside it too.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from math import ceil, floor, log10
from typing import Final

from accounts.dates import short_day

WIDTH: Final = 720.0
HEIGHT: Final = 300.0
_LEFT, _RIGHT, _TOP, _BOTTOM = 56.0, 16.0, 12.0, 40.0


@dataclass(frozen=True, slots=True)
class Tick:
    """A mark of an axis: where it lies, and what it says."""

    at: float
    words: str


@dataclass(frozen=True, slots=True)
class Scale:
    """From values to places of a drawing.

    Attributes
    ----------
    low, high
        The least and the greatest value that are shown.
    start, end
        Where they lie.
    """

    low: float
    high: float
    start: float
    end: float

    def __call__(self, value: float) -> float:
        """Where a value lies.

        >>> Scale(0, 10, 100, 200)(5)
        150.0
        """
        span = (self.high - self.low) or 1.0
        return round(self.start + (value - self.low) / span * (self.end - self.start), 1)


def across(low: float, high: float) -> Scale:
    """The scale from left to right."""
    return Scale(low, high, _LEFT, WIDTH - _RIGHT)


def upwards(low: float, high: float) -> Scale:
    """The scale from bottom to top."""
    return Scale(low, high, HEIGHT - _BOTTOM, _TOP)


def round_steps(low: float, high: float, most: int = 6) -> list[float]:
    """Round numbers between two values, `most` at most.

    >>> round_steps(0, 9), round_steps(0, 1)
    ([0.0, 2.0, 4.0, 6.0, 8.0], [0.0, 0.2, 0.4, 0.6, 0.8, 1.0])
    """
    span = (high - low) or 1.0
    rough = span / max(most - 1, 1)
    power = 10.0 ** floor(log10(rough))
    step = next(factor * power for factor in (1.0, 2.0, 5.0, 10.0) if factor * power >= rough * (1 - 1e-9))
    first = ceil(low / step - 1e-9)
    return [round(k * step, 10) for k in range(first, floor(high / step + 1e-9) + 1)]


def ticks(scale: Scale, most: int = 6, *, whole: bool = False) -> list[Tick]:
    """Marks at round numbers; `whole` where parts of one mean nothing."""
    steps = round_steps(scale.low, scale.high, most)
    return [Tick(scale(step), f"{step:g}") for step in steps if not whole or step == int(step)]


def line(places: Sequence[tuple[float, float]]) -> str:
    """A line through places, as an SVG drawing names it.

    >>> line([(0.0, 1.0), (2.0, 3.5)])
    '0.0,1.0 2.0,3.5'
    """
    return " ".join(f"{x},{y}" for x, y in places)


@dataclass(frozen=True, slots=True)
class StockPlot:
    """Half a year of one item: what may be wanted by each week's end, and what is there."""

    band: str
    middle: str
    there: str
    days: list[Tick]
    pieces: list[Tick]
    width: float = WIDTH
    height: float = HEIGHT
    left: float = _LEFT
    right: float = WIDTH - _RIGHT
    bottom: float = HEIGHT - _BOTTOM


def stock_plot(weeks: Sequence[dict[str, object]]) -> StockPlot:
    """Draw what an item's outlook tells of the coming weeks.

    Parameters
    ----------
    weeks
        As the interface answers them: `day`, `wanted_p10`, `wanted_p50`, `wanted_p90` and `there`, counted from today.
    """
    numbers = [[int(str(week[name])) for name in ("wanted_p10", "wanted_p50", "wanted_p90", "there")] for week in weeks]
    x = across(0, len(weeks))
    y = upwards(0, max([1, *(value for row in numbers for value in row)]))
    nothing_yet = (x(0), y(0))
    low = [nothing_yet, *((x(k + 1), y(row[0])) for k, row in enumerate(numbers))]
    high = [nothing_yet, *((x(k + 1), y(row[2])) for k, row in enumerate(numbers))]
    steps: list[tuple[float, float]] = []
    for k, row in enumerate(numbers):
        steps += [(x(k), y(row[3])), (x(k + 1), y(row[3]))]
    shown = [(k, date.fromisoformat(str(week["day"]))) for k, week in enumerate(weeks) if k % 4 == 3]
    return StockPlot(
        band=line([*high, *reversed(low)]),
        middle=line([nothing_yet, *((x(k + 1), y(row[1])) for k, row in enumerate(numbers))]),
        there=line(steps),
        days=[Tick(x(k + 1), short_day(day)) for k, day in shown],
        pieces=ticks(y, whole=True),
    )


@dataclass(frozen=True, slots=True)
class Bar:
    """One bar of a comparison: its length, where it may end 8 times in 10, and its number."""

    words: str
    top: float
    length: float
    low: float
    high: float
    number: str


@dataclass(frozen=True, slots=True)
class ComparedPlot:
    """One measure of a year, as it is and as it would be."""

    title: str
    bars: list[Bar]
    left: float = 120.0
    width: float = WIDTH
    height: float = 96.0


def compared_plot(title: str, present: dict[str, float], changed: dict[str, float]) -> ComparedPlot:
    """Set a measure under the present policy beside the same under the changed one.

    Parameters
    ----------
    present, changed
        Each with `mean`, `p10` and `p90`, not below 0.
    """
    most = max(present["p90"], changed["p90"], 1e-9)
    x = Scale(0, most, 120.0, WIDTH - 110.0)
    bars = [
        Bar(
            words=words,
            top=10.0 + 44.0 * place,
            length=round(x(way["mean"]) - 120.0, 1),
            low=x(way["p10"]),
            high=x(way["p90"]),
            number=f"{way['mean']:,.0f}",
        )
        for place, (words, way) in enumerate((("present", present), ("changed", changed)))
    ]
    return ComparedPlot(title, bars)


@dataclass(frozen=True, slots=True)
class CalibrationPlot:
    """How often it came true against how sure it was said to be."""

    points: list[tuple[float, float, str]]
    ideal: str
    across: list[Tick]
    upwards: list[Tick]
    width: float = WIDTH
    height: float = HEIGHT
    left: float = _LEFT
    right: float = WIDTH - _RIGHT
    bottom: float = HEIGHT - _BOTTOM


def calibration_plot(score: dict[str, object]) -> CalibrationPlot:
    """Draw the shares of cartridges that were exhausted within the spans of 50, 80 and 90 %."""
    x, y = across(0, 100), upwards(0, 100)
    points = []
    for said in (50, 80, 90):
        came = score[f"coverage_{said}"]
        if came is not None:
            share = 100 * float(str(came))
            points.append((x(said), y(share), f"{share:.0f} %"))
    return CalibrationPlot(
        points=points,
        ideal=line([(x(0), y(0)), (x(100), y(100))]),
        across=[Tick(x(said), f"{said} %") for said in (0, 50, 80, 90, 100)],
        upwards=[Tick(y(share), f"{share} %") for share in (0, 25, 50, 75, 100)],
    )
