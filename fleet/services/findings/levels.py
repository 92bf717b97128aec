"""Levels of the membrane of a reading: what several looks say of flow and salt, by its own past and by its label."""

from collections.abc import Mapping
from typing import TYPE_CHECKING, Final

import numpy as np
from numpy.typing import NDArray

from fleet.engineering.diagnosis.facts import Fact, PatternLimits
from fleet.engineering.diagnosis.levels import FIRST_DAYS, VISITS, level_over_first, newest_level
from fleet.engineering.diagnosis.steps import BEFORE, by_visit, lasting_step, lasting_step_at
from fleet.engineering.formulas.temperature_correction import water_tcf
from fleet.engineering.usual import FIRST_WEEKS_DAYS, NEW_MEMBRANE_RINSES_DAYS, SAME_VISIT_DAYS
from fleet.models import Stage
from fleet.services.findings.as_read import (
    flow_behind_tank,
    flow_over_previous,
    flows_as_read,
    over_label_between,
    over_usual,
)
from fleet.services.readings.tables import Floats, Indexes

if TYPE_CHECKING:
    from fleet.services.findings.facts import History

# A label is held against what the membrane gave from its beginning, not against what became of it.
_BEGINNING_DAYS: Final = 60.0
# Of so many of the newest visits with a flow one must be normalised for a level of today.
_OF_NOW: Final = 2
# Salt passage that was not normalised doubles from season to season at most (common practice, no source).
_STEP_AS_READ: Final = 2.0
# Stands for a feed that is not known: only what the permeate is from reading to reading is told by it.
_ANY_FEED: Final = 1e5
# So many visits tell what a membrane passed when it was fitted.
_FIRST_VISITS: Final = 2
# So many readings of the membrane before say what it passed at last.
_LAST_OF_PREVIOUS: Final = 5


def levels_of_membrane(history: "History", row: int) -> dict[str, Fact]:
    """Steps and levels of flow and salt of the membrane of a reading; what cannot be told is left out."""
    rows = _rows_of_same_membrane(history, row)
    day, values = history.table.day[rows], history.indicators.values
    valid = history.indicators.valid_for_trend[rows]
    flow = values["normalised_permeate_flow_l_per_day"][rows]
    over_label = np.where(valid, values["flow_over_expected"][rows], np.nan)
    with_flow = history.table.columns["permeate_flow_l_per_day"][rows] > 0.0
    flow_is_of_now = _is_of_now(day[valid & ~np.isnan(flow)], day[with_flow])
    facts: dict[str, float] = {
        "membrane_visits": float(len(by_visit(day[valid], day[valid]))),
        "flow_level_ratio": level_over_first(day[valid], flow[valid]) if flow_is_of_now else float("nan"),
        "flow_level_over_label": newest_level(day, over_label) if flow_is_of_now else float("nan"),
        "flow_step_ratio": lasting_step(day[valid], flow[valid]),
        **_salt(history, rows, valid),
        **flows_as_read(history, rows),
        **flow_behind_tank(history, rows),
        **over_usual(history, rows),
        **_standstill(history, rows, np.where(valid, flow, np.nan)),
        **_of_label(history, row, rows, over_label),
        "flow_over_previous_membrane": flow_over_previous(history, rows),
        "feed_read_days_before": _days_without_feed(history, rows[-1:]),
    }
    return {name: value for name, value in facts.items() if value == value}


def _rows_of_same_membrane(history: "History", row: int) -> Indexes:
    """Rows of the unit up to a reading that were taken with the membrane of that reading."""
    rows = np.asarray(history.rows_of(int(history.table.unit_ids[row])), dtype=np.int64)
    return rows[(rows <= row) & (history.membrane[rows] == history.membrane[row])]


def _is_of_now(known_days: Floats, read_days: Floats) -> bool:
    """Whether one of the newest visits that read a quantity could be brought to one condition.

    Else a level of what could be, before them, would say of today that all is as it was.
    """
    visits = by_visit(read_days, read_days)
    return len(visits) < _OF_NOW or not len(known_days) or bool(known_days[-1] >= visits[-_OF_NOW] - SAME_VISIT_DAYS)


def _standstill(history: "History", rows: Indexes, flow: Floats) -> dict[str, float]:
    """How long the unit stood when somebody last saw it switched off, until it was read again, and the flow then.

    `flow` is the normalised one of each row, NaN where it may enter no trend.
    """
    seen, day = history.table.columns["observations"], history.table.day[rows]
    off = [place for place, row in enumerate(rows) if seen[row].get("is_switched_off")]
    if not off:
        return {}
    last = off[-1]
    again = np.flatnonzero(history.table.columns["inlet_pressure_kpa"][rows[last + 1 :]] > 0.0)
    if not len(again):
        return {}
    before, since = (values[~np.isnan(values)] for values in (flow[:last], flow[last + 1 :]))
    over = float(since[0] / np.median(before[-VISITS:])) if len(before) and len(since) else float("nan")
    return {"days_stood_off": float(day[last + 1 + again[0]] - day[last]), "flow_over_before_standstill": over}


def _passage_as_read(history: "History", rows: Indexes, *, by: int) -> Floats:
    """Salt passage of each reading; where nobody had read the feed by a row, of a feed that is the same at all."""
    with np.errstate(divide="ignore", invalid="ignore"):
        feed = np.full(len(rows), _ANY_FEED) if feed_is_unknown(history, by) else _feed(history, rows)
        read = history.table.columns["permeate_tds_mg_per_l"][rows] / feed
    # Where no permeate runs, what was read is what stood in the line or the tank.
    stands = history.table.columns["permeate_flow_l_per_day"][rows] == 0.0
    return np.where((read <= 1.0) & ~stands, read, np.nan)


def feed_is_unknown(history: "History", row: int) -> bool:
    """Whether nobody had read the feed of a unit by a reading, nor does an analysis say its TDS."""
    first = history.rows_of(int(history.table.unit_ids[row])).start
    is_read = bool(np.any(~np.isnan(history.table.columns["feed_tds_mg_per_l"][first : row + 1])))
    return not is_read and np.isnan(_analysed_tds(history, row))


def _analysed_tds(history: "History", row: int) -> float:
    site_id = history.facts[int(history.table.unit_ids[row])]["site_id"]
    return history.water.get(site_id, {}).get("tds_mg_per_l") or float("nan")


def _feed(history: "History", rows: Indexes) -> Floats:
    """Feed TDS of each reading; where it was not read, the most that the unit had shown by then, which excuses most.

    Before anybody read it, that of the analysis of the site's water; NaN without one.
    """
    if not len(rows):
        return np.array([])
    unit_id = int(history.table.unit_ids[rows[0]])
    feed = history.table.columns["feed_tds_mg_per_l"]
    own = np.asarray(history.rows_of(unit_id), dtype=np.int64)
    most = np.fmax.accumulate(feed[own])[rows - own[0]]
    known = np.where(np.isnan(most), _analysed_tds(history, int(rows[0])), most)
    return np.where(np.isnan(feed[rows]), known, feed[rows])


def _days_without_feed(history: "History", rows: Indexes) -> float:
    """Days from the newest reading of the feed to the permeate that is held against it, the longest of some readings.

    NaN where each was read on one visit, or the feed never.
    """
    columns, day = history.table.columns, history.table.day
    own = np.asarray(history.rows_of(int(history.table.unit_ids[rows[0]])), dtype=np.int64) if len(rows) else rows
    fed = np.fmax.accumulate(np.where(np.isnan(columns["feed_tds_mg_per_l"][own]), np.nan, day[own]))
    waits = day[rows] - fed[rows - own[0]] if len(own) else np.array([])
    waits = waits[(waits > SAME_VISIT_DAYS) & ~np.isnan(columns["permeate_tds_mg_per_l"][rows])]
    return float(waits.max()) if len(waits) else float("nan")


def _salt(history: "History", rows: Indexes, valid: NDArray[np.bool_]) -> dict[str, float]:
    """Lasting step and level of what the membrane lets through.

    Normalised, where flow and pressure are read. Else the salt that flows: permeate flow times salt passage, at one
    temperature. Driving pressure moves the water and hardly the salt, so that a tank of unknown pressure does not
    matter. Else the salt passage as it was read, which moves with the seasons; less water makes it larger by itself.
    What preserved a new membrane comes out of it in its first days, and is no level of it.
    """
    rinsed = _has_rinsed(history, rows)
    rows, valid = rows[rinsed], valid[rinsed]
    if not len(rows):
        return {}
    day, columns = history.table.day[rows], history.table.columns
    read = _passage_as_read(history, rows, by=int(rows[-1]))
    flow, temperature = columns["permeate_flow_l_per_day"][rows], columns["temperature_degc"][rows]
    inside = np.where((temperature >= 1.0) & (temperature <= 45.0), temperature, np.nan)
    salt_flow = read * np.where(flow > 0.0, flow, np.nan) / np.asarray(water_tcf(inside))
    values = history.indicators.values
    step, at = lasting_step_at(day[valid], values["normalised_salt_passage_fraction"][rows][valid])
    kept = _kept_since(at, day, np.where(valid, values["normalised_permeate_flow_l_per_day"][rows], np.nan))
    if np.isnan(step):
        # What flows is told already.
        (step, at), kept = lasting_step_at(day, salt_flow), float("nan")
    if np.isnan(step):
        step, at = lasting_step_at(day, read)
        step = step if step >= _STEP_AS_READ or step <= 1.0 / _STEP_AS_READ else float("nan")
        kept = _kept_since(at, day, flow) / PatternLimits().coldest_flow_share
    level, as_read = level_over_first(day, salt_flow), level_over_first(day, read)
    if feed_is_unknown(history, int(rows[-1])):
        # Nobody knows the feed: as much as a season moves it may be the feed's.
        season = PatternLimits().feed_of_season
        step, level, as_read = (each / season if each > 1.0 else each for each in (step, level, as_read))
        step = step if step >= _STEP_AS_READ else float("nan")
    facts = {"salt_passage_step_ratio": step, "flow_at_salt_step_ratio": min(kept, 1.0)}
    if step > 1.0:
        # What other water added since is not the membrane's.
        permeate = columns["permeate_tds_mg_per_l"][rows][day >= at]
        permeate = permeate[~np.isnan(permeate)][:VISITS]
        facts["salt_step_mg_per_l"] = float(np.median(permeate)) * (1.0 - 1.0 / step)
    if np.isnan(level) or not _is_of_now(day[~np.isnan(salt_flow)], day[~np.isnan(read)]):
        return {**facts, "salt_level_ratio": as_read, "salt_passage_as_read_level_ratio": as_read}
    return {**facts, "salt_level_ratio": level}


def _has_rinsed(history: "History", rows: Indexes) -> NDArray[np.bool_]:
    """Whether the membrane of some readings had rinsed at each; also where nobody knows since when it stands."""
    membrane = int(history.membrane[rows[-1]])
    placed = float(history.placements[Stage.MEMBRANE].placed_day[membrane]) if membrane >= 0 else -np.inf
    return np.asarray(history.table.day[rows] >= placed + NEW_MEMBRANE_RINSES_DAYS)


def _kept_since(first: float, day: Floats, flow: Floats) -> float:
    """Flow since a day over that of the visits before it; NaN where it was not read."""
    known = flow > 0.0
    before, since = (flow[known & is_then] for is_then in (day < first, day >= first))
    return float(np.median(since) / np.median(before[-BEFORE:])) if len(before) and len(since) else float("nan")


def _of_label(history: "History", row: int, rows: Indexes, over_label: Floats) -> dict[str, float]:
    """What the membrane gave and passed since it was fitted, over its label and over the membrane before it."""
    membrane, membranes = int(history.membrane[row]), history.placements[Stage.MEMBRANE]
    if membrane < 0:
        return {}
    placed = float(membranes.placed_day[membrane])
    facts: dict[str, float] = {}
    day = history.table.day[rows]
    least, most = (np.where(np.isnan(over_label), bound, over_label) for bound in over_label_between(history, rows))
    is_measured = ~np.isnan(most)
    flows = by_visit(day[is_measured], most[is_measured])
    if len(flows) >= 2 and day[is_measured][0] <= placed + _BEGINNING_DAYS:
        facts["most_flow_over_label"] = float(flows.max())
        facts["least_flow_over_label"] = float(by_visit(day[is_measured], least[is_measured]).min())
    rejection = membranes.items["rejection_fraction"][membrane]
    first = rows[day <= placed + FIRST_WEEKS_DAYS]
    if not rejection or not 0.0 < rejection < 1.0:
        return facts
    is_known = not feed_is_unknown(history, row)
    passage, visits = _passage_less_a_step(history, first, is_known=is_known)
    if visits < 2:
        # Who looks seldom looked twice in the first season. What came later is left out by the lower of the two.
        first = rows[day <= placed + FIRST_DAYS]
        passage, visits = _least_of_two_visits(history, first, is_known=is_known)
    if visits < 2 or float(history.table.day[first[-1]]) - placed < NEW_MEMBRANE_RINSES_DAYS:
        return facts
    now = float(np.median(passage)) / (1.0 - rejection)
    if is_known:
        facts["first_salt_passage_over_label"] = now
        facts["first_feed_read_days_before"] = _days_without_feed(history, first)
    before = np.asarray(history.rows_of(int(history.table.unit_ids[row])), dtype=np.int64)
    before = before[before < rows[0]]
    own = before[history.membrane[before] == history.membrane[before[-1]]] if len(before) else before
    if len(own) and history.membrane[own[0]] >= 0:
        last = _passage_as_read(history, own, by=row)
        last = last[~np.isnan(last)][-_LAST_OF_PREVIOUS:]
        labelled = membranes.items["rejection_fraction"][int(history.membrane[own[0]])]
        if len(last) and labelled and 0.0 < labelled < 1.0:
            previous = float(np.median(last)) / (1.0 - labelled)
            season = 1.0 if is_known else PatternLimits().feed_of_season
            facts["salt_passage_over_previous_membrane"] = now / previous / season
    return facts


def _least_of_two_visits(history: "History", rows: Indexes, *, is_known: bool) -> tuple[Floats, int]:
    """The lower salt passage of the first two visits, and on how many of them it was read."""
    passages: list[float] = []
    days: list[float] = []
    for row in rows.tolist():
        passage, _ = _passage_less_a_step(history, np.array([row], dtype=np.int64), is_known=is_known)
        day = float(history.table.day[row])
        if len(passage) and (not days or day - days[-1] > SAME_VISIT_DAYS):
            passages.append(float(passage[0]))
            days.append(day)
    least = np.array(passages[:_FIRST_VISITS])
    return least[[np.argmin(least)]] if len(least) else least, len(least)


def _passage_less_a_step(history: "History", rows: Indexes, *, is_known: bool) -> tuple[Floats, int]:
    """Salt passages as read, and on how many visits.

    A step of the meter is taken off: on soft water it is as much as a sound membrane passes.
    """
    columns: Mapping[str, Floats] = history.table.columns
    feed, permeate = _feed(history, rows), columns["permeate_tds_mg_per_l"][rows]
    feed = feed if is_known else np.full(len(rows), _ANY_FEED)
    usable = (feed > 0.0) & (permeate <= feed)
    passage = np.maximum(permeate[usable] - PatternLimits().meter_step_mg_per_l, 0.0) / feed[usable]
    return passage, 1 + int(np.sum(np.diff(history.table.day[rows][usable]) > SAME_VISIT_DAYS)) if len(passage) else 0
