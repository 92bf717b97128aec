"""Bring a company in from the sheets it keeps: first as a trial that stores nothing, then for good."""

import difflib
from collections.abc import Iterator, Mapping, Sequence
from contextlib import contextmanager
from datetime import datetime
from typing import Final

from django.db import transaction

from accounts.day_alone import local_day
from accounts.models import Company, Membership
from accounts.services.companies import lock_company
from fleet.forecasting.files.german_headers import sheet_in_english
from fleet.models import Unit
from fleet.services.units.history import link_rotations
from scheduling.company_files.cells import habits_of, read_cells
from scheduling.company_files.columns import Heading, read_heading
from scheduling.company_files.log_sheets import FEED_WATER, READINGS, Log, is_log, store_log
from scheduling.company_files.money_sheets import SALES_PRICES, SERVICE_CONTRACTS, VAT_RATES, WARRANTIES
from scheduling.company_files.notebook import in_columns
from scheduling.company_files.outcome import BroughtIn, Outcome, PageResult, RowResult
from scheduling.company_files.ownership_sheet import OWNERSHIPS, share_pasts
from scheduling.company_files.pages import Page, pages_of
from scheduling.company_files.record_sheets import (
    CATALOGUE,
    CLIENTS,
    INSTALLERS,
    INSTRUMENTS,
    PARTS_OF_ADDRESS,
    PARTS_RULES,
    SITES,
    STOCK,
    SUPPLIERS,
    far_sites,
    is_counted,
    is_known_site,
    is_of_another_client,
    names_of_clients,
    nearest_client,
)
from scheduling.company_files.rows import Bringing, Row, RowRefusedError
from scheduling.company_files.sheet import Sheet
from scheduling.company_files.unit_sheets import PLACEMENTS, POSITIONS, UNITS, enter_reasons
from scheduling.company_files.written import home_headers

ORDER: Final[tuple[Sheet | Log, ...]] = (
    SUPPLIERS,
    CATALOGUE,
    PARTS_RULES,
    CLIENTS,
    SITES,
    UNITS,
    OWNERSHIPS,
    POSITIONS,
    INSTRUMENTS,
    INSTALLERS,
    STOCK,
    PLACEMENTS,
    FEED_WATER,
    READINGS,
    VAT_RATES,
    SALES_PRICES,
    SERVICE_CONTRACTS,
    WARRANTIES,
)
"""The sheets in the order in which they refer to one another."""


def bring_in(*, by: Membership, files: Mapping[str, bytes], now: datetime, is_trial: bool) -> BroughtIn:
    """Read the sheets of some files and store their rows, each kind in one transaction.

    Parameters
    ----------
    by
        Owner or office of the company that they belong to.
    files
        Contents by file name: CSV separated by commas, semicolons or tabs, and workbooks.
    is_trial
        Whether everything is taken back in the end: what would become of each row is told and nothing stored.

    Returns
    -------
    BroughtIn
        Page by page and row by row what was made, changed, left as it was or refused, and why. A row that is brought
        in again is left as it is.
    """
    result = BroughtIn(is_trial=is_trial)
    bringing = Bringing(by.company, by, now)
    pages = [in_columns(page) for page in pages_of(files, result.troubles)]
    if by.company.unit_system == Company.UnitSystem.US:
        pages = [page.with_headers(home_headers(page.table.headers)) for page in pages]
    with _taken_back(is_trial):
        by_sheet = _assigned(pages, result)
        for page, _ in by_sheet.get(PLACEMENTS.name, ()):
            _note_changes_ahead(page, bringing)
        for sheet in ORDER:
            if sheet.name not in by_sheet:
                continue
            with transaction.atomic():
                lock_company(by.company_id)
                for page, is_own in by_sheet[sheet.name]:
                    result.pages.append(_store_page(sheet, page, bringing, is_own))
                if sheet is SITES:
                    result.pages[-1].remarks += far_sites(by.company)
                if sheet is PLACEMENTS:
                    link_rotations(units=Unit.objects.of_company(by.company).values_list("pk", flat=True), now=now)
    return result


def _note_changes_ahead(page: Page, bringing: Bringing) -> None:
    """Since when each unit has had cartridges by a list of changes, as it stood there by then, and which were last."""
    is_us = bringing.company.unit_system == Company.UnitSystem.US
    for row in _rows(page, _heading(PLACEMENTS, page), bringing, is_us)[0]:
        at = row.values.get("placed_at")
        if at is not None and row.values.get("unit"):
            code, day = str(row.values["unit"]).casefold(), local_day(at, bringing.zone)
            bringing.first_days[code] = min(day, bringing.first_days.get(code, day))
            place, item = (code, str(row.values.get("stage", ""))), str(row.values.get("item") or "")
            if item and (place not in bringing.last_items or bringing.last_items[place][0] < at):
                bringing.last_items[place] = at, item


@contextmanager
def _taken_back(is_trial: bool) -> Iterator[None]:
    if not is_trial:
        yield
        return
    with transaction.atomic():
        yield
        transaction.set_rollback(True)


def _assigned(pages: Sequence[Page], result: BroughtIn) -> dict[str, list[tuple[Page, bool]]]:
    """Which pages are read as which sheet; a page of units that names its clients is read as those as well."""
    by_sheet: dict[str, list[tuple[Page, bool]]] = {}
    for page in pages:
        sheet = _sheet_of(page)
        if sheet is None:
            names = ", ".join(each.name for each in ORDER)
            close = difflib.get_close_matches(sheet_in_english(page.name), [each.name for each in ORDER], n=1)
            hint = f" Did you mean '{close[0]}'?" if close else ""
            result.pages.append(
                PageResult(
                    page.origin,
                    "",
                    [f"Neither its name nor its columns say what it holds.{hint} Name it one of: {names}."],
                )
            )
            continue
        by_sheet.setdefault(sheet.name, []).append((page, True))
        for other in _also_read_as(sheet, page):
            joint = _naming_clients(page) if sheet is CLIENTS else page
            by_sheet.setdefault(other.name, []).append((joint, False))
    # What a sheet of its own tells goes first, then what clients' tells of their sites, then what units' does.
    own = {page.origin: sheet for sheet in ORDER for page, is_own in by_sheet.get(sheet.name, ()) if is_own}
    for each in by_sheet.values():
        each.sort(key=lambda pair: (not pair[1], ORDER.index(own[pair[0].origin])))
    return by_sheet


def _also_read_as(sheet: Sheet | Log, page: Page) -> tuple[Sheet, ...]:
    """What else a page tells of: a sheet of units its clients and sites, one of clients their sites, one of items how
    many there are."""
    if sheet is UNITS and _heading(UNITS, page).has("client"):
        return CLIENTS, SITES
    if sheet is CLIENTS and any(_heading(SITES, page).has(name) for name in ("address", "town", "latitude")):
        return (SITES,)
    if sheet is CATALOGUE and _heading(STOCK, page).has("quantity"):
        return (STOCK,)
    return ()


def _naming_clients(page: Page) -> Page:
    """A page of clients with the column of their names headed as a page of sites has it."""
    places = {each.place for each in _heading(CLIENTS, page).columns if each.column.field == "name"}
    return page.with_headers(
        tuple("client" if place in places else header for place, header in enumerate(page.table.headers))
    )


def _sheet_of(page: Page) -> Sheet | Log | None:
    """By its name, else by the columns that only one kind of sheet has."""
    name = sheet_in_english(page.name)
    for sheet in ORDER:
        if name in (sheet.name, *(sheet_in_english(other) for other in sheet.also)):
            # A list of what is in the store that says what each item is, is a list of items with its counts.
            return CATALOGUE if sheet is STOCK and _heading(CATALOGUE, page).has("kind") else sheet
    for log in (READINGS, FEED_WATER):
        if is_log(log, page):
            return log
    fitting = []
    for sheet in ORDER:
        if isinstance(sheet, Log):
            continue
        heading = _heading(sheet, page)
        named = all(any(heading.has(field) for field in group) for group in sheet.needs)
        if named and len(heading.columns) >= 3:
            fitting.append((len(heading.columns), sheet))
    best = max((count for count, _ in fitting), default=0)
    chosen = [sheet for count, sheet in fitting if count == best]
    return chosen[0] if len(chosen) == 1 else None


def _heading(sheet: Sheet, page: Page) -> Heading:
    used = [
        any(place < len(cells) and cells[place] for _, cells in page.table.rows)
        for place in range(len(page.table.headers))
    ]
    return read_heading(page.table.headers, sheet.columns, used)


def _store_page(sheet: Sheet | Log, page: Page, bringing: Bringing, is_own: bool) -> PageResult:
    is_us = bringing.company.unit_system == Company.UnitSystem.US
    if isinstance(sheet, Log):
        return store_log(sheet, page, bringing, is_us=is_us)
    result = PageResult(page.origin, sheet.name)
    heading = _heading(sheet, page)
    if is_own:
        result.remarks += [*page.remarks, *_remarks(sheet, page, heading)]
    else:
        # The sheet of units speaks of its own columns; these are the ones that can only be the client's or the site's.
        unit_codes = {each.place for each in _heading(UNITS, page).columns if each.column.field == "code"}
        heading.columns = [
            each for each in heading.columns if each.column.field in JOINT[sheet.name] and each.place not in unit_codes
        ]
    for group in sheet.needs:
        if not any(heading.has(name) for name in group):
            shown = " or ".join(f"'{name.replace('_', ' ')}'" for name in group)
            result.remarks.append(f"There is no column {shown}, which every row needs; nothing of it is read.")
            return result
    rows, remark = _rows(page, heading, bringing, is_us)
    if remark and is_own:
        result.remarks.append(remark)
    earlier: dict[str, int] = {}
    known = names_of_clients(bringing)
    for row in rows:
        if not is_own and _says_nothing(sheet, row, known, bringing):
            continue
        result.rows.append(_store_row(sheet, row, bringing, earlier if is_own else {}))
    if sheet is PLACEMENTS:
        enter_reasons(zip(rows, result.rows, strict=True), bringing)
    if sheet is OWNERSHIPS:
        refused = {row.line for row in result.rows if row.outcome == Outcome.REFUSED}
        share_pasts([row for row in rows if row.line not in refused], bringing)
    return result


def _says_nothing(sheet: Sheet, row: Row, clients: Sequence[str], bringing: Bringing) -> bool:
    """Whether a row of a page of another kind has nothing to say here, or would speak of what is misspelt."""
    if sheet is CLIENTS:
        if not row.values.get("name"):
            return True
        # The row of the unit says which client is meant.
        return nearest_client(str(row.values.get("name", "")), clients) is not None
    if sheet is SITES:
        return (
            not (row.values.get("client") or row.values.get("code"))
            or is_of_another_client(row, bringing)
            or is_known_site(row, bringing)
        )
    return sheet is STOCK and ("quantity" not in row.values or is_counted(row, bringing))


def _remarks(sheet: Sheet, page: Page, heading: Heading) -> list[str]:
    """What is told of the columns of a page, but of those that something else it tells of is read from."""
    joint = [
        page.table.headers[each.place]
        for other in _also_read_as(sheet, page)
        for each in _heading(other, page).columns
        if each.column.field in JOINT[other.name]
    ]
    return [remark for remark in heading.remarks if not any(f"Column '{header}'" in remark for header in joint)]


JOINT: Final[Mapping[str, frozenset[str]]] = {
    "clients": frozenset(("name", "email", "phone")),
    "sites": frozenset(
        (
            "client",
            "code",
            "address",
            *PARTS_OF_ADDRESS,
            "latitude",
            "longitude",
            "supply",
            "chloraminated",
            "own_well",
            "access_notes",
            "access_windows",
        )
    ),
    "stock": frozenset(("item", "quantity", "shelf")),
}
"""Columns that a sheet of another kind can give of the clients, sites and pieces it names."""


def _rows(page: Page, heading: Heading, bringing: Bringing, is_us: bool) -> tuple[list[Row], str]:
    """The rows of a page, and what is told of how it was read."""
    table = page.table
    cells_of = {
        headed.place: [cells[headed.place] if headed.place < len(cells) else "" for _, cells in table.rows]
        for headed in heading.columns
    }
    habits = habits_of(
        [(headed.column, cells_of[headed.place]) for headed in heading.columns],
        table,
        is_us=is_us,
        zone=bringing.zone,
    )
    rows = [Row(line) for line, _ in table.rows]
    for headed in heading.columns:
        column = read_cells(headed, cells_of[headed.place], habits)
        for place, row in enumerate(rows):
            row.headers[headed.column.field] = headed.header
            if cells_of[headed.place][place]:
                row.as_written[headed.column.field] = cells_of[headed.place][place]
            if place in column.trouble:
                row.say(headed.column.field, f"{column.trouble[place]}; this value is not stored")
            elif column.values[place] is not None:
                row.values[headed.column.field] = column.values[place]
            if place in column.notes:
                row.say(headed.column.field, column.notes[place])
    return rows, habits.remark


def _store_row(sheet: Sheet, row: Row, bringing: Bringing, earlier: dict[str, int]) -> RowResult:
    """Store a row; `earlier` holds the lines of the rows before it, by the name of the record they speak of."""
    name = next((row.as_written[field] for field in sheet.named_by if row.as_written.get(field)), "")
    key = " ".join(row.as_written.get(sheet.named_by[0], "").split()).casefold() if sheet.is_named else ""
    before = earlier.get(key)
    try:
        with transaction.atomic():
            outcome = sheet.store(row, bringing)
            if key and before is not None and outcome != Outcome.LEFT:
                sentence = f"'{name[:40]}' stands on line {before} already, with other values; keep one of the two."
                raise RowRefusedError([(sheet.named_by[0], sentence)])
    except RowRefusedError as refused:
        for field, sentence in refused.faults:
            name_of_field = field.split("/")[0]
            # A cell that could not be read is told of once, not as missing too.
            is_known_already = any(remark.startswith(f"{row.header(name_of_field)}: ") for remark in row.remarks)
            if not is_known_already or name_of_field in row.values:
                row.say(name_of_field, sentence)
        return RowResult(row.line, Outcome.REFUSED, name, row.remarks, cells=row.cells)
    earlier.setdefault(key, row.line)
    changes = row.changes if outcome == Outcome.CHANGED else []
    return RowResult(row.line, outcome, name, row.remarks, changes, row.cells)
