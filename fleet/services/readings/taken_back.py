"""Readings and samples that never were: they stay to be read, and count for nothing."""

from collections.abc import Collection, Iterable
from datetime import datetime

from django.db import transaction

from accounts.errors import Conflict
from accounts.models import Membership
from accounts.services import record
from fleet.models import FeedWaterSample, Reading, Site, Unit
from fleet.services.consequences import Kind, announce
from fleet.services.putting_right import refuse_stranger, void


def void_reading(*, reading: Reading, reason: str, by: Membership, now: datetime) -> Reading:
    """Take back a reading that never was, with all that it corrected.

    Raises
    ------
    InvalidInput
        Without a reason.
    NotAllowed
        When an installer did not send it, or did so too long ago.
    Conflict
        When it was taken back already, or another reading corrects it.
    """
    with transaction.atomic():
        list(Unit.objects.select_for_update(no_key=True).filter(pk=reading.unit_id).values_list("pk"))
        row = Reading.objects.select_related("unit").get(pk=reading.pk)
        refuse_stranger(by=by, entered_by=row.recorded_by_id, entered_at=row.received_at, now=now)
        _void_all(row, reason, by, now)
        announce(row.unit.company_id, units=[row.unit_id], kind=Kind.READINGS, now=now, since=row.taken_at)
        record(by=by, action="void reading", subject=row, now=now, details={"reason": reason, "unit": row.unit_id})
    return row


def void_sample(*, sample: FeedWaterSample, reason: str, by: Membership, now: datetime) -> FeedWaterSample:
    """Take back an analysis that never was, with all that it corrected.

    Raises
    ------
    InvalidInput, NotAllowed, Conflict
        As for `void_reading`.
    """
    with transaction.atomic():
        list(Site.objects.select_for_update(no_key=True).filter(pk=sample.site_id).values_list("pk"))
        row = FeedWaterSample.objects.select_related("site").get(pk=sample.pk)
        refuse_stranger(by=by, entered_by=row.recorded_by_id, entered_at=row.received_at, now=now)
        _void_all(row, reason, by, now)
        units = Unit.objects.filter(site=row.site_id).values_list("pk", flat=True)
        announce(row.site.company_id, units=units, kind=Kind.WATER, now=now)
        details = {"reason": reason, "site": row.site_id}
        record(by=by, action="void sample", subject=row, now=now, details=details)
    return row


def take_back_readings(*, ids: Iterable[int], but: Collection[str], reason: str, by: Membership, now: datetime) -> None:
    """Take back the readings that came with something that is taken back, with all that corrected them since.

    Parameters
    ----------
    but
        References of readings that stay.
    """
    with transaction.atomic():
        for row in Reading.objects.filter(pk__in=list(ids)).exclude(reference__in=list(but)).select_related("unit"):
            newest = row
            while getattr(newest, "corrected_by", None) is not None:
                newest = newest.corrected_by
            if newest.voided_at is None:
                _void_all(newest, reason, by, now)
                announce(row.unit.company_id, units=[row.unit_id], kind=Kind.READINGS, now=now, since=row.taken_at)


def _void_all(row: Reading | FeedWaterSample, reason: str, by: Membership, now: datetime) -> None:
    """Void a row and what it corrects: none of it was ever so."""
    later = getattr(row, "corrected_by", None)
    if later is not None and row.voided_at is None:
        raise Conflict("already_corrected", f"Row {later.pk} corrects this one; take that one back.")
    each: Reading | FeedWaterSample | None = row
    while each is not None:
        void(row=each, reason=reason, by=by, now=now)
        each.save(update_fields=["voided_at", "voided_by", "void_reason"])
        each = each.corrects
