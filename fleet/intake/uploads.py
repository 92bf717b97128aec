"""A log file of any length as a job: taken in pieces, read in blocks of rows, each block stored as a whole.

The file waits in the database, so that any worker can read it. A worker that dies loses the block it was at; the next
one goes on behind the last that was stored. Whoever stops the job keeps what was stored.
"""

import hashlib
from collections.abc import Callable, Iterable, Iterator, Mapping
from datetime import datetime
from functools import partial
from itertools import islice
from typing import Any, Final

from django.core.files.uploadedfile import UploadedFile
from django.db import transaction
from django.db.models import Min

from accounts.errors import InvalidInput
from accounts.jobs import claims
from accounts.jobs.models import Job
from accounts.models import Company, Membership
from fleet.intake import words
from fleet.intake.columns import Column, read_columns
from fleet.intake.feed_water_log import LOG as FEED_WATER
from fleet.intake.logs import CORRECTS, Log, TableOutcome
from fleet.intake.readings_log import LOG as READINGS
from fleet.intake.storing import count_rows, note_batch
from fleet.intake.tables import MOST_BYTES_IN_PIECES, Pieces, TextShape, read_pieces, read_shape
from fleet.models import FeedWaterSample, IntakeBatch, Reading, UploadPiece
from fleet.services.consequences import Kind, announce, held_back
from fleet.services.units.sites import units_at

JOB_KIND: Final = "upload"

MOST_REFUSED: Final = 10_000
"""After so many refused rows a file is given up: it is the wrong file, or one fault runs through all of it."""

_ROWS_OF_A_BLOCK: Final = 5_000
_BYTES_OF_A_PIECE: Final = 1_000_000
_TableRow = tuple[int, tuple[str, ...]]
_LOG_OF: Final[Mapping[str, Log]] = {log.kind.value: log for log in (READINGS, FEED_WATER)}


def start_upload(*, log: Log, company: Company, by: Membership, file: UploadedFile, now: datetime) -> Job:
    """Take a log file in, and start the job that reads it.

    Its form is looked at from end to end before anything is stored; its rows are judged by the job.

    Parameters
    ----------
    log
        Which kind of log it is.
    company, by
        Whose units, and who sends the file; a unit that `by` may not see does not exist.
    file
        CSV separated by commas, semicolons or tabs, with the unit in each header, such as `inlet pressure [psi]`.
    now
        The clock: rows later than this are refused.

    Returns
    -------
    Job
        Its result holds the counts, and the id of the batch that lists every refused row with its reasons.

    Raises
    ------
    InvalidInput
        When the file as a whole cannot be read; then nothing is stored.
    """
    if (file.size or 0) > MOST_BYTES_IN_PIECES:
        raise InvalidInput(
            "file_too_large", f"The file has {file.size} bytes; at most {MOST_BYTES_IN_PIECES} are taken: split it."
        )
    shape = read_shape(lambda: _from_start(file))
    read_columns(shape, log.vocabulary)
    with transaction.atomic():
        # What a job left that was given up, because its workers died, nobody reads any more.
        UploadPiece.objects.filter(batch__company=company, batch__job__finished_at__isnull=False).delete()
        batch = IntakeBatch.objects.create(
            company=company,
            kind=log.kind,
            name=(file.name or "")[:200].replace("\x00", ""),
            received_at=now,
            received_by=by,
        )
        batch.digest = _store_in_pieces(file, batch)
        batch.job = job = claims.start_job(
            company=company, by=by, kind=JOB_KIND, parameters={"batch": batch.pk}, now=now, alone=False
        )
        batch.save(update_fields=["digest", "job"])
    return job


def _from_start(file: UploadedFile) -> Iterator[bytes]:
    file.seek(0)
    while piece := file.read(_BYTES_OF_A_PIECE):
        yield piece


def _store_in_pieces(file: UploadedFile, batch: IntakeBatch) -> str:
    """Store the pieces of a file; the digest of the whole."""
    digest = hashlib.sha256()
    for index, piece in enumerate(_from_start(file)):
        digest.update(piece)
        UploadPiece.objects.create(batch=batch, index=index, content=piece)
    return digest.hexdigest()


def upload_chunk(work: claims.ChunkRun) -> dict[str, Any]:
    """Read an uploaded file from where it was left, block by block.

    Raises
    ------
    InvalidInput
        When so many rows are refused that the rest is not read.
    WorkStoppedError
        When the job was stopped, or went to another worker.
    """
    batch = IntakeBatch.objects.select_related("received_by").get(pk=work.parameters["batch"])
    if not batch.pieces.exists():
        # It was read already, by a worker that could not say so any more; or a client's data was erased from it.
        return _result(batch)
    try:
        if work.by is None:
            raise InvalidInput("sender_is_gone", words.sender_is_gone())
        _read(batch, work)
    except claims.WorkStoppedError:
        # Where another worker has it now, that one ends it.
        if work.should_stop():
            _end(batch, now=work.now)
        raise
    except InvalidInput:
        _end(batch, now=work.now)
        raise
    _end(batch, now=work.now)
    return _result(batch)


def _result(batch: IntakeBatch) -> dict[str, Any]:
    return {"batch": batch.pk, **{n: getattr(batch, n) for n in ("rows", "stored", "flagged", "duplicates", "refused")}}


def _read(batch: IntakeBatch, work: claims.ChunkRun) -> None:
    log = _LOG_OF[batch.kind]
    pieces = _pieces_of(batch)
    shape = read_shape(pieces)
    columns = read_columns(shape, log.vocabulary)
    rows = read_pieces(pieces, shape)
    corrects = _corrects(shape, columns)
    passed = batch.rows_passed
    corrections = list(filter(corrects, islice(rows, passed)))
    while passed < shape.rows:
        block = list(islice(rows, _ROWS_OF_A_BLOCK))
        passed += len(block)
        corrections += filter(corrects, block)
        table = shape.table(row for row in block if not corrects(row))
        _store(batch, partial(log.take_table, table, columns), work, passed=passed)
        _hold_to_refusals(batch, passed, shape.rows)
        work.progress(passed / (shape.rows + 1), words.reading_rows(passed, shape.rows))
    if corrections and batch.rows_passed == shape.rows:
        last = shape.table(corrections)
        _store(batch, partial(log.take_row_by_row, last, columns), work, passed=shape.rows + 1)
        _hold_to_refusals(batch, passed, shape.rows)


def _corrects(shape: TextShape, columns: Iterable[Column]) -> Callable[[_TableRow], bool]:
    """Tells which rows correct another, as `is_correction` does once their cells are read."""
    table = shape.table(())
    place = next((column.index for column in columns if column.name == CORRECTS), len(shape.headers))
    return lambda row: bool("".join(row[1][place : place + 1])) and not table.is_too_wide(row[1])


def _pieces_of(batch: IntakeBatch) -> Pieces:
    def pieces() -> Iterator[bytes]:
        for index in range(batch.pieces.count()):
            piece = batch.pieces.filter(index=index).values_list("content", flat=True).first()
            if piece is None:
                # Another worker has read it to the end, or a client's data was erased from it.
                raise claims.WorkStoppedError
            yield bytes(piece)

    return pieces


def _store(batch: IntakeBatch, take: Callable[..., TableOutcome], work: claims.ChunkRun, *, passed: int) -> None:
    """Store a block, and how far the file is read, in one transaction; what follows comes when all of it is read.

    Raises
    ------
    WorkStoppedError
        When another worker, who took this one for lost, has stored the block.
    """
    with transaction.atomic(), held_back():
        stored = IntakeBatch.objects.select_for_update(no_key=True).get(pk=batch.pk)
        if stored.rows_passed != batch.rows_passed:
            raise claims.WorkStoppedError
        outcome = take(company=work.company, by=work.by, now=work.now, batch=batch)
        count_rows(batch, **vars(outcome))
        batch.rows_passed = passed
        batch.save(update_fields=["rows_passed"])


def _hold_to_refusals(batch: IntakeBatch, passed: int, rows: int) -> None:
    if batch.refused > MOST_REFUSED:
        raise InvalidInput("too_many_refused", words.too_many_refused(batch.refused, min(passed, rows), rows))


def _end(batch: IntakeBatch, *, now: datetime) -> None:
    """Let what was stored be followed, note the batch in the trail, and let the file go."""
    with transaction.atomic():
        if batch.kind == IntakeBatch.Kind.READINGS:
            readings = Reading.objects.filter(batch=batch)
            units = set(readings.order_by().values_list("unit_id", flat=True).distinct())
            since = readings.aggregate(first=Min("taken_at"))["first"]
            announce(batch.company_id, units=units, kind=Kind.READINGS, now=now, since=since)
        else:
            sites = FeedWaterSample.objects.filter(batch=batch).order_by().values_list("site_id", flat=True)
            units = set(units_at(set(sites)))
            announce(batch.company_id, units=units, kind=Kind.WATER, now=now)
        note_batch(batch)
        batch.pieces.all().delete()
