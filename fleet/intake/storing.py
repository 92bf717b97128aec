"""The batch a file or payload becomes: its counts, and every refused row with its reasons."""

import hashlib
from collections.abc import Callable, Sequence
from datetime import datetime
from typing import Any

from accounts.models import Company, Membership
from accounts.services import record
from fleet.intake.rows import Row
from fleet.models import FeedWaterSample, IntakeBatch, Reading, RefusedRow

Progress = Callable[[float, str], object]


def tell(progress: Progress | None, share: float, doing: str) -> None:
    """Report progress to whoever asked for it."""
    if progress is not None:
        progress(share, doing)


def open_batch(
    *, company: Company, by: Membership | None, kind: str, name: str, content: bytes, now: datetime
) -> IntakeBatch:
    """Record that something came in; the counts follow when it has been read."""
    return IntakeBatch.objects.create(
        company=company,
        kind=kind,
        name=name[:200].replace("\x00", ""),
        digest=hashlib.sha256(content).hexdigest(),
        received_at=now,
        received_by=by,
    )


def close_batch(batch: IntakeBatch, *, rows: Sequence[Row], stored: int, flagged: int, duplicates: int) -> IntakeBatch:
    """Store the counts of a batch and the rows that were refused, and leave in the trail that it came in."""
    refused = [row for row in rows if row.faults]
    count_rows(batch, rows=len(rows), refused=refused, stored=stored, flagged=flagged, duplicates=duplicates)
    note_batch(batch)
    return batch


def count_rows(
    batch: IntakeBatch, *, rows: int, refused: Sequence[Row], stored: int, flagged: int, duplicates: int
) -> None:
    """Add some rows to the counts of a batch, and store those that were refused."""
    RefusedRow.objects.bulk_create(
        [
            RefusedRow(
                batch=batch,
                line=row.line,
                row=_clean(row.raw),
                faults=[_clean(fault.as_json()) for fault in row.faults],
            )
            for row in refused
        ]
    )
    batch.rows += rows
    batch.stored += stored
    batch.flagged += flagged
    batch.duplicates += duplicates
    batch.refused += len(refused)
    batch.save(update_fields=["rows", "stored", "flagged", "duplicates", "refused"])


def note_batch(batch: IntakeBatch) -> None:
    """Leave in the trail who sent a file or list, and what became of it."""
    if batch.received_by is not None and batch.received_by.meter_unit_id is None:
        counts = {name: getattr(batch, name) for name in ("stored", "flagged", "duplicates", "refused")}
        record(by=batch.received_by, action=f"post {batch.kind}", subject=batch, details=counts, now=batch.received_at)


def note_post(row: Reading | FeedWaterSample, *, by: Membership | None, now: datetime) -> None:
    """Leave in the trail who posted a reading or sample; a meter's readings say themselves that they are its own."""
    if by is None or by.meter_unit_id is not None:
        return
    place = row.unit.code if isinstance(row, Reading) else row.site.code
    action = "post reading" if isinstance(row, Reading) else "post feed water sample"
    record(by=by, action=action, subject=row, details={"of": place}, now=now)


def _clean(value: Any) -> Any:
    """The same value without what a database cannot keep in JSON: null characters and lone surrogates."""
    if isinstance(value, str):
        return value.replace("\x00", "").encode("utf-8", "replace").decode("utf-8")
    if isinstance(value, dict):
        return {_clean(str(key)): _clean(item) for key, item in value.items()}
    if isinstance(value, list | tuple):
        return [_clean(item) for item in value]
    if isinstance(value, float) and value != value:
        return "NaN"
    if isinstance(value, float) and value in (float("inf"), float("-inf")):
        return str(value)
    return value
