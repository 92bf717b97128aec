"""Readings and feed water samples as JSON: the same rules as for files, with the unit beside each value."""

import json
import re
from collections.abc import Mapping, Sequence
from datetime import datetime
from typing import Any, Final

from django.db import transaction

from accounts.errors import Conflict, Fault, InvalidInput, escape_pointer
from accounts.models import Company, Membership
from accounts.repeats import CONFLICT
from fleet.engineering.units import QUANTITY_KINDS, accepted_forms
from fleet.intake import feed_water, observations, readings
from fleet.intake.references import is_named_by_values
from fleet.intake.rows import Row, Sent
from fleet.intake.storing import Progress, close_batch, note_post, open_batch
from fleet.models import FeedWaterSample, IntakeBatch, Reading

MOST_ROWS: Final = 10_000
"""More rows than this are refused in one payload; send them as a file, or in parts."""

_NUMBER_AND_UNIT: Final = re.compile(
    r"\s*([+\-−]?(?:\d+(?:\.\d*)?|\.\d+)(?:[eE][+-]?\d{1,3})?)\s*([^\d\s.,].*)?", re.DOTALL
)
_IDENTITY: Final = ("unit", "site", "corrects")


def take_reading(
    *, company: Company, by: Membership | None, row: Any, source: str, now: datetime
) -> tuple[Reading, bool]:
    """Store one reading, or find the one that was stored under the same reference.

    Returns
    -------
    reading, is_new
        The stored row, and whether it came to be by this call.

    Raises
    ------
    InvalidInput
        With one fault for each field that cannot be used.
    Conflict
        When the reference stands for a reading with other content, with one fault for each field that differs.
    """
    payload = payload_row(row, 1, readings.COLUMNS, readings.WORDS)
    with transaction.atomic():
        outcome = readings.take_rows([payload], company=company, by=by, source=source, now=now, taken_at_default=now)
        refuse_faulty(payload, "The reading cannot be stored.")
        if outcome.stored:
            note_post(outcome.stored[0], by=by, now=now)
            return outcome.stored[0], True
        return Reading.objects.get(pk=outcome.duplicate_ids[0]), False


def take_readings(
    *,
    company: Company,
    by: Membership | None,
    rows: Sequence[Any],
    source: str,
    now: datetime,
    progress: Progress | None = None,
) -> IntakeBatch:
    """Store a list of readings; rows that cannot be true are refused one by one and the others stored.

    Parameters
    ----------
    rows
        Mappings of public names: `{"unit": 7, "taken_at": "...", "inlet_pressure": "3.1 bar"}`. `unit` is an id or a
        code. A row without `taken_at` is taken now.
    source
        Who reads: a word of `Reading.Source`, for rows that do not say.

    Raises
    ------
    InvalidInput
        When the payload is no list of at most `MOST_ROWS` rows.
    """
    payloads = _payload_rows(rows, readings.COLUMNS, readings.WORDS)
    with transaction.atomic():
        batch = _open(company, by, IntakeBatch.Kind.READINGS, rows, now)
        outcome = readings.take_rows(
            payloads,
            company=company,
            by=by,
            source=source,
            now=now,
            taken_at_default=now,
            batch=batch,
            progress=progress,
        )
        return close_batch(
            batch, rows=payloads, stored=len(outcome.stored), flagged=outcome.flagged, duplicates=outcome.duplicates
        )


def take_sample(*, company: Company, by: Membership | None, row: Any, now: datetime) -> tuple[FeedWaterSample, bool]:
    """Store one feed water sample, or find the one stored under the same reference; as `take_reading`."""
    payload = payload_row(row, 1, feed_water.COLUMNS, feed_water.WORDS)
    with transaction.atomic():
        outcome = feed_water.take_rows([payload], company=company, by=by, now=now, taken_at_default=now)
        refuse_faulty(payload, "The feed water sample cannot be stored.")
        if outcome.stored:
            note_post(outcome.stored[0], by=by, now=now)
            return outcome.stored[0], True
        return FeedWaterSample.objects.get(pk=outcome.duplicate_ids[0]), False


def take_samples(*, company: Company, by: Membership | None, rows: Sequence[Any], now: datetime) -> IntakeBatch:
    """Store a list of feed water samples; as `take_readings`."""
    payloads = _payload_rows(rows, feed_water.COLUMNS, feed_water.WORDS)
    with transaction.atomic():
        batch = _open(company, by, IntakeBatch.Kind.FEED_WATER, rows, now)
        outcome = feed_water.take_rows(payloads, company=company, by=by, now=now, taken_at_default=now, batch=batch)
        return close_batch(
            batch, rows=payloads, stored=len(outcome.stored), flagged=outcome.flagged, duplicates=outcome.duplicates
        )


def payload_row(body: Any, line: int, columns: Mapping[str, str], words: Sequence[str]) -> Row:
    """Read one JSON object; every field that cannot be understood becomes a fault."""
    row = Row(line=line, raw=body if isinstance(body, dict) else {"row": body})
    if not isinstance(body, Mapping):
        row.refuse(
            "row", "not_an_object", 'Each reading is an object, such as {"unit": 7, "inlet_pressure": "3.1 bar"}.'
        )
        return row
    for name, value in body.items():
        if value is None or value == "":
            continue
        if name in columns:
            row.labels[columns[name]] = name
            _read_quantity(row, name, columns[name], value)
        elif name in words and name == observations.FIELD:
            observations.read_observations_sent(row, value)
        elif name in words:
            _read_word(row, name, value)
        else:
            row.refuse(str(name)[:80], "unknown_field", "There is no such field; leave it out or correct its name.")
    return row


def refuse_faulty(row: Row, sentence: str) -> None:
    """Raise the faults of a single row, each pointing at its field.

    Raises
    ------
    InvalidInput
        When the row has a fault.
    Conflict
        When its reference is known and stands for other content.
    """
    if row.faults:
        if all(fault.code == CONFLICT for fault in row.faults):
            known_by = (
                "The same values of the same moment are stored already"
                if is_named_by_values(row)
                else f"Its reference '{row.reference}' is already used by one"
            )
            raise Conflict(
                CONFLICT,
                f"{sentence} {known_by} with other content.",
                faults=[Fault(f"/{escape_pointer(fault.field)}", fault.sentence) for fault in row.faults],
            )
        pointers = ["" if fault.field == "row" else f"/{escape_pointer(fault.field)}" for fault in row.faults]
        raise InvalidInput(
            row.faults[0].code,
            sentence,
            faults=[Fault(pointer, fault.sentence) for pointer, fault in zip(pointers, row.faults, strict=True)],
        )


def _payload_rows(rows: Any, columns: Mapping[str, str], words: Sequence[str]) -> list[Row]:
    if not isinstance(rows, Sequence) or isinstance(rows, str | bytes):
        raise InvalidInput("not_a_list", "Send a list of rows.", pointer="")
    if not 1 <= len(rows) <= MOST_ROWS:
        raise InvalidInput("too_many_rows", f"The list has {len(rows)} rows; send 1 to {MOST_ROWS}.", pointer="")
    return [payload_row(row, place, columns, words) for place, row in enumerate(rows, start=1)]


def _open(company: Company, by: Membership | None, kind: str, rows: Any, now: datetime) -> IntakeBatch:
    content = json.dumps(rows, sort_keys=True, default=str).encode("utf-8", "replace")
    return open_batch(company=company, by=by, kind=kind, name="", content=content, now=now)


def _read_quantity(row: Row, name: str, column: str, value: Any) -> None:
    kind = QUANTITY_KINDS[column]
    unit: Any = ""
    if isinstance(value, Mapping):
        if set(value) - {"value", "unit"} or "value" not in value:
            row.refuse(column, "not_a_quantity", f"Give {accepted_forms(kind)}, or an object with 'value' and 'unit'.")
            return
        value, unit = value["value"], value.get("unit") or ""
    elif isinstance(value, str):
        match = _NUMBER_AND_UNIT.fullmatch(value)
        if match is None:
            row.refuse(
                column,
                "not_a_quantity",
                f"'{value[:60]}' is not a number with a unit (use a point for decimals); write {accepted_forms(kind)}.",
            )
            return
        value, unit = match.group(1), (match.group(2) or "").strip()
    if isinstance(value, bool) or not isinstance(value, int | float | str) or not isinstance(unit, str):
        row.refuse(column, "not_a_quantity", f"A number with a unit is needed; write {accepted_forms(kind)}.")
        return
    digits = _digits(value)
    if digits is None:
        row.refuse(column, "not_a_number", f"'{str(value)[:60]}' is not a usable number; write {accepted_forms(kind)}.")
        return
    row.sent[column] = Sent(digits, unit[:80])


def _digits(value: int | float | str) -> str | None:
    """Digits of a JSON number or text; None for what is no finite number of a sane length."""
    if isinstance(value, str):
        match = _NUMBER_AND_UNIT.fullmatch(value)
        return match.group(1).replace("−", "-") if match and not match.group(2) and len(value) <= 40 else None
    if isinstance(value, float):
        return repr(value) if value == value and abs(value) != float("inf") else None
    return str(value) if abs(value) < 10**18 else None


def _read_word(row: Row, name: str, value: Any) -> None:
    if isinstance(value, bool):
        row.words[name] = "yes" if value else "no"
    elif isinstance(value, int) and name in _IDENTITY:
        row.words[name] = f"#{value}"
    elif isinstance(value, str):
        row.words[name] = value.strip()
    else:
        row.refuse(name, "not_text", f"Text is needed here, not {type(value).__name__}.")
