"""A log as a job: read in blocks, gone on with where a worker left it, stopped, given up; the same rows in the end."""

import csv
import io
from collections.abc import Callable, Iterator
from datetime import UTC, date, datetime
from typing import Any

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from hypothesis import given, settings
from hypothesis import strategies as st
from rest_framework.test import APIClient

from accounts.errors import InvalidInput
from accounts.jobs.claims import WorkStoppedError
from accounts.jobs.models import Job
from accounts.models import Membership
from fleet.intake import uploads
from fleet.intake.readings_log import LOG, read_log
from fleet.intake.tables import TextTable, read_pieces, read_shape, read_table
from fleet.models import IntakeBatch, Reading, Unit, UploadPiece
from fleet.services import consequences
from tests import factories

NOW = datetime(2026, 3, 10, 12, tzinfo=UTC)
HEADER = "unit,taken at,reference,inlet pressure [psi],note,corrects\n"
COUNTS = ("rows", "stored", "flagged", "duplicates", "refused")


def log_of(days: int) -> str:
    """A correction that stands above the row it corrects, sound rows, a slip, one in the future, one sent twice."""
    rows = ["RX-7,2026-01-03 10:00,C3,61,,D3"]
    rows += [f"RX-7,2026-01-{day:02} 10:00,D{day},{6 if day == 9 else 60},," for day in range(1, days + 1)]
    rows += ["RX-7,2099-01-01 10:00,F1,60,,", "RX-7,2026-01-05 10:00,D5,60,,"]
    return HEADER + "\n".join(rows) + "\n"


@pytest.fixture
def unit(owner: Membership) -> Unit:
    site = factories.SiteFactory(company=owner.company, time_zone="Europe/Berlin")
    return factories.UnitFactory(site=site, code="RX-7", commissioned_on=date(2025, 1, 10))


class Work:
    """What a worker hands to a chunk, which it may take away again after some reports."""

    def __init__(self, job: Job, *, reports: int | None = None, asked_to_stop: bool = False) -> None:
        self.company, self.by, self.parameters = job.company, job.requested_by, job.parameters
        self.now, self.reports, self.asked_to_stop = NOW, reports, asked_to_stop
        self.told: list[tuple[float, str]] = []

    def progress(self, share: float, doing: str) -> None:
        self.told.append((share, doing))
        if self.reports is not None and len(self.told) >= self.reports:
            raise WorkStoppedError

    def should_stop(self) -> bool:
        return self.asked_to_stop


def taken(unit: Unit, owner: Membership, text: str, monkeypatch: pytest.MonkeyPatch, rows: int) -> Job:
    """The job of a log that waits to be read in blocks of some rows."""
    monkeypatch.setattr(uploads, "_ROWS_OF_A_BLOCK", rows)
    monkeypatch.setattr(uploads, "_BYTES_OF_A_PIECE", 100)
    file = SimpleUploadedFile("log.csv", text.encode())
    return uploads.start_upload(log=LOG, company=unit.company, by=owner, file=file, now=NOW)


def stored(batch: IntakeBatch) -> list[tuple[Any, ...]]:
    columns = ("reference", "taken_at", "inlet_pressure_kpa", "line", "corrects__reference", "flags")
    return list(Reading.objects.filter(batch=batch).order_by("line").values_list(*columns))


def refused(batch: IntakeBatch) -> list[tuple[Any, ...]]:
    return list(batch.refused_rows.order_by("line").values_list("line", "row", "faults"))


@pytest.mark.django_db
@pytest.mark.parametrize("rows", [1, 3, 50])
def test_in_blocks_the_same_is_stored_and_refused_as_at_once(
    unit: Unit, owner: Membership, monkeypatch: pytest.MonkeyPatch, rows: int
) -> None:
    text = log_of(12)
    at_once = read_log(company=unit.company, by=owner, name="log.csv", content=text.encode(), now=NOW)
    expected = {name: getattr(at_once, name) for name in COUNTS}, stored(at_once), refused(at_once)
    Reading.objects.filter(corrects__isnull=False).delete()
    Reading.objects.all().delete()
    job = taken(unit, owner, text, monkeypatch, rows)
    assert UploadPiece.objects.count() > 1
    work = Work(job)
    uploads.upload_chunk(work)  # type: ignore[arg-type]
    batch = IntakeBatch.objects.get(job=job)
    assert ({name: getattr(batch, name) for name in COUNTS}, stored(batch), refused(batch)) == expected
    assert expected[0]["stored"] == 13
    assert expected[0]["refused"] == 1
    assert expected[0]["duplicates"] == 1
    assert expected[0]["flagged"] == 1
    assert batch.digest == at_once.digest
    assert not UploadPiece.objects.exists()
    assert [share for share, _ in work.told] == sorted(share for share, _ in work.told)
    assert work.told[-1][1] == "15 of 15 rows read"


@pytest.mark.django_db
def test_another_worker_goes_on_where_the_first_was_lost(
    unit: Unit, owner: Membership, monkeypatch: pytest.MonkeyPatch
) -> None:
    job = taken(unit, owner, log_of(12), monkeypatch, 4)
    with pytest.raises(WorkStoppedError):
        uploads.upload_chunk(Work(job, reports=2))  # type: ignore[arg-type]
    assert IntakeBatch.objects.get(job=job).rows_passed == 8
    assert UploadPiece.objects.exists()
    second = Work(job)
    uploads.upload_chunk(second)  # type: ignore[arg-type]
    batch = IntakeBatch.objects.get(job=job)
    assert [getattr(batch, name) for name in COUNTS] == [15, 13, 1, 1, 1]
    assert Reading.objects.get(reference="C3").corrects.reference == "D3"  # type: ignore[union-attr]
    assert len(second.told) == 2
    # once more changes nothing: the worker was lost after the last block and before it could say so
    uploads.upload_chunk(Work(job))  # type: ignore[arg-type]
    batch.refresh_from_db()
    assert [getattr(batch, name) for name in COUNTS] == [15, 13, 1, 1, 1]


@pytest.mark.django_db
def test_a_worker_that_was_taken_for_lost_stores_nothing_twice(
    unit: Unit, owner: Membership, monkeypatch: pytest.MonkeyPatch
) -> None:
    job = taken(unit, owner, log_of(12), monkeypatch, 4)
    late = Work(job)

    def meanwhile(share: float, doing: str) -> None:
        monkeypatch.setattr(late, "progress", lambda *_: None)
        uploads.upload_chunk(Work(job))  # type: ignore[arg-type]

    monkeypatch.setattr(late, "progress", meanwhile)
    with pytest.raises(WorkStoppedError):
        uploads.upload_chunk(late)  # type: ignore[arg-type]
    batch = IntakeBatch.objects.get(job=job)
    assert [getattr(batch, name) for name in COUNTS] == [15, 13, 1, 1, 1]


@pytest.mark.django_db
def test_whoever_stops_it_keeps_what_was_stored_and_that_is_followed(
    unit: Unit, owner: Membership, monkeypatch: pytest.MonkeyPatch
) -> None:
    followed: list[set[int]] = []
    monkeypatch.setattr(uploads, "announce", lambda _, *, units, **__: followed.append(set(units)))
    job = taken(unit, owner, log_of(12), monkeypatch, 4)
    with pytest.raises(WorkStoppedError):
        uploads.upload_chunk(Work(job, reports=2, asked_to_stop=True))  # type: ignore[arg-type]
    batch = IntakeBatch.objects.get(job=job)
    assert (batch.rows, batch.stored) == (7, 7)
    assert followed == [{unit.pk}]
    assert not UploadPiece.objects.exists()


@pytest.mark.django_db
def test_a_file_without_a_row_is_read_to_its_end(
    unit: Unit, owner: Membership, monkeypatch: pytest.MonkeyPatch
) -> None:
    job = taken(unit, owner, HEADER, monkeypatch, 4)
    assert uploads.upload_chunk(Work(job))["rows"] == 0  # type: ignore[arg-type]
    assert not UploadPiece.objects.exists()


@pytest.mark.django_db
def test_a_file_that_is_refused_row_after_row_is_given_up(
    unit: Unit, owner: Membership, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(uploads, "MOST_REFUSED", 5)
    wrong = [f"RX-8,2026-02-01 {hour:02}:00,W{hour},60,," for hour in range(24)]
    text = HEADER + "RX-7,2026-01-01 10:00,D1,60,,\n" + "\n".join(wrong) + "\n"
    job = taken(unit, owner, text, monkeypatch, 4)
    with pytest.raises(InvalidInput, match=r"7 rows were refused by row 8 of 25, so the rest is not read"):
        uploads.upload_chunk(Work(job))  # type: ignore[arg-type]
    assert Reading.objects.count() == 1
    assert not UploadPiece.objects.exists()


@pytest.mark.django_db
def test_what_comes_in_is_followed_once_for_the_whole_file(
    unit: Unit, owner: Membership, monkeypatch: pytest.MonkeyPatch
) -> None:
    said: list[Any] = []
    monkeypatch.setattr(consequences, "_pending", lambda *_: said.append(1))
    job = taken(unit, owner, log_of(12), monkeypatch, 2)
    uploads.upload_chunk(Work(job))  # type: ignore[arg-type]
    assert len(said) == 1


@pytest.mark.django_db(transaction=True)
def test_over_the_interface_it_is_a_job_and_its_refusals_are_a_sheet(unit: Unit, as_installer: APIClient) -> None:
    file = SimpleUploadedFile("log.csv", log_of(9).encode())
    answer = as_installer.post("/api/v1/readings/upload/", {"file": file}, format="multipart")
    assert answer.status_code == 202, answer.content
    job = as_installer.get(answer.headers["Location"]).json()
    assert (job["kind"], job["state"], job["share_done"]) == ("upload", "done", 1.0)
    batch = as_installer.get(f"/api/v1/intake-batches/{job['result']['batch']}/").json()
    assert {name: job["result"][name] for name in COUNTS} == {name: batch[name] for name in COUNTS}
    assert batch["job"] == job["id"]
    sheet = as_installer.get(f"/api/v1/intake-batches/{batch['id']}/csv/")
    assert sheet.headers["Content-Type"] == "text/csv; charset=utf-8"
    headers, row = csv.reader(io.StringIO(sheet.content.decode()))
    assert headers[:3] == ["line", "what was wrong, and what would be right", "unit"]
    assert row[0] == "12"
    assert "in the future" in row[1]
    assert row[2:5] == ["RX-7", "2099-01-01 10:00", "F1"]


def in_pieces(content: bytes, size: int) -> Callable[[], Iterator[bytes]]:
    return lambda: (content[begin : begin + size] for begin in range(0, len(content), size))


CELLS = st.text(st.sampled_from('ab1 é€,;"\n\r\t'), max_size=6)


@settings(max_examples=150)
@given(
    rows=st.lists(st.lists(CELLS, min_size=2, max_size=4), min_size=1, max_size=6),
    encoding=st.sampled_from(["utf-8", "utf-8-sig", "utf-16", "cp1252"]),
    separator=st.sampled_from(",;\t"),
    size=st.integers(1, 40),
)
def test_a_file_in_pieces_reads_as_the_whole(rows: list[list[str]], encoding: str, separator: str, size: int) -> None:
    text = io.StringIO()
    csv.writer(text, delimiter=separator).writerows([["unit", "taken at"], *rows])
    content = text.getvalue().encode(encoding, "replace")
    pieces = in_pieces(content, size)
    try:
        whole: TextTable | str = read_table(content)
    except InvalidInput as error:
        whole = error.code
    try:
        shape = read_shape(pieces)
        parts: TextTable | str = shape.table(read_pieces(pieces, shape))
    except InvalidInput as error:
        parts = error.code
    assert parts == whole
    if isinstance(whole, TextTable):
        assert (shape.rows, shape.filled) == (len(whole.rows), whole.filled)
