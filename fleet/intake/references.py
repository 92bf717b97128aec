"""A sender's own names for its rows: what came before is counted once, what contradicts it is refused."""

import hashlib
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import datetime
from typing import Any, Final

from django.db import connection

from accounts.day_alone import DayAlone, known_day
from accounts.many_rows import insert_rows
from accounts.repeats import CONFLICT, Difference, difference, in_words
from accounts.rows_of_each import asked, rows_of_each
from fleet.intake.names import public_name
from fleet.intake.rows import Row

OWN_PREFIX: Final = "auto-"
_ID_MARK: Final = "#"
_AT_ONCE: Final = 800
_OF_STORED: Final = ("as_sent", "corrects_id", "corrected_by", "voided_at")

Key = tuple[int, str]


@dataclass(frozen=True)
class StoredRow:
    """A row that is already stored, or stands earlier in the same file."""

    taken_at: datetime
    numbers: Mapping[str, float]
    as_sent: Mapping[str, Mapping[str, Any]]
    fields: Mapping[str, Any]
    corrects: "StoredRow | int | None" = None
    """The row it corrects: its id where that was stored before, else the row itself."""
    pk: int | None = None
    is_corrected: bool = False
    is_voided: bool = False


@dataclass
class Settled:
    """Rows to store, in the order of the file; how many were known already; known rows by owner and reference."""

    fresh: list[Row] = field(default_factory=list)
    duplicates: int = 0
    stored_by_key: dict[Key, StoredRow] = field(default_factory=dict)
    duplicate_of: dict[int, Key] = field(default_factory=dict)


def name_rows(rows: Sequence[Row], words: Sequence[str]) -> None:
    """Give every row without a reference one that depends on nothing but its unit, moment, values and state, so that
    the same row sent again is known.

    Parameters
    ----------
    words
        Fields beside the quantities that tell one row from another.
    """
    for row in rows:
        reference = row.words.get("reference", "")
        if is_reserved(reference):
            row.refuse(
                "reference",
                "reserved",
                f"A reference cannot start with '{OWN_PREFIX}', which is for rows without one, or '{_ID_MARK}', which "
                "is for ids.",
            )
        row.reference = reference or own_reference(row, words)


def is_reserved(reference: str) -> bool:
    """Whether a reference looks like one that is made here, or like an id."""
    return reference.startswith((OWN_PREFIX, _ID_MARK))


def own_reference(row: Row, words: Sequence[str]) -> str:
    """The reference of a row that came without."""
    numbers = [number_part(name, row.numbers[name]) for name in sorted(row.numbers)]
    telling = telling_parts(row.fields, words)
    return reference_of(row.owner_id, row.named_at or row.taken_at, numbers, telling, row.words.get("corrects", ""))


def number_part(name: str, value: float) -> str:
    """What a quantity adds to the reference of a row that came without."""
    return f"{name}={value:.9g}"


def telling_parts(fields: Mapping[str, Any], words: Sequence[str]) -> list[str]:
    """What the fields beside the quantities add to it."""
    return [f"{name}={fields[name]}" for name in words if fields.get(name) is not None]


def reference_of(
    owner_id: int, named_at: datetime | None, numbers: Sequence[str], telling: Sequence[str], corrects: str = ""
) -> str:
    """The reference of a row that came without, of its parts; those of numbers in the order of their names."""
    parts = [str(owner_id), named_at.isoformat() if named_at else "", *numbers, *telling, corrects]
    return OWN_PREFIX + hashlib.sha256("|".join(parts).encode()).hexdigest()[:32]


def stored_keys(model: Any, owner: str, keys: Sequence[Key]) -> set[Key]:
    """Which of some owners and references, none of which is empty, are stored."""
    if connection.vendor == "postgresql":
        return _stored_pairs(model, owner, keys)
    found: set[Key] = set()
    for begin in range(0, len(keys), _AT_ONCE):
        some = keys[begin : begin + _AT_ONCE]
        of_them = {f"{owner}_id__in": {key[0] for key in some}, "reference__in": {key[1] for key in some}}
        found.update(model.objects.filter(**of_them).order_by().values_list(f"{owner}_id", "reference"))
    return found


def _stored_pairs(model: Any, owner: str, keys: Sequence[Key]) -> set[Key]:
    """The same by a look into the index for each pair, where two lists have it try each owner with each name."""
    pair = {f"{owner}_id": asked("owner"), "reference": asked("reference")}
    of_one = model.objects.filter(**pair).exclude(reference="").order_by().values_list(f"{owner}_id", "reference")
    owners, names = [key[0] for key in keys], [key[1] for key in keys]
    return {
        (pk, name) for pk, name in rows_of_each(of_one, {"owner": ("bigint", owners), "reference": ("text", names)})
    }


def stored_rows(model: Any, owner: str, rows: Sequence[Row], words: Sequence[str]) -> dict[Key, StoredRow]:
    """Stored rows with the references of these, and the rows they correct.

    Parameters
    ----------
    model
        `Reading` or `FeedWaterSample`.
    owner
        Name of its foreign key: 'unit' or 'site'.
    words
        Look-ups of the fields beside the quantities that a sender fills in.
    """
    owners = {row.owner_id for row in rows}
    references = sorted({row.reference for row in rows} | {row.words.get("corrects", "") for row in rows} - {""})
    by_id = [reference[1:] for reference in references if reference.startswith("#") and reference[1:].isdecimal()]
    stored_by_key: dict[Key, StoredRow] = {}
    columns = (f"{owner}_id", "reference", "pk", "taken_at", "taken_on", *_OF_STORED)
    quantities = (*model.QUANTITIES, *(["minutes_since_start"] if hasattr(model, "minutes_since_start") else []))
    own_rows = model.objects.filter(**{f"{owner}_id__in": owners})
    batches = [own_rows.filter(reference__in=references[i : i + _AT_ONCE]) for i in range(0, len(references), _AT_ONCE)]
    if by_id:
        batches.append(own_rows.filter(pk__in=[int(text) for text in by_id if len(text) < 19]))
    for batch in batches:
        for row in batch.values(*columns, *quantities, *words):
            owner_id, reference, pk = row[f"{owner}_id"], row["reference"], row["pk"]
            stored = StoredRow(
                row["taken_at"] if row["taken_on"] is None else DayAlone.of(row["taken_on"], row["taken_at"]),
                {name: row[name] for name in quantities if row[name] is not None},
                row["as_sent"] or {},
                {name.split("__")[0]: row[name] for name in words},
                row["corrects_id"],
                pk,
                row["corrected_by"] is not None,
                row["voided_at"] is not None,
            )
            stored_by_key[owner_id, f"#{pk}"] = stored
            if reference:
                stored_by_key[owner_id, reference] = stored
    return stored_by_key


def settle(
    rows: Sequence[Row], stored_by_key: dict[Key, StoredRow], defaults: Mapping[str, Any], owner_words: str
) -> Settled:
    """Sort rows into fresh ones, duplicates and conflicts (which become faults).

    A row whose reference is known and whose content is the same is a duplicate; with other content it is refused, since
    a reading is never overwritten. One without a reference is known by its values, however little else it tells; where
    it tells more or otherwise it is refused too. A correction must name a row of the same unit that nothing has
    corrected yet.

    Parameters
    ----------
    defaults
        What stands in a field beside the quantities that was left out, where that is not nothing; None: what the server
        knows better, which agrees with anything.
    owner_words
        What the rows are, such as 'a reading', for the sentences.
    """
    settled = Settled(stored_by_key=stored_by_key)
    corrected: set[int] = set()
    for row in rows:
        key = (row.owner_id, row.reference)
        before = stored_by_key.get(key)
        if before is not None and before.is_voided:
            row.refuse(
                "reference",
                "taken_back",
                f"'{row.reference[:80]}' was stored and taken back since; what is right needs a reference of its own.",
            )
            continue
        if before is not None:
            different = _differences(row, before, stored_by_key, defaults)
            for one in different:
                row.refuse(one.field, CONFLICT, _sentence(one, row, before, owner_words))
            if not different:
                settled.duplicates += 1
                settled.duplicate_of[id(row)] = key
            continue
        if row.words.get("corrects") and not _may_correct(row, stored_by_key, corrected):
            continue
        assert row.taken_at is not None
        target = stored_by_key.get((row.owner_id, row.words.get("corrects", "")))
        stored_by_key[key] = StoredRow(
            row.taken_at, row.numbers, row.as_sent(), {**defaults, **row.fields}, _identity(target)
        )
        settled.fresh.append(row)
    return settled


def _may_correct(row: Row, stored_by_key: Mapping[Key, StoredRow], corrected: set[int]) -> bool:
    name = row.words["corrects"]
    target = stored_by_key.get((row.owner_id, name))
    if target is None:
        row.refuse("corrects", "unknown_reading", f"There is no reading '{name[:80]}' of this unit to correct.")
        return False
    if target.is_voided:
        row.refuse("corrects", "taken_back", f"'{name[:80]}' was taken back; send this one without 'corrects'.")
        return False
    if target.is_corrected or id(target) in corrected:
        row.refuse(
            "corrects", "already_corrected", f"'{name[:80]}' is already corrected; name the row that corrected it."
        )
        return False
    corrected.add(id(target))
    if not any(row.words.get(name) for name in ("taken_at", "date", "time")):
        # The same look at the gauges, told anew: without a time of its own it was not taken when it is sent.
        row.taken_at = target.taken_at
    return True


def _differences(
    row: Row, before: StoredRow, stored_by_key: Mapping[Key, StoredRow], defaults: Mapping[str, Any]
) -> list[Difference]:
    """What an earlier row of the same reference says otherwise; nothing when the two are the same."""
    differences = []
    if row.words.get("taken_at") or row.words.get("date"):
        assert row.taken_at is not None
        is_same_day = known_day(row.taken_at) is not None and known_day(row.taken_at) == known_day(before.taken_at)
        if not is_same_day and abs((row.taken_at - before.taken_at).total_seconds()) >= 1:
            differences += difference("taken_at", before.taken_at, row.taken_at)
    for name in sorted(set(row.numbers) | set(before.numbers)):
        sent_number, stored_number = row.numbers.get(name), before.numbers.get(name)
        if (
            sent_number is not None
            and stored_number is not None
            and abs(sent_number - stored_number) <= 1e-6 * max(1.0, abs(sent_number), abs(stored_number))
        ):
            continue
        sent_quantity, stored_as_sent = row.sent.get(name), before.as_sent.get(public_name(name))
        # The same digits in the same unit are the same reading, even if the meter's factor was put right since.
        if (
            sent_quantity is None
            or stored_as_sent is None
            or (sent_quantity.digits, sent_quantity.unit) != (stored_as_sent.get("value"), stored_as_sent.get("unit"))
        ):
            stored = (
                f"{stored_as_sent.get('value')} {stored_as_sent.get('unit')}".strip()
                if stored_as_sent
                else in_words(stored_number)
            )
            label = row.labels.get(name, public_name(name))
            differences.append(
                Difference(
                    label, stored if stored_number is not None else "", str(sent_quantity) if sent_quantity else ""
                )
            )
    # Named by its values, it is the same look at the gauges told anew: what is left out there is not taken back.
    compared = set(row.fields) if is_named_by_values(row) else {*before.fields, *row.fields}
    for name in sorted(compared - {"reference"}):
        sent_word = row.fields.get(name, defaults.get(name, ""))
        if sent_word is not None:
            differences += difference(name, before.fields.get(name, defaults.get(name)), sent_word)
    if is_named_by_values(row):
        return differences
    name = row.words.get("corrects", "")
    target = stored_by_key.get((row.owner_id, name))
    if (_identity(target) if name else None) != before.corrects:
        was_corrected = (
            "a row of the same file" if isinstance(before.corrects, StoredRow) else in_words(before.corrects)
        )
        differences.append(Difference("corrects", was_corrected, in_words(name)))
    return differences


def is_named_by_values(row: Row) -> bool:
    """Whether a row came without a reference."""
    return row.reference.startswith(OWN_PREFIX)


def _sentence(one: Difference, row: Row, before: StoredRow, owner_words: str) -> str:
    """One difference with both values, and how to put right what is stored."""
    if not is_named_by_values(row):
        return (
            f"{one.sentence(row.reference, owner_words)}; a correction needs a reference of its own and names the old "
            "one in 'corrects'."
        )
    where = f"as {before.pk}" if before.pk is not None else "by an earlier row"
    named = f" and names {before.pk} in 'corrects'" if before.pk is not None else ""
    return (
        f"{one.sentence_of(f'The same values of the same moment are stored {where},')}; a correction needs a "
        f"reference of its own{named}."
    )


def _identity(stored: StoredRow | None) -> StoredRow | int | None:
    return stored.pk if stored is not None and stored.pk is not None else stored


def insert(settled: Settled, make: Callable[[Row, int | None], Any]) -> list[Any]:
    """Insert the fresh rows: first those that correct nothing, then corrections as their targets come to exist.

    Parameters
    ----------
    make
        Makes the unsaved object of a row, given the id of the row it corrects.
    """
    keys = {key: stored_row.pk for key, stored_row in settled.stored_by_key.items() if stored_row.pk is not None}
    stored: list[Any] = []
    waiting = settled.fresh
    while waiting:
        ready: list[tuple[Row, Any]] = []
        later: list[Row] = []
        for row in waiting:
            target = row.words.get("corrects", "")
            if target and (row.owner_id, target) not in keys:
                later.append(row)
            else:
                ready.append((row, make(row, keys[row.owner_id, target] if target else None)))
        if not ready:
            # Cannot be: a row may only correct one that stands before it.
            raise RuntimeError("rows correct each other in a circle")
        insert_rows([instance for _, instance in ready])
        for row, instance in ready:
            keys[row.owner_id, row.reference] = instance.pk
            stored.append(instance)
        waiting = later
    return stored


def duplicate_ids(rows: Sequence[Row], settled: Settled) -> dict[int, int]:
    """Place of a duplicate among the rows -> id of the row that was stored before."""
    places = {id(row): place for place, row in enumerate(rows)}
    row_ids = {places[row]: settled.stored_by_key[key].pk for row, key in settled.duplicate_of.items()}
    return {place: pk for place, pk in row_ids.items() if pk is not None}
