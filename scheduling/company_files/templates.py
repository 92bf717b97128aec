"""An empty sheet of each kind, with a row that explains each column and one that shows how it is filled."""

import csv
from collections.abc import Iterator
from pathlib import Path
from typing import Final

from fleet.engineering.quantities import READING_QUANTITIES
from fleet.engineering.units import QUANTITY_KINDS
from fleet.intake.names import SAMPLE_COLUMNS, public_name
from scheduling.company_files.bring_in import ORDER
from scheduling.company_files.log_sheets import Log
from scheduling.company_files.pages import EXPLAINS

_READING_WORDS: Final = (
    ("unit", "the unit's code", "S01-1"),
    ("taken_at", "day, and hour where it is known", "2026-03-02 14:05"),
    ("occasion", "as_found or as_left at work, else empty", "routine"),
    ("person", "who read it", "Ina"),
    ("note", "anything", ""),
)
_SAMPLE_WORDS: Final = (
    ("site", "the site's code", "S01"),
    ("taken_at", "day, and hour where it is known", "2026-03-02"),
    ("method", "test strip, laboratory ...", "test strip"),
)
_EXAMPLES: Final = {
    "line_pressure_kpa": "340",
    "feed_tds_mg_per_l": "260",
    "permeate_tds_mg_per_l": "12",
    "hardness_mg_per_l_as_caco3": "180",
    "ph": "7.6",
}
"""Of one sound unit, so that the example rows of all sheets can be brought in together."""


def write_templates(directory: Path) -> Iterator[Path]:
    """Write a file for each sheet; one that is there is left alone."""
    directory.mkdir(parents=True, exist_ok=True)
    for sheet in ORDER:
        path = directory / f"{sheet.name}.csv"
        if path.exists():
            continue
        columns = (
            list(_columns(sheet.name))
            if isinstance(sheet, Log)
            else [
                (column.header, _meaning(column.meaning, column.words, column.is_needed), column.example)
                for column in sheet.columns
            ]
        )
        with path.open("w", newline="", encoding="utf-8") as file:
            writer = csv.writer(file)
            writer.writerow([header for header, _, _ in columns])
            writer.writerow(
                [f"{EXPLAINS if place == 0 else ''}{meaning}" for place, (_, meaning, _) in enumerate(columns)]
            )
            writer.writerow(
                [f"{EXPLAINS if place == 0 else ''}{example}" for place, (_, _, example) in enumerate(columns)]
            )
        yield path


def _meaning(meaning: str, words: tuple[str, ...], is_needed: bool) -> str:
    parts = [part for part in ("needed" if is_needed else "", meaning, " or ".join(words)) if part]
    return "; ".join(parts) or "may be empty"


def _columns(name: str) -> Iterator[tuple[str, str, str]]:
    if name == "readings":
        yield from _READING_WORDS
        for quantity in READING_QUANTITIES:
            yield _quantity(quantity.name), quantity.meaning, _EXAMPLES.get(quantity.name, "")
    else:
        yield from _SAMPLE_WORDS
        for column in SAMPLE_COLUMNS.values():
            yield _quantity(column), "", _EXAMPLES.get(column, "")


def _quantity(column: str) -> str:
    unit = QUANTITY_KINDS[column].canonical_unit
    name = public_name(column).replace("_", " ")
    return f"{name} [{unit}]" if unit else name
