"""What a unit's recent readings say about a new one: a slipped digit, another unit, exchanged probes, a counter that
runs backwards."""

from collections import deque
from collections.abc import Iterable, Sequence
from datetime import datetime, timedelta
from statistics import median
from typing import Final

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


def flag_against_history(rows: Sequence[Row]) -> None:
    """Flag rows that do not fit the readings of the same unit before them, stored ones and those of this file."""
    by_unit: dict[int, list[Row]] = {}
    for row in rows:
        if row.taken_at is not None:
            by_unit.setdefault(row.owner_id, []).append(row)
    if not by_unit:
        return
    moments = [row.taken_at for members in by_unit.values() for row in members if row.taken_at is not None]
    first, last = min(moments), max(moments)
    if len(by_unit) <= _FEW_UNITS:
        # A meter that posts often has more in the look-back than anybody needs.
        stored = {unit_id: _newest_before(unit_id, first, last) for unit_id in by_unit}
    else:
        stored = _stored(by_unit, first - _RECENT, last)
    for unit_id, members in by_unit.items():
        _walk(stored.get(unit_id, []), members)


def _newest_before(unit_id: int, first: datetime, last: datetime) -> list[tuple[datetime, Values]]:
    """A unit's readings between two moments, and a few before the first."""
    earliest = (
        Reading.objects.current()
        .filter(unit_id=unit_id, taken_at__gte=first - _RECENT, taken_at__lt=first)
        .order_by("-taken_at", "-pk")
        .values_list("taken_at", flat=True)[:_ENOUGH_BEFORE]
    )
    return _stored([unit_id], min([first, *earliest]), last).get(unit_id, [])


def _stored(unit_ids: Iterable[int], first: datetime, last: datetime) -> dict[int, list[tuple[datetime, Values]]]:
    history: dict[int, list[tuple[datetime, Values]]] = {}
    columns = (*_WATCHED, _COUNTER)
    rows = (
        Reading.objects.current()
        .filter(unit_id__in=list(unit_ids), taken_at__gte=first, taken_at__lte=last)
        .order_by("unit_id", "taken_at", "pk")
        .values_list("unit_id", "taken_at", *columns)
    )
    for unit_id, taken_at, *values in rows.iterator(chunk_size=5000):
        measured = {name: value for name, value in zip(columns, values, strict=True) if value is not None}
        history.setdefault(unit_id, []).append((taken_at, measured))
    return history


def _walk(stored: list[tuple[datetime, Values]], rows: list[Row]) -> None:
    events: list[tuple[datetime, int, Values, Row | None]] = [(at, 0, values, None) for at, values in stored]
    events += [(row.taken_at, 1, row.numbers, row) for row in rows if row.taken_at is not None]
    events.sort(key=lambda event: event[:2])
    recent: dict[str, deque[float]] = {column: deque(maxlen=_RECENT_VALUES) for column in _WATCHED}
    counter: tuple[datetime, float] | None = None
    for at, _, values, row in events:
        if row is not None:
            middles = {
                name: median(recent_values) for name, recent_values in recent.items() if len(recent_values) >= _ENOUGH
            }
            _flag_exchanged(row, middles)
            _flag_slips(row, middles)
            if counter is not None and _COUNTER in values and values[_COUNTER] < counter[1] * (1 - 1e-9):
                _flag_backwards(row, counter)
        is_exchanged = values.get("permeate_tds_mg_per_l", 0.0) > values.get("feed_tds_mg_per_l", float("inf"))
        for column in _WATCHED:
            # Exchanged values would soon pass for the usual ones.
            if column in values and not (is_exchanged and column in _EXCHANGEABLE):
                recent[column].append(values[column])
        if _COUNTER in values:
            counter = (at, values[_COUNTER])


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
            if factor / _WIDTH <= ratio <= factor * _WIDTH:
                row.flag(column, "factor_of_ten", words.digit_slip(column, row.sent[column], factor))
        if QUANTITY_KINDS[column].name == "pressure":
            for factor, one_unit, other_unit in _UNIT_SLIPS:
                if factor / _WIDTH <= ratio <= factor * _WIDTH:
                    row.flag(column, "unit_slip", words.unit_slip(column, row.sent[column], one_unit, other_unit))


def _flag_backwards(row: Row, counter: tuple[datetime, float]) -> None:
    row.flag(
        _COUNTER,
        "totaliser_backwards",
        words.totaliser_backwards(row.sent[_COUNTER], counter[1], f"{counter[0]:%Y-%m-%d}"),
    )
