"""A sender's own names for its rows: what came before is counted once, what contradicts it is refused."""

import hashlib
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import datetime
from typing import Any, Final

from accounts.repeats import CONFLICT, Difference, difference, in_words
from fleet.intake.names import public_name
from fleet.intake.rows import Row

OWN_PREFIX: Final = "auto-"
_ID_MARK: Final = "#"
_AT_ONCE: Final = 800

Key = tuple[int, str]


@dataclass(frozen=True)
class Kept:
    """A row that is already stored, or stands earlier in the same file."""

    taken_at: datetime
    numbers: Mapping[str, float]
    as_sent: Mapping[str, Mapping[str, Any]]
    fields: Mapping[str, Any]
    corrects: "Kept | int | None" = None
    """The row it corrects: its id where that was stored before, else the row itself."""
    pk: int | None = None
    is_corrected: bool = False


@dataclass
class Settled:
    """Rows to store, in the order of the file; how many were known already; known rows by owner and reference."""

    fresh: list[Row] = field(default_factory=list)
    duplicates: int = 0
    known: dict[Key, Kept] = field(default_factory=dict)
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
        given = row.words.get("reference", "")
        if given.startswith((OWN_PREFIX, _ID_MARK)):
            row.refuse(
                "reference",
                "reserved",
                f"A reference cannot start with '{OWN_PREFIX}', which is for rows without one, or '{_ID_MARK}', which "
                "is for ids.",
            )
        row.reference = given or own_reference(row, words)


def own_reference(row: Row, words: Sequence[str]) -> str:
    """The reference of a row that came without."""
    moment = row.taken_at.isoformat() if row.taken_at else ""
    parts = [str(row.owner_id), moment]
    parts += [f"{name}={row.numbers[name]:.9g}" for name in sorted(row.numbers)]
    parts += [f"{name}={row.fields[name]}" for name in words if row.fields.get(name) is not None]
    parts.append(row.words.get("corrects", ""))
    return OWN_PREFIX + hashlib.sha256("|".join(parts).encode()).hexdigest()[:32]


def stored_rows(model: Any, owner: str, rows: Sequence[Row], words: Sequence[str]) -> dict[Key, Kept]:
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
    known: dict[Key, Kept] = {}
    columns = (f"{owner}_id", "reference", "pk", "taken_at", "as_sent", "corrects_id", "corrected_by")
    quantities = (*model.QUANTITIES, *(["minutes_since_start"] if hasattr(model, "minutes_since_start") else []))
    mine = model.objects.filter(**{f"{owner}_id__in": owners})
    batches = [mine.filter(reference__in=references[i : i + _AT_ONCE]) for i in range(0, len(references), _AT_ONCE)]
    if by_id:
        batches.append(mine.filter(pk__in=[int(text) for text in by_id if len(text) < 19]))
    for batch in batches:
        for row in batch.values(*columns, *quantities, *words):
            owner_id, reference, pk = row[f"{owner}_id"], row["reference"], row["pk"]
            kept = Kept(
                row["taken_at"],
                {name: row[name] for name in quantities if row[name] is not None},
                row["as_sent"] or {},
                {name.split("__")[0]: row[name] for name in words},
                row["corrects_id"],
                pk,
                row["corrected_by"] is not None,
            )
            known[owner_id, f"#{pk}"] = kept
            if reference:
                known[owner_id, reference] = kept
    return known


def settle(rows: Sequence[Row], known: dict[Key, Kept], defaults: Mapping[str, Any], what: str) -> Settled:
    """Sort rows into fresh ones, duplicates and conflicts (which become faults).

    A row whose reference is known and whose content is the same is a duplicate; with other content it is refused, since
    a reading is never overwritten. A correction must name a row of the same unit that nothing has corrected yet.

    Parameters
    ----------
    defaults
        What stands in a field beside the quantities that was left out, where that is not nothing; None: what the server
        knows better, which agrees with anything.
    what
        What the rows are, such as 'a reading', for the sentences.
    """
    settled = Settled(known=known)
    corrected: set[int] = set()
    for row in rows:
        key = (row.owner_id, row.reference)
        before = known.get(key)
        if before is not None:
            different = _differences(row, before, known, defaults)
            for one in different:
                row.refuse(
                    one.field,
                    CONFLICT,
                    f"{one.sentence(row.reference, what)}; a correction needs a reference of its own and names the old "
                    "one in 'corrects'.",
                )
            if not different:
                settled.duplicates += 1
                settled.duplicate_of[id(row)] = key
            continue
        if row.words.get("corrects") and not _may_correct(row, known, corrected):
            continue
        assert row.taken_at is not None
        target = known.get((row.owner_id, row.words.get("corrects", "")))
        known[key] = Kept(row.taken_at, row.numbers, row.as_sent(), {**defaults, **row.fields}, _identity(target))
        settled.fresh.append(row)
    return settled


def _may_correct(row: Row, known: Mapping[Key, Kept], corrected: set[int]) -> bool:
    name = row.words["corrects"]
    target = known.get((row.owner_id, name))
    if target is None:
        row.refuse("corrects", "unknown_reading", f"There is no reading '{name[:80]}' of this unit to correct.")
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


def _differences(row: Row, before: Kept, known: Mapping[Key, Kept], defaults: Mapping[str, Any]) -> list[Difference]:
    """What an earlier row of the same reference says otherwise; nothing when the two are the same."""
    found = []
    if row.words.get("taken_at") or row.words.get("date"):
        assert row.taken_at is not None
        if abs((row.taken_at - before.taken_at).total_seconds()) >= 1:
            found += difference("taken_at", before.taken_at, row.taken_at)
    for name in sorted(set(row.numbers) | set(before.numbers)):
        mine, other = row.numbers.get(name), before.numbers.get(name)
        if mine is not None and other is not None and abs(mine - other) <= 1e-6 * max(1.0, abs(mine), abs(other)):
            continue
        sent, was = row.sent.get(name), before.as_sent.get(public_name(name))
        # The same digits in the same unit are the same reading, even if the meter's factor was put right since.
        if sent is None or was is None or (sent.digits, sent.unit) != (was.get("value"), was.get("unit")):
            stored = f"{was.get('value')} {was.get('unit')}".strip() if was else in_words(other)
            label = row.labels.get(name, public_name(name))
            found.append(Difference(label, stored if other is not None else "", str(sent) if sent else ""))
    if row.reference.startswith(OWN_PREFIX):
        # Named by its values: the same look at the gauges, however it is told.
        return found
    for name in sorted({*before.fields, *row.fields} - {"reference"}):
        said = row.fields.get(name, defaults.get(name, ""))
        if said is not None:
            found += difference(name, before.fields.get(name, defaults.get(name)), said)
    name = row.words.get("corrects", "")
    target = known.get((row.owner_id, name))
    if (_identity(target) if name else None) != before.corrects:
        was_corrected = "a row of the same file" if isinstance(before.corrects, Kept) else in_words(before.corrects)
        found.append(Difference("corrects", was_corrected, in_words(name)))
    return found


def _identity(kept: Kept | None) -> Kept | int | None:
    return kept.pk if kept is not None and kept.pk is not None else kept


def insert(settled: Settled, model: Any, make: Callable[[Row, int | None], Any]) -> list[Any]:
    """Insert the fresh rows: first those that correct nothing, then corrections as their targets come to exist.

    Parameters
    ----------
    make
        Makes the unsaved object of a row, given the id of the row it corrects.
    """
    keys = {key: kept.pk for key, kept in settled.known.items() if kept.pk is not None}
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
        model.objects.bulk_create([made for _, made in ready])
        for row, made in ready:
            keys[row.owner_id, row.reference] = made.pk
            stored.append(made)
        waiting = later
    return stored


def known_places(rows: Sequence[Row], settled: Settled) -> dict[int, int]:
    """Place of a duplicate among the rows -> id of the row that was stored before."""
    places = {id(row): place for place, row in enumerate(rows)}
    found = {places[row]: settled.known[key].pk for row, key in settled.duplicate_of.items()}
    return {place: pk for place, pk in found.items() if pk is not None}
