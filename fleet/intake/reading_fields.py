"""The fields of a reading that are no quantity: who, when, where, and the state the unit was in."""

from collections.abc import Mapping, Sequence
from datetime import UTC, datetime
from typing import Final
from zoneinfo import ZoneInfo

from accounts.day_alone import DayAlone, local_day, not_after
from accounts.models import Membership
from fleet.intake import cells
from fleet.intake.cells import CellError
from fleet.intake.directory import Directory, Meter, Place
from fleet.intake.observations import CODES, SEEN, settle_observations
from fleet.intake.rows import Row
from fleet.models import Reading
from fleet.models.readings import CLOCK_SLACK
from fleet.services.units.moments import FIRST_YEAR

_ANY_ZONE: Final = ZoneInfo("UTC")
"""For a time whose place is not known, of which no more is asked than that it can be read."""

MOMENT: Final = ("taken_at", "date", "time")
"""Words of a row that say when it was taken."""

NOT_A_TIME: Final = "not_a_time"
"""Code of what whoever read the cells of a file could not read as a time; it is told once."""


STATES: Final[Mapping[str, str]] = {"flowing": "flowing", "running": "flowing", "static": "static"}
VALVES: Final[Mapping[str, str]] = {"open": "open", "closed": "closed", "shut": "closed"}
PUMPS: Final[Mapping[str, str]] = {"on": "on", "off": "off", "running": "on"}
OCCASIONS: Final[Mapping[str, str]] = {word: word for word in Reading.Occasion.values}
SOURCES: Final[Mapping[str, str]] = {word: word for word in Reading.Source.values} | {"log_file": "import"}

_WORDS: Final[Mapping[str, Mapping[str, str]]] = {
    "state": STATES,
    "tank_valve": VALVES,
    "pump": PUMPS,
    "occasion": OCCASIONS,
    "source": SOURCES,
}
_YES_OR_NO: Final = ("tank_is_full", "sampled_after_flush")
LENGTHS: Final[Mapping[str, int]] = {"person": 80, "note": 4000, "reference": 80}
"""Free text of a reading -> the most characters that are kept."""

CHOICES: Final = (*_WORDS, *_YES_OR_NO, SEEN, *CODES)
"""Words of a row that are one of few."""


def place_rows(rows: Sequence[Row], directory: Directory, *, now: datetime, taken_at_default: datetime | None) -> None:
    """Find the unit and the moment of every row and read its words; what cannot be read becomes a fault.

    Parameters
    ----------
    taken_at_default
        Moment of a row that names none; None refuses such a row.
    """
    for row in rows:
        place = _place(row, directory)
        read_moment(row, place, now=now, default=taken_at_default)
        read_choices(row)
        check_lengths(row, LENGTHS)


def _place(row: Row, directory: Directory) -> Place | None:
    name = row.words.get(directory.owner_kind, "")
    if not name:
        row.refuse(directory.owner_kind, "missing", f"The row names no {directory.owner_kind}; give its code.")
        return None
    try:
        place = directory.place(name)
    except CellError as error:
        row.refuse(directory.owner_kind, f"unknown_{directory.owner_kind}", str(error))
        return None
    row.owner_id = place.pk
    return place


def place_of(row: Row, directory: Directory) -> Place | None:
    """The unit or site of a row that has one."""
    return directory.by_id.get(row.owner_id)


def named_meter(row: Row, directory: Directory) -> Meter | None:
    """The instrument the row names, noting a fault when there is none of that name."""
    name = row.words.get("instrument", "")
    if not name:
        return None
    try:
        return directory.meter(name)
    except CellError as error:
        row.refuse("instrument", "unknown_instrument", str(error))
        return None


def moment_text(taken_at: str, date: str, time: str) -> str:
    """When a row was taken, as it says so: in one field or in two; empty where it does not."""
    return taken_at or f"{date} {time}".strip()


def read_moment(row: Row, place: Place | None, *, now: datetime, default: datetime | None) -> None:
    """Read when the row was taken, in the time zone of its place unless it has an offset, and refuse what cannot be."""
    if any(fault.code == NOT_A_TIME for fault in row.faults):
        return
    field = "date" if "date" in row.words or "time" in row.words else "taken_at"
    text = moment_text(*(row.words.get(name, "") for name in MOMENT))
    if not text:
        if default is None:
            row.refuse(field, "missing", f"The row has no date; write {cells.MOMENT_FORMS}.")
        row.taken_at = default
        return
    try:
        at, doubt = cells.moment(text, place.zone if place is not None else _ANY_ZONE)
    except CellError as error:
        row.refuse(field, "unreadable_date", str(error))
        return
    if at.year < FIRST_YEAR:
        row.refuse(field, "too_long_ago", f"{text} is before {FIRST_YEAR}; look at the year.")
        return
    if place is None:
        return
    if doubt:
        row.flag("taken_at", "time_came_twice", doubt)
    day = local_day(at, place.zone)
    row.named_at, at = at, not_after(at, now, place.zone)
    if at > now + CLOCK_SLACK:
        row.refuse(field, "in_the_future", f"{text} is in the future (it is {_shown(now, place)}); check the date.")
    elif place.commissioned_on is not None and day < place.commissioned_on:
        row.refuse(
            field,
            "before_commissioning",
            f"{text} is before {place.code} was commissioned on {place.commissioned_on}; check the date and the unit.",
        )
    elif place.retired_on is not None and day > place.retired_on:
        row.refuse(
            field,
            "after_retirement",
            f"{text} is after {place.code} was retired on {place.retired_on}; check the unit.",
        )
    row.taken_at = at if isinstance(at, DayAlone) else at.astimezone(UTC)


def read_choices(row: Row) -> None:
    """Read the words of a row that are one of few; what is none of them becomes a fault."""
    for name, words in _WORDS.items():
        if row.words.get(name):
            try:
                row.fields[name] = cells.word(row.words[name], words)
            except CellError as error:
                row.refuse(name, "unknown_word", str(error))
    for name in _YES_OR_NO:
        if row.words.get(name):
            try:
                row.fields[name] = cells.yes_or_no(row.words[name])
            except CellError as error:
                row.refuse(name, "neither_yes_nor_no", str(error))
    settle_observations(row)


def hold_to_source(rows: Sequence[Row], by: Membership | None, source: str) -> None:
    """Clients and meters speak for themselves only; the company's people may send what others noted."""
    if by is None or (by.role != Membership.Role.CLIENT and by.meter_unit_id is None):
        return
    for row in rows:
        if row.fields.get("source", source) != source:
            row.refuse("source", "not_your_source", f"What you send is noted as from '{source}'; leave this out.")


def check_lengths(row: Row, lengths: Mapping[str, int]) -> None:
    """Take over free text, refusing what does not fit."""
    for name, longest in lengths.items():
        text = row.words.get(name, "")
        if fits(text, longest):
            if text:
                row.fields[name] = text
        elif len(text) > longest:
            row.refuse(name, "too_long", f"The text has {len(text)} characters; at most {longest} are kept.")
        else:
            row.refuse(name, "not_text", "The text holds a null character; remove it.")


def fits(text: str, longest: int) -> bool:
    """Whether free text can be stored as it is."""
    return len(text) <= longest and "\x00" not in text


def _shown(now: datetime, place: Place) -> str:
    # With its offset: what was sent may be in UTC or another zone, and would seem to lie in the past.
    return now.astimezone(place.zone).isoformat(sep=" ", timespec="minutes")
