"""Readings and feed water samples of a sheet: the headers and cells that people write, the rules of the logs."""

import json
import re
from collections.abc import Callable, Collection, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any, Final

from django.db import transaction

from fleet.engineering.errors import EngineeringError
from fleet.engineering.units import QUANTITY_KINDS
from fleet.forecasting.files.german_headers import in_english
from fleet.forecasting.files.guide import FileColumn
from fleet.forecasting.files.headers import find_columns, names_and_units, tidy
from fleet.forecasting.files.words import SYNONYMS, word_of_guide
from fleet.intake import feed_water, feed_water_log, readings, readings_log
from fleet.intake.columns import Column, Vocabulary, column_of
from fleet.intake.reading_fields import NOT_A_TIME
from fleet.intake.rows import Row, Sent
from fleet.intake.storing import close_batch, open_batch
from fleet.intake.table_rows import cells_by_header
from fleet.models import FeedWaterSample, IntakeBatch, Reading, Site
from scheduling.company_files.cells import (
    Habits,
    day_of,
    has_hour,
    hour_of,
    known_of,
    local_moment_of,
    plain_numbers,
    points_group_in,
)
from scheduling.company_files.given_out import known_again
from scheduling.company_files.outcome import CellRemark, Outcome, PageResult, RowResult
from scheduling.company_files.pages import Page
from scheduling.company_files.rows import Bringing
from scheduling.company_files.written import day_order, home_unit, number_and_unit, spelled_pressure, with_century

_TIMES: Final = ("taken_at", "date", "time")
_LEFT_OUT: Final = frozenset(("source", "person", "occasion", "state", "instrument", "tank_valve"))
"""Words without which a reading is one all the same."""
_FIELD_WORDS: Final = {"unit_id": "unit", "site_id": "site", "day": "taken_at"}


@dataclass(frozen=True)
class Log:
    """What a log holds, and what takes its rows.

    Attributes
    ----------
    owner
        What a row belongs to: 'unit' or 'site'.
    guide
        Its file in the guide of the fleet files, whose other headers are known too.
    """

    name: str
    about: str
    owner: str
    guide: str
    vocabulary: Vocabulary
    kind: str
    model: Any
    take: Callable[..., Any]
    also: tuple[str, ...] = ()


def _take_readings(rows: Sequence[Row], **given: Any) -> Any:
    return readings.take_rows(rows, source=Reading.Source.IMPORT, **given)


READINGS: Final = Log(
    "readings",
    "what gauges and meters showed, one row a look at the unit",
    "unit",
    "readings.csv",
    readings_log.VOCABULARY,
    IntakeBatch.Kind.READINGS,
    Reading,
    _take_readings,
    also=("reading", "log", "readings log", "measurements"),
)
FEED_WATER: Final = Log(
    "feed_water",
    "analyses of the water that feeds a site",
    "site",
    "feed_water.csv",
    feed_water_log.VOCABULARY,
    IntakeBatch.Kind.FEED_WATER,
    FeedWaterSample,
    feed_water.take_rows,
    also=("water", "feed water", "analyses", "tap water"),
)


def is_log(log: Log, page: Page) -> bool:
    """Whether a page can only be such a log: it names the owner and a time, and two quantities or more."""
    columns = _columns(log, page, PageResult("", ""))
    have = {column.name for column in columns}
    placed = all(have.intersection(group) for group in log.vocabulary.needed)
    return placed and sum(column.is_quantity for column in columns) >= 2


def store_log(log: Log, page: Page, bringing: Bringing, *, is_us: bool) -> PageResult:
    """Store the rows of a page; a value that cannot be is left out and told of, and the rest of its row kept."""
    result = PageResult(page.origin, log.name, list(page.remarks))
    if log is FEED_WATER:
        page = _by_site(page, bringing)
    columns = _columns(log, page, result)
    have = {column.name for column in columns}
    for group in log.vocabulary.needed:
        if not have.intersection(group):
            shown = " or ".join(f"'{name.replace('_', ' ')}'" for name in group)
            result.remarks.append(f"There is no column {shown}; without it no row can be placed.")
            return result
    without: dict[int, set[str]] = {}
    remarks: dict[int, list[CellRemark]] = {}
    habits = _habits(page, columns, bringing, is_us)
    if habits.remark:
        result.remarks.append(habits.remark)
    rows = _rows(log, page, columns, bringing, habits, without, remarks)
    lines_known = {row.line for row in known_again(rows, model=log.model, owner=log.owner, bringing=bringing)}
    with transaction.atomic():
        content = json.dumps([page.table.headers, page.table.rows]).encode()
        batch = open_batch(
            company=bringing.company,
            by=bringing.by,
            kind=log.kind,
            name=page.origin,
            content=content,
            now=bringing.now,
        )
        trial = transaction.savepoint()
        outcome = _take(log, rows, lines_known, bringing, batch)
        for row in rows:
            fields = {fault.field for fault in row.faults}
            at_fault = {name for name in (*row.sent, *(row.words.keys() & _LEFT_OUT)) if row.label(name) in fields}
            if row.faults and at_fault and len({fault.field for fault in row.faults}) == len(at_fault):
                without[row.line] = at_fault
        if without:
            transaction.savepoint_rollback(trial)
            for row in rows:
                for fault in row.faults if row.line in without else ():
                    remarks.setdefault(row.line, []).append(_not_stored(row, fault.field, fault.sentence))
            rows = _rows(log, page, columns, bringing, habits, without, {})
            known_again(rows, model=log.model, owner=log.owner, bringing=bringing)
            outcome = _take(log, rows, lines_known, bringing, batch)
        else:
            transaction.savepoint_commit(trial)
        close_batch(
            batch,
            rows=rows,
            stored=len(outcome.stored),
            flagged=outcome.flagged,
            duplicates=outcome.duplicates + len(lines_known),
        )
    stored_lines = {stored.line for stored in outcome.stored}
    for row in rows:
        result.rows.append(_row_result(row, stored_lines, remarks.get(row.line, []), log.owner))
    return result


_TOWNS: Final = frozenset(("town", "city", "place"))


def _by_site(page: Page, bringing: Bringing) -> Page:
    """Analyses that are kept by town, as they are of each site whose address names it; a page by sites as it is."""
    headers = [tidy(in_english(header)) for header in page.table.headers]
    towns = [place for place, header in enumerate(headers) if header in _TOWNS]
    if "site" in headers or "site_code" in headers or len(towns) != 1:
        return page
    sites = Site.objects.of_company(bringing.company).order_by("code").values_list("code", "address")
    rows: list[tuple[int, tuple[str, ...]]] = []
    for line, cells in page.table.rows:
        town = cells[towns[0]].strip() if towns[0] < len(cells) else ""
        named = re.compile(rf"\b{re.escape(town)}\b", re.IGNORECASE) if town else None
        codes = [code for code, address in sites if named is not None and named.search(address)]
        # Of a town without a site, the refusal names the town.
        rows += [(line, _with(cells, towns[0], code)) for code in codes or [town]]
    headers_of_sites = _with(page.table.headers, towns[0], "site")
    return replace(page, table=replace(page.table, headers=headers_of_sites, rows=tuple(rows)))


def _with(cells: Sequence[str], place: int, cell: str) -> tuple[str, ...]:
    return (*cells[:place], cell, *cells[place + 1 :])


def _take(log: Log, rows: Sequence[Row], lines_known: Collection[int], bringing: Bringing, batch: IntakeBatch) -> Any:
    fresh = [row for row in rows if row.line not in lines_known]
    return log.take(fresh, company=bringing.company, by=bringing.by, now=bringing.now, batch=batch)


def _not_stored(row: Row, header: str, why: str) -> CellRemark:
    return CellRemark(header, str(row.raw.get(header, "")), f"{why.rstrip('.')}; this value is not stored.")


def _row_result(row: Row, stored_lines: set[Any], cells: list[CellRemark], owner: str) -> RowResult:
    name = row.words.get(owner, "")
    cells = list(dict.fromkeys(cells))
    if row.faults:
        cells = [CellRemark(fault.field, str(row.raw.get(fault.field, "")), fault.sentence) for fault in row.faults]
        outcome = Outcome.REFUSED
    else:
        outcome = Outcome.MADE if row.line in stored_lines else Outcome.LEFT
        doubtful = [
            CellRemark(row.label(flag.field), str(row.raw.get(row.label(flag.field), "")), flag.sentence)
            for flag in row.flags
        ]
        cells = [*cells, *(each for each in doubtful if outcome == Outcome.MADE)]
    return RowResult(row.line, outcome, name, [f"{cell.column}: {cell.remark}" for cell in cells], cells=cells)


def _columns(log: Log, page: Page, result: PageResult) -> list[Column]:
    """Columns of the log's own vocabulary, else of the headers that fleet files know."""
    columns: list[Column] = []
    taken: dict[str, str] = {}
    cells = [
        [row[place] if place < len(row) else "" for _, row in page.table.rows]
        for place in range(len(page.table.headers))
    ]
    spelled_out = [spelled_pressure(_known(header, log)) for header in page.table.headers]
    meanings = find_columns(log.guide, spelled_out, cells)
    for place, (header, meaning) in enumerate(zip(page.table.headers, meanings, strict=True)):
        if not header:
            if any(cells[place]):
                result.remarks.append(f"Column {place + 1} has no header and is not read; name it.")
            continue
        try:
            column = replace(column_of(place, spelled_out[place], log.vocabulary), header=header)
        except EngineeringError as error:
            column_by_guide = _by_guide(place, header, meaning.column, meaning.unit, log)
            if column_by_guide is None and not meaning.is_unclear:
                column_by_guide = _by_unit_behind(place, header, log)
            if column_by_guide is None:
                if any(cells[place]):
                    why = meaning.why_not if meaning.is_unclear else error.sentence
                    result.remarks.append(f"Column '{header}' is not read: {why}")
                continue
            column = column_by_guide
        if column.name in taken:
            result.remarks.append(
                f"Columns '{taken[column.name]}' and '{header}' are the same; the second is not read."
            )
            continue
        if column.name == "source" and not _tells_sources(cells[place]):
            # 'By' is most often a name and seldom what kind of hand it was.
            column = replace(column, name="person")
        taken[column.name] = header
        columns.append(column)
    return _with_units_of_others(columns, result)


def _tells_sources(cells: Sequence[str]) -> bool:
    """Whether most cells say what kind of hand took the readings, and not whose."""
    written = [tidy(cell) for cell in cells if cell]
    known = [word for word in written if word_of_guide("source", word) in Reading.Source.values]
    return 2 * len(known) >= len(written)


def _with_units_of_others(columns: Sequence[Column], result: PageResult) -> list[Column]:
    """Columns of TDS without a unit in that of the others of the page, where all others agree; and that it is taken.

    A meter is read in one scale. What is no concentration says its unit itself: pressures have places of their own.
    """
    stated = {each.unit for each in columns if each.is_quantity and each.unit and _is_tds(each)}
    if len(stated) != 1:
        return list(columns)
    (unit,) = stated
    filled = []
    for column in columns:
        if column.is_quantity and not column.unit and _is_tds(column):
            result.remarks.append(f"Column '{column.header}' names no unit; taken as {unit}, as the others of TDS are.")
            column = replace(column, unit=unit)
        filled.append(column)
    return filled


def _is_tds(column: Column) -> bool:
    return QUANTITY_KINDS[column.name].name == "tds"


def _by_unit_behind(place: int, header: str, log: Log) -> Column | None:
    """The column of a header that names its unit without brackets, 'RO flow GPD'; None where it is none."""
    for name, unit in names_and_units(header):
        try:
            return replace(column_of(place, f"{name.replace('_', ' ')} [{unit}]", log.vocabulary), header=header)
        except EngineeringError:
            continue
    return None


def _known(header: str, log: Log) -> str:
    """A header as it is, where the log knows it, else the English one that means the same."""
    try:
        column_of(0, header, log.vocabulary)
    except EngineeringError:
        return in_english(header)
    return header


def _by_guide(place: int, header: str, guide: FileColumn | None, unit: str, log: Log) -> Column | None:
    if guide is None:
        return None
    name = _FIELD_WORDS.get(guide.field, guide.field)
    if name in log.vocabulary.words.values():
        return Column(place, header, name, "", is_quantity=False)
    if name in log.vocabulary.quantities.values():
        return Column(place, header, name, unit, is_quantity=True)
    return None


def _rows(
    log: Log,
    page: Page,
    columns: Sequence[Column],
    bringing: Bringing,
    habits: Habits,
    without: Mapping[int, set[str]],
    remarks: dict[int, list[CellRemark]],
) -> list[Row]:
    rows = [Row(line=line, raw=cells_by_header(page.table, cells)) for line, cells in page.table.rows]
    for column in columns:
        written = [known_of(cells[column.index]) if column.index < len(cells) else "" for _, cells in page.table.rows]
        if not column.is_quantity:
            for row, cell in zip(rows, written, strict=True):
                row.labels[column.name] = column.header
                if cell and column.name not in without.get(row.line, ()):
                    row.words[column.name] = _word(column.name, cell)
            continue
        split = [number_and_unit(cell) for cell in written]
        numbers = plain_numbers([number for number, _ in split], habits, may_be_below=True)
        is_stored_name = tidy(column.header) == column.name
        for place, row in enumerate(rows):
            row.labels[column.name] = column.header
            if column.name in without.get(row.line, ()):
                continue
            if place in numbers.trouble:
                remarks.setdefault(row.line, []).append(_not_stored(row, column.header, numbers.trouble[place]))
            elif numbers.values[place] == numbers.values[place]:
                own = home_unit(split[place][1], is_us=habits.is_us)
                row.sent[column.name] = Sent(repr(float(numbers.values[place])), own or column.unit)
                if is_stored_name and not own:
                    row.on_stored_scale.add(column.name)
    for row in rows:
        _settle_moment(row, habits, remarks)
    return rows


def _habits(page: Page, columns: Sequence[Column], bringing: Bringing, is_us: bool) -> Habits:
    days = [
        cells[column.index]
        for column in columns
        if column.name in ("taken_at", "date")
        for _, cells in page.table.rows
        if column.index < len(cells)
    ]
    day_first, remark = day_order(map(with_century, days), is_us=is_us)
    return Habits(
        page.table.decimal_comma,
        day_first,
        bringing.zone,
        points_group=points_group_in(page.table),
        is_us=is_us,
        remark=remark,
    )


def _word(name: str, cell: str) -> str:
    """The log's word for one that people write; its own words as they are."""
    return SYNONYMS.get(name, {}).get("_".join(cell.lower().split()), cell)


def _settle_moment(row: Row, habits: Habits, remarks: dict[int, list[CellRemark]]) -> None:
    """One local moment of a day and an hour however they are written; or the day, where no hour is."""
    day, hour = row.words.get("date", ""), row.words.get("time", "")
    if hour and not has_hour(f"{day} {hour}"):
        try:
            hour = hour_of(hour)
        except ValueError as error:
            remark = f"{str(error).rstrip('.')}; the day is kept without it."
            remarks.setdefault(row.line, []).append(CellRemark(row.label("time"), hour, remark))
            hour = ""
    cell = row.words.get("taken_at") or " ".join(part for part in (day, hour) if part)
    if not cell:
        return
    try:
        written = local_moment_of(cell, habits) if has_hour(cell) else day_of(cell, habits).isoformat()
    except ValueError as error:
        row.refuse("taken_at" if "taken_at" in row.words else "date", NOT_A_TIME, str(error))
        return
    for name in _TIMES:
        row.words.pop(name, None)
    row.words["taken_at"] = written
