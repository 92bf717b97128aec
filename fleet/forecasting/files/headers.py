"""Which column of the guide each header of a file means, and in which unit it is."""

import re
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Final

from fleet.engineering.errors import EngineeringError
from fleet.engineering.units import parse_header
from fleet.forecasting.files.guide import GUIDE, FileColumn
from fleet.forecasting.files.other_headers import FORMS_OF_DAY, OTHER_HEADERS, UNCLEAR_HEADERS
from fleet.forecasting.files.quantities import fits_unit
from fleet.forecasting.files.words import FLAGS, word_of_guide

_ROUND_BRACKETS: Final = re.compile(r"^([^\[\]()%]+?)\s*(?:\(([^()]+)\)|(%))\s*$")
_UMLAUTS: Final = str.maketrans({"ä": "ae", "ö": "oe", "ü": "ue", "ß": "ss"})
_NO_COLUMN: Final = "there is no such column in the guide (--columns lists them); not read"


@dataclass(frozen=True)
class Meaning:
    """What a header means: a column with the name and the unit that were written, or why it is not known."""

    name: str
    unit: str = ""
    column: FileColumn | None = None
    why_not: str = ""

    @property
    def is_unclear(self) -> bool:
        """Whether the header is one that people write, but can mean more than one thing."""
        return bool(self.why_not) and self.why_not != _NO_COLUMN


def tidy(text: str) -> str:
    """A name in lower case with single underscores; umlauts as they are written where there are none.

    >>> tidy(" Date In. "), tidy("Härte")
    ('date_in', 'haerte')
    """
    return re.sub(r"[^a-z0-9]+", "_", text.lower().translate(_UMLAUTS)).strip("_")


def _by_name(file: str) -> dict[str, list[str]]:
    """Fields of the tables by other names of their columns."""
    fields_of: dict[str, list[str]] = {}
    for column in GUIDE[file]:
        written = [header for header in OTHER_HEADERS[file].get(column.field, "").split(", ") if header]
        if column.kind == "time":
            written = [form.format(header) for header in (column.header, *written) for form in FORMS_OF_DAY]
        for header in written:
            fields_of.setdefault(tidy(header), []).append(column.field)
    return fields_of


_FIELDS_OF: Final = {file: _by_name(file) for file in GUIDE}
_UNCLEAR: Final = {
    file: {tidy(header): sentence for header, sentence in headers.items()} for file, headers in UNCLEAR_HEADERS.items()
}


def find_columns(file: str, headers: Sequence[str], columns: Sequence[Sequence[str]]) -> list[Meaning]:
    """The meaning of every header of a file, in their order.

    A header of the guide means its column whatever stands in it. Another spelling that can mean several columns means
    the one whose unit, words or flags the cells have, where that is one and no header of the guide has it.

    Parameters
    ----------
    file
        Its name in the guide.
    headers, columns
        As written; the cells of each column without those that say that nothing is known.
    """
    guide = {tidy(spelled): column for column in GUIDE[file] for spelled in (column.header, column.field)}
    taken = {recognised[2].field for header in headers if (recognised := _split(header, guide)) is not None}
    return [_meaning(file, header, cells, guide, taken) for header, cells in zip(headers, columns, strict=True)]


def _meaning(file: str, header: str, cells: Sequence[str], guide: dict[str, FileColumn], taken: set[str]) -> Meaning:
    recognised = _split(header, guide)
    if recognised is not None:
        return Meaning(*recognised)
    try:
        name, unit = parse_header(_in_brackets(header), field=header.strip() or "header")
    except EngineeringError as error:
        return Meaning("", why_not=str(error) if any(cells) else "")
    other, unclear = _FIELDS_OF[file], _UNCLEAR.get(file, {})
    for head, tail in ((name, unit), *(names_and_units(header) if not unit else ())):
        candidates = [column for column in GUIDE[file] if column.field in other.get(head, ())]
        if head != name:
            candidates = [column for column in candidates if fits_unit(column, tail)]
        if head in unclear and (head == name or not candidates):
            return Meaning(head, tail, why_not=f"this can mean more than one thing: {unclear[head]}; not read")
        free = [column for column in candidates if column.field not in taken]
        chosen = _fitting(free, tail, cells)
        if len(chosen) == 1:
            return Meaning(head, tail, chosen[0])
        if len(candidates) == 1:
            return Meaning(head, tail, candidates[0])
        if candidates:
            shown = " or ".join(repr(column.header) for column in candidates)
            return Meaning(head, tail, why_not=f"this can mean {shown}; write the one that is meant; not read")
    return Meaning(name, unit, why_not=_NO_COLUMN)


def _split(header: str, guide: dict[str, FileColumn]) -> tuple[str, str, FileColumn] | None:
    """Name, unit and column of a header whose name is the guide's own."""
    try:
        name, unit = parse_header(_in_brackets(header))
    except EngineeringError:
        return None
    if name in guide:
        return name, unit, guide[name]
    for head, tail in names_and_units(header) if not unit else ():
        if head in guide and fits_unit(guide[head], tail):
            return head, tail, guide[head]
    return None


def names_and_units(header: str) -> Iterator[tuple[str, str]]:
    """A header without brackets as a name and a unit behind it, in every way, the shortest name first.

    >>> list(names_and_units("Tap TDS, ppm"))
    [('tap', 'TDS ppm'), ('tap_tds', 'ppm')]
    >>> list(names_and_units("TDS in ppm"))
    [('tds', 'ppm'), ('tds_in', 'ppm')]
    """
    parts = [part for part in re.split(r"[\s,;:_]+", header.strip()) if part]
    for place in range(1, len(parts)):
        unit = parts[place:]
        if unit[0].lower() == "in" and len(unit) > 1:
            unit = unit[1:]
        yield tidy(" ".join(parts[:place])), " ".join(unit)


def _in_brackets(header: str) -> str:
    """The header with its unit in square brackets, when it stands in round ones or is a percent sign alone."""
    return _ROUND_BRACKETS.sub(lambda match: f"{match[1]} [{match[2] or match[3]}]", header)


def _fitting(candidates: Sequence[FileColumn], unit: str, cells: Sequence[str]) -> list[FileColumn]:
    """Those of the columns that can hold the cells; a column of free text only where no other can."""
    written = {cell for cell in cells if cell}
    fitting = [column for column in candidates if _fits(column, unit, written)]
    return [column for column in fitting if column.kind != "text"] or fitting


def _fits(column: FileColumn, unit: str, written: set[str]) -> bool:
    # One odd word among others is that row's fault, not the column's.
    if column.kind == "word":
        recognised = [cell for cell in written if word_of_guide(column.field, tidy(cell)) in column.words]
        return len(recognised) > len(written) / 2
    if column.kind == "flag":
        recognised = [cell for cell in written if cell.lower() in FLAGS]
        return len(recognised) > len(written) / 2
    if column.kind in ("text", "time", "number"):
        return not unit
    return fits_unit(column, unit)
