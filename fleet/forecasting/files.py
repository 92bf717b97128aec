"""A fleet from a directory of CSV files, and its forecasts to one: no database, bad rows named, the rest kept."""

import csv
from collections.abc import Sequence
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any, Final

import numpy as np

from fleet.engineering.errors import EngineeringError
from fleet.engineering.units import HOUSE_TDS_FACTOR, QUANTITY_KINDS, convert_column, parse_header

from . import vocabulary as words
from .build import Fault, build_fleet
from .explain import date_text, sentence_for_client, sentence_for_installer
from .file_guide import GUIDE, NEEDED_FILES, FileColumn
from .gauges import Gauges
from .policy import Policy
from .reasons import why_spent
from .results import LEVELS, Forecasts
from .tables import Fleet, Floats

_TABLE_OF_FILE: Final = {name: name.removesuffix(".csv") for name in GUIDE}
_STAGE_ORDER: Final = {"sediment": 10, "carbon": 20, "membrane": 30, "resin": 40}
_UNIX_EPOCH: Final = datetime(1970, 1, 1, tzinfo=UTC)


class UnusableFilesError(ValueError):
    """The directory as a whole cannot be used; the message says why and what would be right."""


def read_fleet(directory: Path, *, as_of_day: float | None = None) -> tuple[Fleet, list[Fault]]:
    """Read a fleet from its files (see `file_guide.GUIDE`).

    Parameters
    ----------
    directory
        Where the files are.
    as_of_day
        The forecast's day, days since 1970-01-01 UTC. None: the newest time in readings and placements that is not
        after the present moment.

    Returns
    -------
    fleet, faults
        The tables, and what could not be used; rows of faults are counted from 0 after the header.

    Raises
    ------
    UnusableFilesError
        When a needed file is missing or cannot be read, or a needed column is missing.
    """
    missing = [name for name in NEEDED_FILES if not (directory / name).is_file()]
    if missing:
        raise UnusableFilesError(
            f"{directory} has no {' and no '.join(missing)}; both of {', '.join(NEEDED_FILES)} are needed."
        )
    faults: list[Fault] = []
    header_units: dict[str, str] = {}
    raw = {
        name: _read_file(directory / name, columns, _TABLE_OF_FILE[name], faults, header_units)
        for name, columns in GUIDE.items()
        if (directory / name).is_file()
    }
    columns = {_TABLE_OF_FILE[name]: table for name, table in raw.items()}
    _rebase_tds(columns, header_units)
    _derive_positions(columns, faults)
    if as_of_day is None:
        as_of_day = _newest(columns)
    fleet, more = build_fleet(
        as_of_day=as_of_day,
        sites=columns.get("sites"),
        units=columns["units"],
        positions=columns["positions"],
        items=columns.get("items"),
        placements=columns["placements"],
        readings=columns.get("readings"),
        feed_water=columns.get("feed_water"),
    )
    return fleet, faults + more


def _read_file(
    path: Path, guide: Sequence[FileColumn], table: str, faults: list[Fault], header_units: dict[str, str]
) -> dict[str, Any]:
    """Columns of one file by field; `header_units` collects the unit of each reading column."""
    try:
        with path.open(encoding="utf-8-sig", newline="") as handle:
            rows = [row for row in csv.reader(handle) if any(cell.strip() for cell in row)]
    except (OSError, UnicodeDecodeError, csv.Error) as error:
        raise UnusableFilesError(f"{path.name} cannot be read as CSV in UTF-8: {error}") from None
    if not rows:
        raise UnusableFilesError(f"{path.name} is empty; its first line must name the columns.")
    headers, body = rows[0], rows[1:]
    width = len(headers)
    for row_number, row in enumerate(body):
        if len(row) != width:
            if len(row) > width:
                faults.append(
                    Fault(table, row_number, "", "contradiction",
                          f"the row has {len(row)} cells, the header {width}; the cells beyond were not read", False)
                )  # fmt: skip
            body[row_number] = (row + [""] * width)[:width]
    cells = list(zip(*body, strict=True)) if body else [()] * width
    out: dict[str, Any] = {}
    for header, values in zip(headers, cells, strict=True):
        try:
            name, unit = parse_header(header, field=header)
        except EngineeringError as error:
            faults.append(Fault(table, -1, header, "unknown", str(error), False))
            continue
        column = _find(guide, name)
        if column is None:
            faults.append(
                Fault(
                    table,
                    -1,
                    header,
                    "unknown",
                    f"column {header!r} of {path.name} is not in the guide; not read",
                    False,
                )
            )
            continue
        if column.field in out:
            raise UnusableFilesError(f"{path.name} has the column {column.header!r} twice; keep one.")
        if table == "readings":
            header_units[column.field] = unit
        stripped = [cell.strip() for cell in values]
        out[column.field] = _column(column, name, unit, header, stripped, table, faults, path.name)
    for column in guide:
        if column.needed and column.field not in out:
            raise UnusableFilesError(f"{path.name} has no column {column.header!r}; every row needs it.")
    return out


def _find(guide: Sequence[FileColumn], name: str) -> FileColumn | None:
    for column in guide:
        if name in (column.field, column.header.replace(" ", "_"), *(other.replace(" ", "_") for other in column.also)):
            return column
    return None


def _column(
    column: FileColumn,
    name: str,
    unit: str,
    header: str,
    cells: list[str],
    table: str,
    faults: list[Fault],
    file_name: str,
) -> Any:
    if column.kind == "text":
        return [cell or None for cell in cells]
    if column.kind == "word":
        return [cell.lower().replace("-", "_").replace(" ", "_").replace("/", "_") or None for cell in cells]
    if column.kind == "flag":
        meaning = {"yes": "yes", "true": "yes", "1": "yes", "y": "yes", "no": "no", "false": "no", "0": "no", "n": "no"}
        return [meaning.get(cell.lower(), cell) or None for cell in cells]
    if column.kind == "time":
        return _times(cells, column, table, faults)
    values = _numbers(cells, column, table, faults)
    if column.kind == "number":
        return values
    if column.field in QUANTITY_KINDS:
        kind = column.field
    elif column.kind == "quantity":
        kind = "fraction"
    else:
        kind = column.kind
    stored = name == column.field and name != column.header.replace(" ", "_")
    bare = kind in ("ph", "fraction") or column.field.endswith("_days") or column.field in ("feed_ph", "product_ph")
    if not unit and (stored or bare):
        return values
    if not unit:
        raise UnusableFilesError(
            f"{file_name}: the header {header!r} must say the unit in brackets, or be {column.field!r}."
        )
    if column.field == "rated_recovery_fraction":
        kind = "fraction"
    finite = np.where(np.isfinite(values), values, np.nan)
    try:
        return convert_column(finite, unit, kind, field=header)
    except EngineeringError as error:
        raise UnusableFilesError(f"{file_name}: {error}") from None


def _numbers(cells: list[str], column: FileColumn, table: str, faults: list[Fault]) -> Floats:
    try:
        return np.array([cell or "nan" for cell in cells], dtype=np.float64)
    except ValueError:
        out = np.full(len(cells), np.nan)
        for row, cell in enumerate(cells):
            if not cell:
                continue
            try:
                out[row] = float(cell)
            except ValueError:
                faults.append(
                    Fault(table, row, column.field, "not_a_number",
                          f"{column.header} {cell!r} is not a number; use digits and a point", False)
                )  # fmt: skip
        return out


def _times(cells: list[str], column: FileColumn, table: str, faults: list[Fault]) -> Floats:
    """Days since 1970 of ISO times; a plain number is taken as such days."""
    out = np.full(len(cells), np.nan)
    known: dict[str, float] = {"": float("nan")}
    for row, cell in enumerate(cells):
        day = known.get(cell)
        if day is None:
            try:
                day = day_of(cell)
            except ValueError:
                day = float("nan")
                faults.append(
                    Fault(table, row, column.field, "not_a_number",
                          f"{column.header} {cell!r} is not a time; write 2026-03-01 or 2026-03-01T09:30+01:00", False)
                )  # fmt: skip
            known[cell] = day
        out[row] = day
    return out


def day_of(text: str) -> float:
    """Days since 1970-01-01 UTC of an ISO 8601 date or time; without an offset it is UTC.

    Raises
    ------
    ValueError
        When the text is neither that nor a number of days.

    >>> day_of("1970-01-02T12:00:00+00:00")
    1.5
    >>> day_of("20000.25")
    20000.25
    """
    try:
        moment = datetime.fromisoformat(text)
    except ValueError:
        number = float(text)
        if not np.isfinite(number):
            raise ValueError(f"{text!r} is not a time") from None
        return number
    if moment.tzinfo is None:
        moment = moment.replace(tzinfo=UTC)
    return (moment - _UNIX_EPOCH).total_seconds() / 86_400.0


def _rebase_tds(columns: dict[str, dict[str, Any]], header_units: dict[str, str]) -> None:
    """TDS of readings in ppm or mg/L on the factor of their unit's meter, brought to the house scale.

    A conductivity needs no factor, and a column with the stored name is on the house scale already.
    """
    units, readings = columns["units"], columns.get("readings")
    factors = units.pop("tds_factor", None)
    if factors is None or readings is None or not len(readings.get("day", ())):
        return
    usable = {
        unit: HOUSE_TDS_FACTOR / factor
        for unit, factor in zip(units["unit_id"], factors, strict=True)
        if 0.4 <= factor <= 1.0
    }
    scale = np.array([usable.get(unit, 1.0) for unit in readings["unit_id"]])
    for name in words.QUANTITIES:
        if "tds" in name and name in readings and header_units[name] in ("ppm", "mg/L"):
            readings[name] = readings[name] * scale


def _derive_positions(columns: dict[str, dict[str, Any]], faults: list[Fault]) -> None:
    """Positions from the placements when there is no positions file, and that of placements naming a unit."""
    placements = columns["placements"]
    count = len(placements["placed_day"])
    given = "positions" in columns
    by_place: dict[tuple[Any, ...], Any] = {}
    if given:
        table = columns["positions"]
        size = len(table["position_id"])
        roles = table.get("role") or [None] * size
        if "order" not in table:
            table["order"] = [_order(stage, role) for stage, role in zip(table["stage"], roles, strict=True)]
        for row in range(size):
            by_place[(table["unit_id"][row], table["stage"][row], roles[row] or "single")] = table["position_id"][row]
    if "unit_id" not in placements or "stage" not in placements:
        if "position_id" not in placements:
            raise UnusableFilesError("placements.csv needs the columns 'unit' and 'stage' (and 'role'), or 'position'.")
        if not given:
            raise UnusableFilesError(
                "placements.csv names positions but there is no positions.csv; add it, or unit and stage."
            )
        return
    position = placements.get("position_id") or [None] * count
    roles = placements.get("role") or [None] * count
    for row in range(count):
        if position[row] is not None:
            continue
        unit, stage, role = placements["unit_id"][row], placements["stage"][row], roles[row] or "single"
        if unit is None or stage not in words.STAGES:
            faults.append(
                Fault(
                    "placements", row, "stage", "missing", "the row names neither a position nor a unit and stage", True
                )
            )
            continue
        key = (unit, stage, role)
        if key not in by_place and not given:
            by_place[key] = f"{unit}/{stage}" + ("" if role == "single" else f"/{role}")
        position[row] = by_place.get(key)
    placements["position_id"] = position
    for name in ("unit_id", "stage", "role"):
        placements.pop(name, None)
    if not given:
        keys = list(by_place)
        columns["positions"] = {
            "position_id": [by_place[key] for key in keys],
            "unit_id": [key[0] for key in keys],
            "stage": [key[1] for key in keys],
            "role": [key[2] for key in keys],
            "order": [_order(key[1], key[2]) for key in keys],
        }


def _order(stage: Any, role: Any) -> int:
    return _STAGE_ORDER.get(stage, 90) + (1 if role == "lag" else 0)


def _newest(columns: dict[str, dict[str, Any]]) -> float:
    present = (datetime.now(tz=UTC) - _UNIX_EPOCH).total_seconds() / 86_400.0
    days = [columns["placements"]["placed_day"], columns["placements"].get("removed_day", [])]
    days.append(columns.get("readings", {}).get("day", []))
    every = np.concatenate([np.asarray(part, dtype=np.float64) for part in days])
    every = every[np.isfinite(every) & (every <= present)]
    if not len(every):
        raise UnusableFilesError("no placement and no reading has a usable time before now; say the forecast's day.")
    return float(every.max())


OUTPUT_HEADERS: Final = (
    "unit", "position", "stage", "role", "state",
    *(f"p{round(100 * level):02d}" for level in LEVELS),
    "driver", "probability of time cap", "remaining share", "daily load", "daily load unit", "readings used",
    "readings excluded", "newest reading age [days]", "past lives", "priors", "no date because", "for the installer",
    "for the client",
)  # fmt: skip


def write_forecasts(fleet: Fleet, forecasts: Forecasts, path: Path) -> int:
    """Write one row per unit and position; dates are UTC days. Returns the number of rows."""
    dates = forecasts.quantile_day
    policy = Policy()
    gauges = Gauges(fleet, forecasts.exclusions, policy)
    with path.open("w", encoding="utf-8", newline="") as handle:
        writer = csv.writer(handle)
        writer.writerow(OUTPUT_HEADERS)
        for row in range(len(forecasts)):
            has_date = np.isfinite(dates[row, 0])
            is_spent = forecasts.state[row] == words.SPENT
            why = why_spent(fleet, forecasts, gauges, row, policy) if is_spent else None
            writer.writerow(
                [
                    fleet.units.unit_id[fleet.positions.unit_index[row]],
                    fleet.positions.position_id[row],
                    words.STAGES[fleet.positions.stage[row]],
                    words.ROLES[fleet.positions.role[row]],
                    words.STATES[forecasts.state[row]],
                    *((date_text(day) for day in dates[row]) if has_date else [""] * len(LEVELS)),
                    words.DRIVERS[forecasts.driver[row]],
                    _short(forecasts.probability_time_cap[row]),
                    _short(forecasts.remaining_share[row]),
                    _short(forecasts.daily_load[row]),
                    words.LOAD_UNITS[forecasts.daily_load_unit[row]],
                    int(forecasts.readings_used[row]),
                    int(forecasts.readings_excluded[row]),
                    _short(forecasts.newest_reading_age_days[row]),
                    int(forecasts.past_lives[row]),
                    words.PRIORS[forecasts.priors[row]],
                    forecasts.no_date_reason[row],
                    sentence_for_installer(fleet, forecasts, row, why.sentence if why else ""),
                    sentence_for_client(fleet, forecasts, row, why.client_sentence if why else ""),
                ]
            )
    return len(forecasts)


def _short(value: float) -> str:
    return "" if not np.isfinite(value) else f"{value:.4g}"


EXCLUSION_SENTENCES: Final = {
    "impossible_value": "cannot be true for such a unit",
    "clock_in_future": "is dated after the forecast's day",
    "before_commissioning": "is dated before the unit was commissioned",
    "factor_of_ten": "is ten times too high or too low beside its neighbours in time",
    "wrong_unit": "looks as if it was meant in another unit",
    "transposed": "feed and permeate look transposed",
    "first_minutes": "was sampled in the first minutes after standstill",
    "static": "was read while nothing flowed",
    "outlier": "stands alone, far from its neighbours in time",
    "totaliser_backwards": "the counter ran backwards",
    "totaliser_jump": "the counter rose faster than the unit can run",
    "contradicts_other_gauge": "is above the gauge upstream of it",
}


def write_report(fleet: Fleet, forecasts: Forecasts, faults: Sequence[Fault], path: Path) -> int:
    """Write what was not used: rows of the files, and reading values left out, each with its reason."""
    with path.open("w", encoding="utf-8", newline="") as handle:
        writer = csv.writer(handle)
        writer.writerow(["table", "row", "unit", "time", "column", "code", "whole row left out", "what was wrong"])
        for fault in faults:
            row = fault.row + 2 if fault.row >= 0 else ""
            dropped = "yes" if fault.row_dropped else "no"
            writer.writerow([fault.table, row, "", "", fault.field, fault.code, dropped, fault.message])
        exclusions = forecasts.exclusions
        for index in range(len(exclusions)):
            reading = exclusions.reading_index[index]
            quantity = exclusions.quantity[index]
            code = words.EXCLUSION_REASONS[exclusions.reason[index]]
            writer.writerow(
                [
                    "readings",
                    "",
                    fleet.units.unit_id[fleet.readings.unit_index[reading]],
                    _moment(float(fleet.readings.day[reading])),
                    words.QUANTITIES[quantity] if quantity >= 0 else "",
                    code,
                    "yes" if quantity < 0 else "no",
                    EXCLUSION_SENTENCES[code],
                ]
            )
    return len(faults) + len(exclusions)


def _moment(day: float) -> str:
    return (_UNIX_EPOCH + timedelta(minutes=round(day * 1440))).isoformat(timespec="minutes")


__all__ = ["GUIDE", "UnusableFilesError", "day_of", "read_fleet", "write_forecasts", "write_report"]
