"""Rows of readings, from a log or a payload: judged one by one, then stored together."""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from functools import partial
from typing import Any, Final

from accounts.models import Company, Membership
from fleet.engineering.quantities import READING_QUANTITIES, RUNNING_TIME, names_of
from fleet.intake import references, words
from fleet.intake.conversion import convert_rows, meter_for
from fleet.intake.directory import Directory, Meter, unit_directory
from fleet.intake.history import flag_against_history
from fleet.intake.names import by_public_name
from fleet.intake.observations import FIELD as OBSERVATIONS
from fleet.intake.reading_columns import TELLING_WORDS
from fleet.intake.reading_fields import hold_to_source, named_meter, place_of, place_rows
from fleet.intake.reading_rules import check_reading
from fleet.intake.rows import Row
from fleet.intake.storing import Progress, tell
from fleet.models import IntakeBatch, Reading, Unit
from fleet.services.consequences import Kind, announce

QUANTITIES: Final = names_of((*READING_QUANTITIES, RUNNING_TIME))
"""Stored columns that come with a unit (the minutes may come without)."""

COLUMNS: Final[Mapping[str, str]] = by_public_name(QUANTITIES)
"""Public name -> stored column of every quantity of a reading."""

WORDS: Final = (
    "unit",
    "taken_at",
    "reference",
    "source",
    "person",
    "note",
    "instrument",
    *TELLING_WORDS,
    "corrects",
)
"""Every other field of a row."""

_SENT_WORDS: Final = (*TELLING_WORDS, "source", "person", "note", "instrument__name")
_DEFAULTS: Final[Mapping[str, Any]] = {
    "occasion": Reading.Occasion.ROUTINE.value,
    "source": None,
    OBSERVATIONS: {},
}
"""The server knows who sends, so a source that is left out agrees with any."""


@dataclass
class ReadingOutcome:
    """What became of some rows: the readings that were stored, in the order of the rows, and how many were known."""

    stored: list[Reading]
    duplicates: int
    duplicate_ids: dict[int, int]
    """Place of a duplicate among the rows -> id of the reading that was stored before; absent when both came now."""

    @property
    def flagged(self) -> int:
        """How many of the stored readings look doubtful."""
        return sum(1 for reading in self.stored if reading.flags)


def take_rows(
    rows: Sequence[Row],
    *,
    company: Company,
    by: Membership | None,
    source: str,
    now: datetime,
    taken_at_default: datetime | None = None,
    batch: IntakeBatch | None = None,
    progress: Progress | None = None,
) -> ReadingOutcome:
    """Judge rows and store those that can be true; the faults of the others stand in the rows.

    Needs a transaction. Units are locked in the order of their ids, so that two senders of the same file cannot both
    store it. What follows for the units is announced.
    """
    directory = directory_of(rows, company, by)
    tell(progress, 0.1, words.finding_units())
    meters = judge(rows, directory, by=by, source=source, now=now, taken_at_default=taken_at_default, progress=progress)
    sound = [row for row in rows if not row.faults]
    lock_units({row.owner_id for row in sound})
    tell(progress, 0.4, words.looking_for_known())
    references.name_rows(sound, TELLING_WORDS)
    settled = settle([row for row in sound if not row.faults])
    tell(progress, 0.5, words.comparing())
    flag_against_history(settled.fresh)
    tell(progress, 0.6, words.storing())
    stored = references.insert(
        settled,
        lambda row, corrects_id: make_reading(
            row, meters.get(id(row)), corrects_id, by=by, source=source, now=now, batch=batch
        ),
    )
    if stored:
        changed = {reading.unit_id for reading in stored}
        since = min(reading.taken_at for reading in stored)
        announce(company.pk, units=changed, kind=Kind.READINGS, now=now, since=since)
    tell(progress, 1.0, words.done())
    return ReadingOutcome(stored, settled.duplicates, references.duplicate_ids(rows, settled))


def directory_of(rows: Sequence[Row], company: Company, by: Membership | None) -> Directory:
    """The units and instruments that rows name."""
    units = {row.words.get("unit", "") for row in rows}
    return unit_directory(company, by, units, {row.words.get("instrument", "") for row in rows})


def judge(
    rows: Sequence[Row],
    directory: Directory,
    *,
    by: Membership | None,
    source: str,
    now: datetime,
    taken_at_default: datetime | None = None,
    progress: Progress | None = None,
) -> dict[int, Meter]:
    """Read what each row says by itself, and refuse or flag what cannot be or hardly can; parameters as of `take_rows`.

    Returns
    -------
    dict
        The instrument that a row names, by the row's `id`.
    """
    place_rows(rows, directory, now=now, taken_at_default=taken_at_default)
    hold_to_source(rows, by, source)
    meters = _named_meters(rows, directory)
    tell(progress, 0.2, words.converting_units())
    convert_rows(rows, QUANTITIES, partial(_meter_of, directory, meters))
    for row in rows:
        place = place_of(row, directory)
        if place is not None:
            check_reading(row, place, Reading.QUANTITIES)
    return meters


def lock_units(unit_ids: Iterable[int]) -> None:
    """Let nobody else store readings of some units until the transaction ends."""
    units = Unit.objects.filter(pk__in=sorted(unit_ids)).order_by("pk")
    list(units.select_for_update(no_key=True).values_list("pk", flat=True))


def settle(named: Sequence[Row]) -> references.Settled:
    """Sort rows with a reference that nothing is wrong with into fresh ones, duplicates and conflicts."""
    stored = references.stored_rows(Reading, "unit", named, _SENT_WORDS)
    return references.settle(named, stored, _DEFAULTS, "a reading")


def _named_meters(rows: Sequence[Row], directory: Directory) -> dict[int, Meter]:
    meter_of: dict[int, Meter] = {}
    for row in rows:
        meter = named_meter(row, directory)
        if meter is not None:
            meter_of[id(row)] = meter
            row.fields["instrument"] = meter.name
    return meter_of


def _meter_of(directory: Directory, meters: Mapping[int, Meter], row: Row, column: str) -> Meter | None:
    place = place_of(row, directory)
    return meter_for(place, meters.get(id(row)), column) if place is not None else None


def make_reading(
    row: Row,
    meter: Meter | None,
    corrects_id: int | None,
    *,
    by: Membership | None,
    source: str,
    now: datetime,
    batch: IntakeBatch | None,
) -> Reading:
    """The unsaved reading of a row."""
    fields: dict[str, Any] = {**row.numbers, **row.fields}
    fields["reference"] = row.reference
    fields.pop("instrument", None)  # kept by its id
    fields.setdefault("source", source)
    assert row.taken_at is not None
    return Reading(
        unit_id=row.owner_id,
        taken_at=row.taken_at,
        recorded_by=by,
        instrument_id=meter.pk if meter else None,
        as_sent=row.as_sent(),
        flags=[flag.as_json() for flag in row.flags],
        corrects_id=corrects_id,
        received_at=now,
        batch=batch,
        line=row.line if batch is not None else None,
        **fields,
    )
