"""Habits of people's cells made plain before they are read: money signs, units behind numbers, short years, gallons."""

import re
from collections.abc import Iterable
from typing import Final

from fleet.forecasting.files.days import certain_orders

_MONEY: Final = re.compile(r"^(?:[$€£]|EUR|USD|GBP|CHF)\s*|\s*(?:[$€£]|EUR|USD|GBP|CHF)$", re.IGNORECASE)
_PIECES: Final = re.compile(r"(?<=\d)\s*(?:pcs?|pieces?|stk|stück)\.?$", re.IGNORECASE)
_NO_CENTS: Final = re.compile(r"(?<=\d)[.,](?:-{1,2}|–|—)$")
_SHORT_YEAR: Final = re.compile(r"^(\d{1,2}([./])\s?\d{1,2}\2\s?)(\d{2})(?=$|[ T,])")
_NUMBER_AND_UNIT: Final = re.compile(r"^((?:[<>≤≥~]=?\s*)?[+-]?\d[\d.,' ]*?)\s*([a-zA-Zµμ°%].*)$")
_COMMA_GROUPS: Final = re.compile(r"^\d{1,3}(?:,\d{3})+$")
_CENTURY_TURNS: Final = 70
"""Short years below it are of this century; nobody's records of water units are older (common practice, no source)."""
_GALLONS: Final = re.compile(r"^(?:gal|gallons?|gpm|gal\s?/\s?(?:day|d|min|week|wk))\b", re.IGNORECASE)
_OF_TIME: Final = re.compile(r"^(.+?)\s?(?:/|\bper\b|\ba\b)\s?(week|wk|day|d)$", re.IGNORECASE)
_UNIT_FIRST: Final = re.compile(r"^(psi|bar)\s+([^\[\]()]*\w)$", re.IGNORECASE)
_GALLONS_A_WEEK: Final = re.compile(r"^gal(?:lons?|s)?\.?\s?(?:/|per|a)\s?(?:week|wk)$", re.IGNORECASE)
_RATED_GALLONS: Final = re.compile(r"^rated (?:gal|gallons?)$", re.IGNORECASE)
_DAYS: Final = re.compile(r"^(\d+(?:\.\d+)?)\s?(?:d|days?|tage?)\.?$", re.IGNORECASE)
_WEEKS: Final = re.compile(r"^(\d+)\s?(?:wks?|weeks?|wochen?)\.?$", re.IGNORECASE)
_PRODUCT_FLOW: Final = re.compile(r"^(?:product|permeate|ro)\s+(gpd|gpm)$", re.IGNORECASE)
_PRESSURE: Final = re.compile(r"^([^\[\]()]*\w)\s+(psi|bar)$", re.IGNORECASE)
_UNIT_IN_HEADER: Final = re.compile(r"([\[(])\s*([^\[\]()]+?)\s*([\])])")


def without_money(cell: str) -> str:
    """A price or a count without the sign beside it.

    >>> without_money("4,20 €"), without_money("$ 1,038.50"), without_money("3 Stk"), without_money("69,-")
    ('4,20', '1,038.50', '3', '69')
    """
    return _NO_CENTS.sub("", _PIECES.sub("", _MONEY.sub("", cell)).strip())


def in_days(cell: str) -> str:
    """A number of days that says so itself, or is one of weeks; any other cell as it is.

    >>> in_days("4 days"), in_days("2 weeks"), in_days("10"), in_days("soon")
    ('4', '14', '10', 'soon')
    """
    weeks = _WEEKS.match(cell)
    return str(7 * int(weeks[1])) if weeks else _DAYS.sub(r"\1", cell)


def with_century(cell: str) -> str:
    """A day whose year was written with two digits.

    >>> with_century("5.6.24"), with_century("3/14/99"), with_century("5.6.2024")
    ('5.6.2024', '3/14/1999', '5.6.2024')
    """
    match = _SHORT_YEAR.match(cell)
    if match is None:
        return cell
    year = int(match[3])
    return f"{match[1]}{(2000 if year < _CENTURY_TURNS else 1900) + year}{cell[match.end() :]}"


def number_and_unit(cell: str) -> tuple[str, str]:
    """A number and the unit that stands behind it in the same cell; no unit where none does.

    >>> number_and_unit("45 psi"), number_and_unit("14,5 °dH"), number_and_unit("<0,1"), number_and_unit("1 e3 psi")
    (('45', 'psi'), ('14,5', '°dH'), ('<0,1', ''), ('1', 'e3 psi'))
    """
    match = _NUMBER_AND_UNIT.match(cell)
    return (match[1], match[2].strip()) if match is not None else (cell, "")


def without_comma_groups(cells: list[str]) -> list[str]:
    """Numbers as they are written in the United States, where a comma before three digits groups thousands.

    >>> without_comma_groups(["1,200", "85"]), without_comma_groups(["1,200", "8,5"])
    (['1200', '85'], ['1,200', '8,5'])
    """
    if any("," in cell and not _COMMA_GROUPS.match(cell) and "." not in cell for cell in cells):
        return cells
    return [cell.replace(",", "") if _COMMA_GROUPS.match(cell) else cell for cell in cells]


def home_unit(unit: str, *, is_us: bool) -> str:
    """A gallon is a US gallon to a company of the United States; elsewhere it may be two things and stays as it is.

    >>> home_unit("gpm", is_us=True), home_unit("gal/week", is_us=True), home_unit("gal", is_us=False)
    ('US gpm', 'US gal/week', 'gal')
    """
    return f"US {unit}" if is_us and _GALLONS.match(unit) else unit


def per_week(unit: str) -> tuple[str, float]:
    """Unit of a volume used in a week, and by what its numbers are to be multiplied: people state it by the day too.

    >>> per_week("gal/week"), per_week("L per day"), per_week("L"), per_week("gpd")
    (('gal', 1.0), ('L', 7.0), ('L', 1.0), ('gal', 7.0))
    """
    if unit.lower() == "gpd":
        return "gal", 7.0
    match = _OF_TIME.match(unit)
    if match is None:
        return unit, 1.0
    return match[1], 7.0 if match[2].lower() in ("d", "day") else 1.0


def spelled_pressure(header: str) -> str:
    """A header that names a pressure by its unit alone, or by its unit without brackets.

    >>> spelled_pressure("Line PSI"), spelled_pressure("Line pressure psi"), spelled_pressure("Line pressure [psi]")
    ('Line pressure [psi]', 'Line pressure [psi]', 'Line pressure [psi]')
    >>> spelled_pressure("Pressure psi")
    'Pressure [psi]'
    >>> spelled_pressure("PSI after filters")
    'pressure after filters [psi]'
    """
    first = _UNIT_FIRST.match(header)
    if first is not None:
        return f"pressure {first[2].lower()} [{first[1].lower()}]"
    match = _PRESSURE.match(header)
    if match is None:
        return header
    name = match[1] if match[1].lower().endswith("pressure") else f"{match[1]} pressure"
    return f"{name} [{match[2].lower()}]"


def home_headers(headers: Iterable[str]) -> tuple[str, ...]:
    """Headers of a company of the United States, with its own gallons.

    >>> home_headers(["Use [gal/week]", "flow (gpm)", "TDS [ppm]"])
    ('Use [US gal/week]', 'flow (US gpm)', 'TDS [ppm]')
    >>> home_headers(["Gallons per week", "Product gpd"])
    ('weekly use [US gal]', 'permeate flow [US gpd]')
    """
    headers = ["weekly use [gal]" if _GALLONS_A_WEEK.match(header.strip()) else header for header in headers]
    headers = ["rated volume [gal]" if _RATED_GALLONS.match(header.strip()) else header for header in headers]
    headers = [_PRODUCT_FLOW.sub(r"permeate flow [US \1]", header.strip()) for header in headers]
    return tuple(
        _UNIT_IN_HEADER.sub(lambda match: f"{match[1]}{home_unit(match[2], is_us=True)}{match[3]}", header)
        for header in headers
    )


def day_order(days: Iterable[str], *, is_us: bool) -> tuple[bool, str]:
    """Whether days stand before months in a page, and what people must be told of it; '' where there is no doubt.

    One date that can only be written the other way is more likely a slip than a habit; two that agree, with none
    against them, tell how the page was written.
    """
    days = list(days)
    orders = certain_orders(days)
    usual = not is_us
    with_it, against = (orders.day_first, orders.month_first) if usual else (orders.month_first, orders.day_first)
    names = ("day", "month") if usual else ("month", "day")
    if not against or not orders.unclear:
        return usual, ""
    examples = " and ".join(f"'{cell}'" for cell in against[:2])
    count = len(orders.unclear)
    if not with_it and len(against) > 1:
        return not usual, (
            f"Days are read {names[1]} first, as {examples} can only be; {count} dates could be read either way."
        )
    return usual, (
        f"{examples} can only be {names[1]} first, the others are read {names[0]} first; {count} dates, such as "
        f"'{orders.unclear[0]}', could be read either way: look at them, or write 2026-03-01."
    )
