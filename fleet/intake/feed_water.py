"""Rows of feed water samples, from a log or a payload: judged one by one, then stored together."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any, Final

from accounts.models import Company, Membership
from fleet.engineering.units import QUANTITY_KINDS, plausibility
from fleet.intake import references, words
from fleet.intake.cells import CellError
from fleet.intake.conversion import convert_rows
from fleet.intake.directory import site_directory
from fleet.intake.names import SAMPLE_COLUMNS
from fleet.intake.reading_fields import check_lengths, read_moment
from fleet.intake.reading_rules import refuse_free_above_total
from fleet.intake.rows import Row
from fleet.intake.storing import Progress, tell
from fleet.models import FeedWaterSample, IntakeBatch, Site
from fleet.services.consequences import Kind, announce
from fleet.services.units.sites import units_at

COLUMNS: Final[Mapping[str, str]] = SAMPLE_COLUMNS
WORDS: Final = ("site", "taken_at", "reference", "measured_by", "method", "supply", "corrects")

_LENGTHS: Final[Mapping[str, int]] = {"measured_by": 80, "method": 80, "supply": 80, "reference": 80}
_TELLING_WORDS: Final = ("method",)
_SENT_WORDS: Final = ("measured_by", "method", "supply")
_DEFAULTS: Final[Mapping[str, Any]] = {}


@dataclass
class SampleOutcome:
    """What became of some rows; as for readings."""

    stored: list[FeedWaterSample]
    duplicates: int
    duplicate_ids: dict[int, int]

    @property
    def flagged(self) -> int:
        """How many of the stored samples look doubtful."""
        return sum(1 for sample in self.stored if sample.flags)


def take_rows(
    rows: Sequence[Row],
    *,
    company: Company,
    by: Membership | None,
    now: datetime,
    taken_at_default: datetime | None = None,
    batch: IntakeBatch | None = None,
    progress: Progress | None = None,
) -> SampleOutcome:
    """Judge samples and store those that can be true; the faults of the others stand in the rows.

    Needs a transaction; sites are locked in the order of their ids.
    """
    directory = site_directory(company, by, {row.words.get("site", "") for row in rows})
    tell(progress, 0.2, words.finding_sites())
    for row in rows:
        site_name = row.words.get("site", "")
        place = None
        if not site_name:
            row.refuse("site", "missing", "The row names no site; give its code.")
        else:
            try:
                place = directory.place(site_name)
                row.owner_id = place.pk
            except CellError as error:
                row.refuse("site", "unknown_site", str(error))
        read_moment(row, place, now=now, default=taken_at_default)
        check_lengths(row, _LENGTHS)
    tell(progress, 0.4, words.converting_units())
    convert_rows(rows, FeedWaterSample.QUANTITIES)
    for row in rows:
        _check(row)
    sound = [row for row in rows if not row.faults]
    site_ids = sorted({row.owner_id for row in sound})
    list(
        Site.objects.filter(pk__in=site_ids).order_by("pk").select_for_update(no_key=True).values_list("pk", flat=True)
    )
    references.name_rows(sound, _TELLING_WORDS)
    sound = [row for row in sound if not row.faults]
    settled = references.settle(
        sound, references.stored_rows(FeedWaterSample, "site", sound, _SENT_WORDS), _DEFAULTS, "a feed water sample"
    )
    tell(progress, 0.7, words.storing())
    stored = references.insert(settled, lambda row, corrects_id: _sample(row, corrects_id, by=by, now=now, batch=batch))
    _name_supplies(stored)
    sampled = units_at({sample.site_id for sample in stored})
    announce(company.pk, units=sampled, kind=Kind.WATER, now=now)
    tell(progress, 1.0, words.done())
    return SampleOutcome(stored, settled.duplicates, references.duplicate_ids(rows, settled))


def _name_supplies(stored: Sequence[FeedWaterSample]) -> None:
    """A site is fed by what its newest sample that names a supply says."""
    site_ids = {sample.site_id for sample in stored if sample.supply}
    new = {sample.pk for sample in stored}
    naming = FeedWaterSample.objects.current().filter(site_id__in=site_ids).exclude(supply="")
    newest = {sample.site_id: sample for sample in naming.order_by("taken_at", "pk")}
    for site_id, sample in newest.items():
        if sample.pk in new:
            Site.objects.filter(pk=site_id).update(supply=sample.supply)


def _check(row: Row) -> None:
    if not row.numbers and not row.faults:
        row.refuse("row", "no_value", "The row holds no value; give at least one.")
    refuse_free_above_total(row, "free_chlorine_mg_per_l", "total_chlorine_mg_per_l")
    if row.faults:
        return
    for column, value in row.numbers.items():
        doubt = plausibility(value, QUANTITY_KINDS[column])
        if doubt:
            row.flag(column, "unusual", words.unusual(column, doubt))


def _sample(
    row: Row, corrects_id: int | None, *, by: Membership | None, now: datetime, batch: IntakeBatch | None
) -> FeedWaterSample:
    fields: dict[str, Any] = {**row.numbers, **row.fields}
    fields["reference"] = row.reference
    assert row.taken_at is not None
    return FeedWaterSample(
        site_id=row.owner_id,
        taken_at=row.taken_at,
        recorded_by=by,
        as_sent=row.as_sent(),
        flags=[flag.as_json() for flag in row.flags],
        corrects_id=corrects_id,
        received_at=now,
        batch=batch,
        line=row.line if batch is not None else None,
        **fields,
    )
