"""What a unit's recent readings say about a new one: a slipped digit, another unit, exchanged probes, a counter that
runs backwards."""

from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Any, Final

import numpy as np
from django.db import connection

from accounts.rows_of_each import asked, rows_of_each
from fleet.engineering.arrays import BoolArray, FloatArray, IntArray
from fleet.engineering.constants import KILOPASCAL_PER_PSI
from fleet.engineering.quantities import READING_QUANTITIES, names_of
from fleet.engineering.units import QUANTITY_KINDS
from fleet.intake import words
from fleet.intake.rows import Row
from fleet.models import Reading

# Values that follow their neighbours. Chlorine of a supply swings tenfold by itself.
_WATCHED: Final = names_of(
    quantity for quantity in READING_QUANTITIES if quantity.slip_log is not None and quantity.kind.name != "chlorine"
)
_EXCHANGEABLE: Final = ("feed_tds_mg_per_l", "permeate_tds_mg_per_l")
_COUNTER: Final = "totaliser_l"
_COLUMNS: Final = (*_WATCHED, _COUNTER)
_RECENT: Final = timedelta(days=200)
_FEW_UNITS: Final = 3
# Not every reading holds every quantity, so more are read than are kept of each.
_ENOUGH_BEFORE: Final = 60
_RECENT_VALUES: Final = 7
_ENOUGH: Final = 3
# Ratios to the recent median that betray a slip: a digit (10, 100), psi noted as kPa, bar noted as psi, and back. The
# width covers what the gauges themselves change between two readings.
_SLIPS: Final = (10.0, 0.1, 100.0, 0.01)
_UNIT_SLIPS: Final = (
    (KILOPASCAL_PER_PSI, "psi", "kPa"),
    (1 / KILOPASCAL_PER_PSI, "psi", "kPa"),
    (100 / KILOPASCAL_PER_PSI, "psi", "bar"),
    (KILOPASCAL_PER_PSI / 100, "psi", "bar"),
)
_WIDTH: Final = 1.15

Values = dict[str, float]


@dataclass(frozen=True)
class ReadingSeries:
    """Readings that are to be compared, row by row, in the order in which they came.

    Attributes
    ----------
    numbers
        Stored column -> values, NaN where a row has none; columns that no row has may be left out.
    """

    unit_ids: Sequence[int]
    taken_at: Sequence[datetime]
    numbers: Mapping[str, FloatArray]

    def column(self, name: str) -> FloatArray:
        """The values of a column, of all rows."""
        values = self.numbers.get(name)
        return np.full(len(self.unit_ids), np.nan) if values is None else values


@dataclass(frozen=True)
class Past:
    """What a unit showed before a reading: the middle of its recent values by column, and its counter before."""

    middles: Values
    counter: tuple[datetime, float] | None


def series_of(rows: Sequence[Row]) -> ReadingSeries:
    """Rows with a unit and a moment as what is to be compared."""
    names = {name for row in rows for name in _COLUMNS if name in row.numbers}
    numbers = {name: np.array([row.numbers.get(name, np.nan) for row in rows], dtype=np.float64) for name in names}
    return ReadingSeries(
        [row.owner_id for row in rows], [row.taken_at for row in rows if row.taken_at is not None], numbers
    )


def flag_against_history(rows: Sequence[Row]) -> None:
    """Flag rows that do not fit the readings of the same unit before them, stored ones and those of this file."""
    rows = [row for row in rows if row.taken_at is not None]
    for place, past in pasts_of_doubtful(series_of(rows)).items():
        flag_against(rows[place], past)


def flag_against(row: Row, past: Past) -> None:
    """Flag a row that does not fit what was before it."""
    _flag_exchanged(row, past.middles)
    _flag_slips(row, past.middles)
    if past.counter is not None and _COUNTER in row.numbers and _is_backwards(row.numbers[_COUNTER], past.counter[1]):
        _flag_backwards(row, past.counter)


def pasts_of_doubtful(series: ReadingSeries) -> dict[int, Past]:
    """What was before each row that does not fit it, by the row's place; a few others may be among them."""
    if not series.unit_ids:
        return {}
    stored = _stored_before(series)
    events = _Events.of(stored, series)
    is_exchanged = _are_exchanged(events)
    doubtful = is_exchanged.copy()
    middles: dict[str, FloatArray] = {}
    for name in _WATCHED:
        values = events.column(name)
        # Exchanged values would soon pass for the usual ones.
        counts = ~np.isnan(values)
        if name in _EXCHANGEABLE:
            counts &= ~is_exchanged
        middles[name] = events.middles(values, counts)
        doubtful |= _is_slip(values, middles[name], QUANTITY_KINDS[name].name == "pressure")
    counters = events.column(_COUNTER)
    before = events.newest_before(~np.isnan(counters))
    doubtful |= (before >= 0) & _is_backwards(counters, counters[before])
    found: dict[int, Past] = {}
    for event in np.flatnonzero(doubtful & (events.place >= 0)).tolist():
        known = {name: float(values[event]) for name, values in middles.items() if not np.isnan(values[event])}
        last = int(before[event])
        counter = (events.taken_at[last], float(counters[last])) if last >= 0 else None
        found[int(events.place[event])] = Past(known, counter)
    return found


@dataclass(frozen=True)
class _Events:
    """Stored readings and those to be compared, unit by unit in the order of time; of one moment, stored ones first."""

    taken_at: Sequence[datetime]
    place: IntArray
    """Among those to be compared; -1 for a stored one."""
    first: IntArray
    """Where the unit's events begin."""
    numbers: Mapping[str, FloatArray]

    @classmethod
    def of(cls, stored: ReadingSeries, series: ReadingSeries) -> "_Events":
        moments = [*stored.taken_at, *series.taken_at]
        units = np.array([*stored.unit_ids, *series.unit_ids], dtype=np.int64)
        place = np.array([-1] * len(stored.unit_ids) + list(range(len(series.unit_ids))), dtype=np.int64)
        times = np.array([moment.timestamp() for moment in moments])
        order = np.lexsort((np.arange(len(units)), place >= 0, times, units))
        units = units[order]
        starts = np.flatnonzero(np.r_[True, units[1:] != units[:-1]])
        first = np.repeat(starts, np.diff(np.r_[starts, len(units)]))
        names = series.numbers.keys() & set(_COLUMNS)
        if not names.isdisjoint(_EXCHANGEABLE):
            names |= set(_EXCHANGEABLE)  # whether two are exchanged is seen of both
        numbers = {name: np.concatenate([stored.column(name), series.column(name)])[order] for name in names}
        return cls([moments[index] for index in order.tolist()], place[order], first, numbers)

    def column(self, name: str) -> FloatArray:
        values = self.numbers.get(name)
        return np.full(len(self.taken_at), np.nan) if values is None else values

    def newest_before(self, counts: BoolArray) -> IntArray:
        """The newest event of the same unit before each that counts; -1 where there is none."""
        newest = np.maximum.accumulate(np.where(counts, np.arange(len(counts)), -1))
        before = np.r_[-1, newest[:-1]]
        return np.where(before >= self.first, before, -1)

    def middles(self, values: FloatArray, counts: BoolArray) -> FloatArray:
        """The median of the recent values that count before each event of its unit; NaN where they are too few."""
        middle = np.full(len(values), np.nan)
        counted = np.r_[0, np.cumsum(counts)]
        has_enough = np.flatnonzero((counted[:-1] - counted[self.first] >= _ENOUGH) & (self.place >= 0))
        if not has_enough.size:
            return middle
        end, begin = counted[has_enough], counted[self.first[has_enough]]
        index = end[:, None] - 1 - np.arange(_RECENT_VALUES)
        recent = np.where(index >= begin[:, None], values[counts][np.maximum(index, 0)], np.inf)
        recent.sort(axis=1)
        number = np.minimum(end - begin, _RECENT_VALUES)
        row = np.arange(len(number))
        middle[has_enough] = (recent[row, (number - 1) // 2] + recent[row, number // 2]) / 2
        return middle


def _are_exchanged(readings: "ReadingSeries | _Events") -> BoolArray:
    feed, permeate = (readings.column(name) for name in _EXCHANGEABLE)
    return np.asarray(permeate > feed)


def _is_slip(values: FloatArray, usual: FloatArray, is_pressure: bool) -> BoolArray:
    """Which values `_flag_slips` might flag."""
    with np.errstate(divide="ignore", invalid="ignore"):
        ratio = np.where(usual > 0, values / usual, np.nan)
    found = np.zeros(len(values), dtype=bool)
    for factor in (*_SLIPS, *((factor for factor, _, _ in _UNIT_SLIPS) if is_pressure else ())):
        found |= _is_about(ratio, factor)
    return found


def _is_about(ratio: Any, factor: float) -> Any:
    return (ratio >= factor / _WIDTH) & (ratio <= factor * _WIDTH)


def _is_backwards(counter: Any, before: Any) -> Any:
    return counter < before * (1 - 1e-9)


def _stored_before(series: ReadingSeries) -> ReadingSeries:
    """Stored readings of the units from before the first row that they bear on to the last."""
    first, last = min(series.taken_at), max(series.taken_at)
    unit_ids = sorted(set(series.unit_ids))
    if len(unit_ids) <= _FEW_UNITS:
        # A meter that posts often has more in the look-back than anybody needs.
        return _as_series([row for unit_id in unit_ids for row in _newest_before(unit_id, first, last)])
    if connection.vendor != "postgresql":
        return _as_series(_stored(unit_ids, first - _RECENT, last))
    newest = _newest_of_each(unit_ids, first)
    short = _short_of_values(_as_series(newest), series)
    rows = [row for row in newest if row[0] not in short]
    if short:
        rows += _stored(sorted(short), first - _RECENT, first, is_last_included=False)
    return _as_series(rows + _stored(unit_ids, first, last))


def _as_series(rows: Sequence[tuple[Any, ...]]) -> ReadingSeries:
    units, moments, *columns = zip(*rows, strict=True) if rows else ((),) * (2 + len(_COLUMNS))
    # None becomes NaN.
    numbers = {name: np.array(values, dtype=np.float64) for name, values in zip(_COLUMNS, columns, strict=True)}
    return ReadingSeries(units, moments, numbers)


def _newest_of_each(unit_ids: Sequence[int], first: datetime) -> list[tuple[Any, ...]]:
    """As many readings of each unit before a moment as values are kept of a column, by its index alone."""
    of_one = (
        Reading.objects.current()
        .filter(unit_id=asked("unit_id"), taken_at__gte=first - _RECENT, taken_at__lt=first)
        .order_by("-taken_at", "-pk")
        .values_list("unit_id", "taken_at", *_COLUMNS)[:_RECENT_VALUES]
    )
    rows = rows_of_each(of_one, {"unit_id": ("bigint", unit_ids)})
    return rows[::-1]


def _short_of_values(newest: ReadingSeries, series: ReadingSeries) -> set[int]:
    """Units that may have older values which count, since some of the newest readings lack what is to be compared."""
    units = np.array(newest.unit_ids, dtype=np.int64)
    compared = np.array(series.unit_ids, dtype=np.int64)
    is_full = np.isin(units, [unit for unit, number in Counter(newest.unit_ids).items() if number == _RECENT_VALUES])
    is_exchanged = _are_exchanged(newest)
    short: set[int] = set()
    for name in series.numbers.keys() & set(_COLUMNS):
        lacks = np.isnan(newest.column(name)) | (is_exchanged if name in _EXCHANGEABLE else False)
        wants = np.unique(compared[~np.isnan(series.column(name))])
        short.update(np.unique(units[is_full & lacks & np.isin(units, wants)]).tolist())
    return short


def _newest_before(unit_id: int, first: datetime, last: datetime) -> list[tuple[Any, ...]]:
    """A unit's readings between two moments, and a few before the first."""
    recent = Reading.objects.current().filter(unit_id=unit_id, taken_at__gte=first - _RECENT)
    if first == last:
        # one reading, as a meter posts it: what is compared with it is read at once
        newest = recent.filter(taken_at__lte=last).order_by("-taken_at", "-pk")
        return list(newest.values_list("unit_id", "taken_at", *_COLUMNS)[:_ENOUGH_BEFORE])[::-1]
    earliest = recent.filter(taken_at__lt=first).order_by("-taken_at", "-pk").values_list("taken_at", flat=True)
    return _stored([unit_id], min([first, *earliest[:_ENOUGH_BEFORE]]), last)


def _stored(
    unit_ids: Sequence[int], first: datetime, last: datetime, *, is_last_included: bool = True
) -> list[tuple[Any, ...]]:
    until = "taken_at__lte" if is_last_included else "taken_at__lt"
    rows = (
        Reading.objects.current()
        .filter(unit_id__in=unit_ids, taken_at__gte=first, **{until: last})
        .order_by("unit_id", "taken_at", "pk")
        .values_list("unit_id", "taken_at", *_COLUMNS)
    )
    return list(rows.iterator(chunk_size=5000))


def _flag_exchanged(row: Row, middles: Values) -> None:
    feed, permeate = row.numbers.get("feed_tds_mg_per_l"), row.numbers.get("permeate_tds_mg_per_l")
    if feed is None or permeate is None or permeate <= feed:
        return
    usual_feed, usual_permeate = middles.get("feed_tds_mg_per_l"), middles.get("permeate_tds_mg_per_l")
    sent_feed, sent_permeate = row.sent["feed_tds_mg_per_l"], row.sent["permeate_tds_mg_per_l"]
    if (
        usual_feed is not None
        and usual_permeate is not None
        and 0.6 * usual_feed <= permeate <= 1.6 * usual_feed
        and feed <= 3.0 * usual_permeate + 3.0
    ):
        row.flag(
            "permeate_tds_mg_per_l",
            "transposed",
            words.permeate_and_feed_exchanged(sent_permeate, sent_feed),
        )
    else:
        row.flag(
            "permeate_tds_mg_per_l",
            "permeate_above_feed",
            words.permeate_above_feed(sent_permeate, sent_feed),
        )


def _flag_slips(row: Row, middles: Values) -> None:
    flagged = {flag.field for flag in row.flags if flag.code in ("transposed", "permeate_above_feed")}
    if flagged:
        return
    for column, usual in middles.items():
        value = row.numbers.get(column)
        if not value or usual <= 0:
            continue
        ratio = value / usual
        for factor in _SLIPS:
            if _is_about(ratio, factor):
                row.flag(column, "factor_of_ten", words.digit_slip(column, row.sent[column], factor))
        if QUANTITY_KINDS[column].name == "pressure":
            for factor, one_unit, other_unit in _UNIT_SLIPS:
                if _is_about(ratio, factor):
                    row.flag(column, "unit_slip", words.unit_slip(column, row.sent[column], one_unit, other_unit))


def _flag_backwards(row: Row, counter: tuple[datetime, float]) -> None:
    row.flag(
        _COUNTER,
        "totaliser_backwards",
        words.totaliser_backwards(row.sent[_COUNTER], counter[1], f"{counter[0]:%Y-%m-%d}"),
    )
