"""A fleet from a directory of delimited files: no database, bad rows named, the rest kept."""

import re
from dataclasses import replace
from datetime import datetime
from pathlib import Path
from typing import Any, Final

import numpy as np

from fleet.engineering.constants import SECONDS_PER_DAY
from fleet.engineering.units import QUANTITY_KINDS, STORED_TDS_FACTOR
from fleet.forecasting.files.cells import UnusableFilesError, read_cells
from fleet.forecasting.files.columns import BELOW_BOUND, read_columns
from fleet.forecasting.files.days import UNIX_EPOCH, day_of
from fleet.forecasting.files.guide import GUIDE, NEEDED_FILES
from fleet.forecasting.files.output import write_forecasts, write_report
from fleet.forecasting.files.settling import OUTLET_TDS, settle_clogged, settle_outlet_tds, units_with_resin
from fleet.forecasting.inputs import vocabulary as words
from fleet.forecasting.inputs.build import Fault, build_fleet
from fleet.forecasting.inputs.tables import Fleet

_TABLE_OF_FILE: Final = {name: name.removesuffix(".csv") for name in GUIDE}
NO_READINGS: Final = "no_readings"
NO_LOSS: Final = frozenset((NO_READINGS, BELOW_BOUND))
"""Codes of what the reader should know although nothing of the files was left out."""
_STAGE_ORDER: Final = {stage: 10 * place for place, stage in enumerate(words.STAGES, start=1)}


def read_fleet(directory: Path, *, now: datetime, as_of_day: float | None = None) -> tuple[Fleet, list[Fault]]:
    """Read a fleet from its files (see `file_guide.GUIDE`).

    Parameters
    ----------
    directory
        Where the files are.
    now
        The clock, with its offset.
    as_of_day
        The forecast's day, days since 1970-01-01 UTC: cartridges and samples of later days are left out, and later
        removals undone; later readings are kept, and excluded by the forecast. None: the newest time in readings and
        placements that is not after `now`.

    Returns
    -------
    fleet, faults
        The tables, and what could not be used. `row` of a fault is the line of the file, less 2 (the first row below a
        header in line 1 is 0); -1: the file as a whole. `field` is the column as the guide calls it.

    Raises
    ------
    UnusableFilesError
        When a needed file is missing or cannot be read, or a needed column is missing.
    """
    faults: list[Fault] = []
    columns, header_units, lines = _read_tables(_paths_of_fleet(directory), faults)
    _rebase_tds(columns, header_units)
    _settle_sites(columns, faults)
    has_positions = _derive_positions(columns, faults)
    settle_clogged(columns)
    settle_outlet_tds(columns.get("readings"), units_with_resin(columns), faults)
    build_day = as_of_day if as_of_day is not None else _newest(columns, now)
    fleet, more = build_fleet(
        as_of_day=build_day,
        sites=columns.get("sites"),
        units=columns["units"],
        positions=columns["positions"],
        items=columns.get("items"),
        placements=columns["placements"],
        readings=columns.get("readings"),
        feed_water=columns.get("feed_water"),
    )
    # Later readings stay, so that the forecast lists them as left out.
    fleet = replace(fleet.known_at(build_day), readings=fleet.readings)
    reported_rows = {(fault.table, fault.row) for fault in faults if fault.row_dropped}
    if not len(fleet.readings):
        faults.append(_no_readings("readings" in columns))
    more = [
        fault
        for fault in more
        if (fault.table, fault.row) not in reported_rows and (has_positions or fault.table != "positions")
    ]
    order = list(_TABLE_OF_FILE.values())
    all_faults = [_as_in_file(fault, lines) for fault in (*faults, *more)]
    return fleet, sorted(all_faults, key=lambda fault: (order.index(fault.table), fault.row))


def _paths_of_fleet(directory: Path) -> dict[str, Path]:
    """Path of every file that is there; those that are needed are."""
    if not directory.is_dir():
        raise UnusableFilesError(f"{directory} is no directory; give the one that holds {', '.join(NEEDED_FILES)}.")
    paths = _paths(directory)
    missing = [name for name in NEEDED_FILES if name not in paths]
    if missing:
        raise UnusableFilesError(
            f"{directory} has no {' and no '.join(missing)}; both of {', '.join(NEEDED_FILES)} are needed."
        )
    return paths


def _read_tables(
    paths: dict[str, Path], faults: list[Fault]
) -> tuple[dict[str, dict[str, Any]], dict[str, str], dict[str, list[int]]]:
    """Columns of every table, units in the headers of the readings, and the line of every row of every table."""
    columns: dict[str, dict[str, Any]] = {}
    header_units: dict[str, str] = {}
    lines: dict[str, list[int]] = {}
    for name, guide in GUIDE.items():
        if name not in paths:
            continue
        table = _TABLE_OF_FILE[name]
        try:
            cells = read_cells(paths[name])
            columns[table], units = read_columns(cells, guide, table, name, faults)
        except UnusableFilesError as error:
            if name in NEEDED_FILES:
                raise
            faults.append(Fault(table, -1, "", "missing", f"{error} The file is not read.", False))
            continue
        for row, count in cells.too_wide.items():
            why = f"the row has {count} cells, the header {len(cells.headers)}; the cells beyond were not read"
            faults.append(Fault(table, row, "", "contradiction", why, False))
        lines[table] = cells.lines
        if table == "readings":
            header_units = units
    return columns, header_units, lines


def _no_readings(has_file: bool) -> Fault:
    what = "no reading of readings.csv can be used" if has_file else "there is no readings.csv"
    why = (
        f"{what}: every date rests on labels, on the use as it was told and on earlier cartridges; nothing that was "
        "read at a unit counts"
    )
    return Fault("readings", -1, "", NO_READINGS, why, False)


def _paths(directory: Path) -> dict[str, Path]:
    """The files that are read, by their name in the guide, however they are spelt."""
    path_of: dict[str, Path] = {}
    for path in sorted(directory.iterdir()):
        name = re.sub(r"[ -]+", "_", path.name.lower())
        if name in GUIDE and path.is_file():
            path_of.setdefault(name, path)
    return path_of


def _as_in_file(fault: Fault, lines: dict[str, list[int]]) -> Fault:
    """The same fault in the words of the file: its line, and the column as the guide calls it."""
    header = next((column.header for column in GUIDE[f"{fault.table}.csv"] if column.field == fault.field), fault.field)
    # Sentences of the tables begin with the stored name.
    message = (
        header + fault.message[len(fault.field) :] if fault.message.startswith(f"{fault.field} ") else fault.message
    )
    row = lines[fault.table][fault.row] - 2 if 0 <= fault.row < len(lines.get(fault.table, ())) else -1
    return replace(fault, row=row, field=header, message=message)


def _settle_sites(columns: dict[str, dict[str, Any]], faults: list[Fault]) -> None:
    """A unit that names no site stands at one of its own; one that is not among the sites is added to them."""
    units, sites = columns["units"], columns.get("sites")
    named_sites = units.get("site_id") or [None] * len(units["unit_id"])
    units["site_id"] = [site or unit for site, unit in zip(named_sites, units["unit_id"], strict=True)]
    if sites is None:
        return
    site_ids = set(sites["site_id"])
    for row, site in enumerate(units["site_id"]):
        if site is None or site in site_ids:
            continue
        if named_sites[row] is not None:
            why = f"site_id {site!r} is not in sites.csv; taken as a site of which nothing else is known"
            faults.append(Fault("units", row, "site_id", "unknown", why, False))
        site_ids.add(site)
        for name, values in sites.items():
            values.append(site if name == "site_id" else None)


def _rebase_tds(columns: dict[str, dict[str, Any]], header_units: dict[str, str]) -> None:
    """TDS of readings in ppm or mg/L on the factor of their unit's meter, brought to the house scale.

    A conductivity needs no factor, and a column with the stored name is on the house scale already.
    """
    units, readings = columns["units"], columns.get("readings")
    factors = units.pop("tds_factor", None)
    if factors is None or readings is None or not len(readings.get("day", ())):
        return
    usable = {
        unit: STORED_TDS_FACTOR / factor
        for unit, factor in zip(units["unit_id"], factors, strict=True)
        if 0.4 <= factor <= 1.0
    }
    scale = np.array([usable.get(unit, 1.0) for unit in readings["unit_id"]])
    for name in (*words.QUANTITIES, OUTLET_TDS):
        is_tds = name == OUTLET_TDS or QUANTITY_KINDS[name].name == "tds"
        if is_tds and name in readings and header_units[name].strip().lower() in ("ppm", "mg/l"):
            readings[name] = readings[name] * scale


def _derive_positions(columns: dict[str, dict[str, Any]], faults: list[Fault]) -> bool:
    """Find the position of every placement that names a unit and stage; True when a file of positions was given.

    Without one the positions are those that the placements name.
    """
    placements = columns["placements"]
    count = len(placements["placed_day"])
    has_positions = "positions" in columns
    has_place = "unit_id" in placements and "stage" in placements
    if not has_place and not ("position_id" in placements and has_positions):
        raise UnusableFilesError(
            "placements.csv needs the columns 'unit' and 'stage' (and 'role' where there are two), or 'position' and a "
            "positions.csv that says where each is."
        )
    by_place: dict[tuple[Any, ...], Any] = {}
    if has_positions:
        table = columns["positions"]
        roles = table.get("role") or [None] * len(table["position_id"])
        if "order" not in table:
            table["order"] = [_order(stage, role) for stage, role in zip(table["stage"], roles, strict=True)]
        for unit, stage, role, position in zip(
            table["unit_id"], table["stage"], roles, table["position_id"], strict=True
        ):
            by_place[(unit, stage, role or "single")] = position
    if not has_place:
        return has_positions
    units = set(columns["units"]["unit_id"])
    position_ids = placements.get("position_id") or [None] * count
    roles = placements.get("role") or [None] * count
    place_of = {position: place for place, position in by_place.items()}
    for row, (unit, stage, role) in enumerate(zip(placements["unit_id"], placements["stage"], roles, strict=True)):
        if has_positions and position_ids[row] is not None:
            continue
        place = (unit, stage, role or "single")
        if unit not in units:
            trouble = "is empty" if unit is None else f"{unit!r} is not in units.csv"
            faults.append(Fault("placements", row, "unit_id", "unknown", f"unit_id {trouble}", True))
        elif stage not in words.STAGES:
            why = f"stage {stage!r} is not one of {', '.join(words.STAGES)}"
            faults.append(Fault("placements", row, "stage", "unknown_word", why, True))
        elif place[2] not in words.ROLES:
            # Taken as a cartridge by itself, half of a pair would be forecast far too early.
            why = f"role {role!r} is not one of {', '.join(words.ROLES)}"
            faults.append(Fault("placements", row, "role", "unknown_word", why, True))
        elif has_positions:
            position_ids[row] = by_place.get(place)
            if position_ids[row] is None:
                why = f"positions.csv has no {' '.join(str(part) for part in place[:0:-1])} of unit {unit!r}"
                faults.append(Fault("placements", row, "position_id", "unknown", why, True))
        else:
            own_name = f"{unit}/{stage}" + ("" if place[2] == "single" else f"/{role}")
            position_ids[row] = position_ids[row] or by_place.get(place, own_name)
            by_place.setdefault(place, position_ids[row])
            place_of.setdefault(position_ids[row], place)
    placements["position_id"] = position_ids
    for name in ("unit_id", "stage", "role"):
        placements.pop(name, None)
    if not has_positions:
        columns["positions"] = {
            "position_id": list(place_of),
            "unit_id": [place[0] for place in place_of.values()],
            "stage": [place[1] for place in place_of.values()],
            "role": [place[2] for place in place_of.values()],
            "order": [_order(place[1], place[2]) for place in place_of.values()],
        }
    return has_positions


def _order(stage: Any, role: Any) -> int:
    return _STAGE_ORDER.get(stage, 90) + (1 if role == "lag" else 0)


def _newest(columns: dict[str, dict[str, Any]], now: datetime) -> float:
    present = (now - UNIX_EPOCH).total_seconds() / SECONDS_PER_DAY
    days = [columns["placements"]["placed_day"], columns["placements"].get("removed_day", [])]
    days.append(columns.get("readings", {}).get("day", []))
    every = np.concatenate([np.asarray(part, dtype=np.float64) for part in days])
    every = every[np.isfinite(every) & (every <= present)]
    if not len(every):
        raise UnusableFilesError("no placement and no reading has a usable time before now; say the forecast's day.")
    return float(every.max())


__all__ = ["GUIDE", "UnusableFilesError", "day_of", "read_fleet", "write_forecasts", "write_report"]
