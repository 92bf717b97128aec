"""Rows of readings, from a log or a payload: judged one by one, then stored together."""

from collections.abc import Mapping, Sequence
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
from fleet.intake.reading_fields import named_meter, place_of, place_rows
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
    "state",
    "tank_valve",
    "pump",
    "tank_is_full",
    "sampled_after_flush",
    "occasion",
    OBSERVATIONS,
    "corrects",
)
"""Every other field of a row."""

_TELLING_WORDS: Final = (
    "state",
    "tank_valve",
    "pump",
    "tank_is_full",
    "sampled_after_flush",
    "occasion",
    OBSERVATIONS,
)
_SENT_WORDS: Final = (*_TELLING_WORDS, "source", "person", "note", "instrument__name")
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
    directory = unit_directory(
        company,
        by,
        {row.words.get("unit", "") for row in rows},
        {row.words.get("instrument", "") for row in rows},
    )
    tell(progress, 0.1, words.finding_units())
    place_rows(rows, directory, now=now, taken_at_default=taken_at_default)
    _hold_to_source(rows, by, source)
    meters = _named_meters(rows, directory)
    tell(progress, 0.2, words.converting_units())
    convert_rows(rows, QUANTITIES, partial(_meter_of, directory, meters))
    for row in rows:
        place = place_of(row, directory)
        if place is not None:
            check_reading(row, place, Reading.QUANTITIES)
    sound = [row for row in rows if not row.faults]
    unit_ids = sorted({row.owner_id for row in sound})
    list(
        Unit.objects.filter(pk__in=unit_ids).order_by("pk").select_for_update(no_key=True).values_list("pk", flat=True)
    )
    tell(progress, 0.4, words.looking_for_known())
    references.name_rows(sound, _TELLING_WORDS)
    sound = [row for row in sound if not row.faults]
    settled = references.settle(
        sound, references.stored_rows(Reading, "unit", sound, _SENT_WORDS), _DEFAULTS, "a reading"
    )
    tell(progress, 0.5, words.comparing())
    flag_against_history(settled.fresh)
    tell(progress, 0.6, words.storing())
    stored = references.insert(
        settled,
        lambda row, corrects_id: _reading(
            row, meters.get(id(row)), corrects_id, by=by, source=source, now=now, batch=batch
        ),
    )
    if stored:
        changed = {reading.unit_id for reading in stored}
        since = min(reading.taken_at for reading in stored)
        announce(company.pk, units=changed, kind=Kind.READINGS, now=now, since=since)
    tell(progress, 1.0, words.done())
    return ReadingOutcome(stored, settled.duplicates, references.duplicate_ids(rows, settled))


def _hold_to_source(rows: Sequence[Row], by: Membership | None, source: str) -> None:
    """Clients and meters speak for themselves only; the company's people may send what others noted."""
    if by is None or (by.role != Membership.Role.CLIENT and by.meter_unit_id is None):
        return
    for row in rows:
        if row.fields.get("source", source) != source:
            row.refuse("source", "not_your_source", f"What you send is noted as from '{source}'; leave this out.")


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


def _reading(
    row: Row,
    meter: Meter | None,
    corrects_id: int | None,
    *,
    by: Membership | None,
    source: str,
    now: datetime,
    batch: IntakeBatch | None,
) -> Reading:
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
