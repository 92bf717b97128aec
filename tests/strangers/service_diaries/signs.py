"""The plain tests by which a technician with a pencil would see a fault in a diary.

Each holds one line of the diary against the lines before the fault. They are coarse on purpose: what does not pass
them is not in the set.
"""

import statistics
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date

from tests.strangers.service_diaries.notes import Note


@dataclass(frozen=True)
class Papers:
    """What stands on the labels."""

    target_tds: float
    waste: float
    """L/day at 4 bar."""
    feed_tds: float
    """Of the works' own sheet."""


Values = Mapping[str, float]
Sign = Callable[[Papers, Sequence[Values], Values], bool]

BEFORE = 10
"""Lines before the fault that are looked at."""


def usual(before: Sequence[Values], key: str) -> float | None:
    """Middle value of a column, or None where it was not noted three times."""
    noted = [values[key] for values in before if key in values][-BEFORE:]
    return statistics.median(noted) if len(noted) >= 3 else None


def moved(key: str, *, below: float = 0.0, above: float = 1e9) -> Sign:
    """A column under or over a share of what it was."""

    def sign(_: Papers, before: Sequence[Values], now: Values) -> bool:
        was = usual(before, key)
        return was is not None and key in now and (now[key] < below * was or now[key] > above * was)

    return sign


def at_15_degc(values: Values) -> float | None:
    """Flow at 15 degC by the rule of 3 % a kelvin (common practice, no source)."""
    if "permeate" not in values or "degc" not in values:
        return None
    return values["permeate"] * 1.03 ** (15 - values["degc"])


def flow_lost(_: Papers, before: Sequence[Values], now: Values) -> bool:
    """A third less permeate than cold water explains, at a pressure that has not fallen."""
    if "permeate" not in now:
        return False
    was_inlet = usual(before, "inlet")
    if was_inlet is not None and "inlet" in now and now["inlet"] < 0.85 * was_inlet:
        return False
    warm = [flow for flow in map(at_15_degc, before) if flow is not None][-BEFORE:]
    today = at_15_degc(now)
    if today is not None and len(warm) >= 3:
        return today < 0.68 * statistics.median(warm)
    was = usual(before, "permeate")
    return was is not None and now["permeate"] < 0.55 * was


def passages(papers: Papers, many: Sequence[Values]) -> list[float]:
    """Salt passage of each line; where the feed was not read, with the last that was."""
    feed, found = papers.feed_tds, []
    for values in many:
        feed = values.get("feed_tds", feed)
        if "permeate_tds" in values:
            found.append(max(values["permeate_tds"], 1.0) / feed)
    return found


def passage_up(times: float, least: float = 6.0) -> Sign:
    """So many times the salt passage of before, and at least `least` mg/L more salt."""

    def sign(papers: Papers, before: Sequence[Values], now: Values) -> bool:
        was = passages(papers, before)[-BEFORE:]
        last_feed = [values["feed_tds"] for values in before if "feed_tds" in values][-1:] or [papers.feed_tds]
        if len(was) < 3 or "permeate_tds" not in now:
            return False
        feed = now.get("feed_tds", last_feed[0])
        more = now["permeate_tds"] - statistics.median(was) * feed
        return more > least and now["permeate_tds"] / feed > times * statistics.median(was)

    return sign


def pressure_lost_in_filters(_: Papers, before: Sequence[Values], now: Values) -> bool:
    """Two gauges apart, or one that fell while nothing says that the line fell."""
    if "inlet" not in now:
        return False
    if "line" in now:
        return now["line"] - now.get("prefilter_outlet", now["inlet"]) > 0.7
    was = usual(before, "inlet")
    return was is not None and now["inlet"] < 0.7 * was


def pressure_lost_at_pump(_: Papers, before: Sequence[Values], now: Values) -> bool:
    """The gauge behind the pump fell, and the line did not."""
    was, line = usual(before, "inlet"), usual(before, "line")
    if was is None or "inlet" not in now or now["inlet"] > 0.72 * was:
        return False
    return line is None or "line" not in now or now["line"] > 0.8 * line


def line_lost(_: Papers, before: Sequence[Values], now: Values) -> bool:
    """The first gauge of the unit fell, whatever it is."""
    key = "line" if usual(before, "line") is not None else "inlet"
    was = usual(before, key)
    return was is not None and key in now and now[key] < 0.72 * was


def product_high(papers: Papers, _: Sequence[Values], now: Values) -> bool:
    """Clearly above what the use allows, more than a digit of the meter."""
    return now.get("product_tds", 0.0) >= papers.target_tds + 2


def chlorine_through(_: Papers, __: Sequence[Values], now: Values) -> bool:
    return now.get("chlorine", 0.0) >= 0.1


def wrong_way_round(_: Papers, __: Sequence[Values], now: Values) -> bool:
    return "feed_tds" in now and "permeate_tds" in now and now["permeate_tds"] > 2 * now["feed_tds"]


def gauge_denied(_: Papers, before: Sequence[Values], now: Values) -> bool:
    """Hardly any pressure, and the water of before."""
    pressure, flow = usual(before, "inlet"), usual(before, "permeate")
    if pressure is None or flow is None or "inlet" not in now or "permeate" not in now:
        return False
    return now["inlet"] < 0.35 * pressure and now["permeate"] > 0.75 * flow


def waste_not_as_labelled(papers: Papers, _: Sequence[Values], now: Values) -> bool:
    """Less than half of the restrictor's label at the pressure of the day."""
    if "waste" not in now or "inlet" not in now:
        return False
    return now["waste"] < 0.5 * papers.waste * (now["inlet"] / 4) ** 0.5


def salty_start(_: Papers, __: Sequence[Values], now: Values) -> bool:
    return "start_tds" in now and "permeate_tds" in now and now["start_tds"] > max(3 * now["permeate_tds"], 25)


def both(first: Sign, second: Sign) -> Sign:
    return lambda papers, before, now: first(papers, before, now) and second(papers, before, now)


def first_day_to_know(sign: Sign, papers: Papers, notes: Sequence[Note], since: date, *, times: int) -> date | None:
    """Day of the line that completes the picture: the sign on so many lines in a row since the fault."""
    before = [note.values for note in notes if note.at.date() < since]
    run = 0
    for note in notes:
        if note.at.date() < since:
            continue
        run = run + 1 if sign(papers, before, note.values) else 0
        if run == times:
            return note.at.date()
    return None
