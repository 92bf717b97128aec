"""A report of work that was wrong is taken back, or replaced by what was right, with all that it did."""

from collections.abc import Collection
from dataclasses import replace
from datetime import datetime
from typing import Any, Final

from django.db import transaction

from accounts.day_alone import known_day
from accounts.errors import Conflict, InvalidInput
from accounts.language import gettext
from accounts.models import Membership
from accounts.services import record
from accounts.services.companies import lock_company
from fleet.models import Placement, Unit
from fleet.services import consequences
from fleet.services.putting_right import refuse_stranger, void
from fleet.services.readings.taken_back import take_back_readings
from fleet.services.units.corrections import take_back_placement
from scheduling.models import InvoicedWork, Need, ServicePhoto, ServiceRecord, Visit
from scheduling.services.stock.stock import give_back
from scheduling.services.work.records import record_work
from scheduling.services.work.report import CORRECTION, WorkReport
from scheduling.services.work.second_reports import reports_of_same_work

_CARTRIDGES: Final = (Need.Kind.REPLACE, Need.Kind.ROTATE)


def report_work(*, report: WorkReport, by: Membership, now: datetime) -> tuple[ServiceRecord, bool]:
    """Store a report as `record_work` does; one that says it corrects an earlier one takes its place.

    Raises
    ------
    Conflict
        Besides those of `record_work`: when it corrects a report and there are several, or none, of the same work.
    """
    known = ServiceRecord.with_voided.of_company(report.site.company).filter(reference=report.reference).exists()
    if report.follows != CORRECTION or known:
        return record_work(report=report, by=by, now=now)
    with transaction.atomic():
        lock_company(report.site.company_id)
        earlier = reports_of_same_work(report)
        if len(earlier) != 1:
            found = ", ".join(str(each.pk) for each in earlier) or "none"
            raise Conflict(
                "which_report",
                f"There must be one report of this work to correct, and these were found: {found}. Use "
                "service-records/<id>/correct/.",
                pointer="/follows",
            )
        reason = gettext("A second report of the same work was sent as its correction.")
        return correct_record(service_record=earlier[0], report=report, reason=reason, by=by, now=now), True


def correct_record(
    *, service_record: ServiceRecord, report: WorkReport, reason: str, by: Membership, now: datetime
) -> ServiceRecord:
    """Put another report in the place of one that was wrong, in one transaction.

    What the old one did is taken back; readings that come again under the references they have stay as they are, and
    its photos pass to the new one. A signature stays with what was signed.

    Returns
    -------
    The new record, which names the old one in `corrects`.

    Raises
    ------
    InvalidInput, Conflict
        As for `void_record` and `record_work`; nothing is changed then.
    NotAllowed
        When an installer did not report it, or did so too long ago.
    """
    with transaction.atomic():
        old = _locked(service_record, by, now)
        if report.site.pk != old.site_id:
            raise InvalidInput(
                "other_site", "The old report is of another site; void it, and report the work anew.", pointer="/site"
            )
        stated = {row.get("reference") for row in report.readings if isinstance(row, dict)}
        visit_id = report.visit.pk if report.visit is not None else None
        _undo(old, reason=reason, by=by, now=now, keeps_readings={str(each) for each in stated if each})
        visit = Visit.objects.get(pk=visit_id) if visit_id is not None else None
        fresh, _ = record_work(report=replace(report, visit=visit), by=by, now=now, corrects=old)
        ServicePhoto.objects.filter(record=old, kind=ServicePhoto.Kind.PHOTO).update(record=fresh)
        record(
            by=by,
            action="correct work",
            subject=fresh,
            now=now,
            details={"corrects": old.pk, "reason": reason, "was": _as_it_was(old), "is": _as_it_was(fresh)},
        )
    return fresh


def void_record(*, service_record: ServiceRecord, reason: str, by: Membership, now: datetime) -> ServiceRecord:
    """Take back a report of work that was not done, and all that it did.

    What it fitted was never fitted, its readings were never taken, its needs and its visit are open as before, and
    pieces are back where they came from.

    Raises
    ------
    InvalidInput
        Without a reason.
    NotAllowed
        When an installer did not report it, or did so too long ago.
    Conflict
        When it was taken back already, or something later rests on it: the sentence says what.
    """
    with transaction.atomic():
        row = _locked(service_record, by, now)
        _undo(row, reason=reason, by=by, now=now)
        record(by=by, action="void work", subject=row, now=now, details={"reason": reason, "was": _as_it_was(row)})
    return row


def refuse_part_of_a_report(placement: Placement) -> None:
    """A cartridge that a report fitted is put right with the report, so that both say the same.

    Raises
    ------
    Conflict
        Naming the report.
    """
    position = placement.position
    rows = ServiceRecord.objects.filter(site_id=position.unit.site_id, done_at=placement.placed_at)
    for row in rows:
        for done in row.work:
            if done["action"] not in _CARTRIDGES or done.get("unit") != position.unit_id:
                continue
            of_stage = position.unit.positions.filter(pk=done.get("position"), stage=position.stage)
            if done.get("position") == position.pk or (done["action"] == Need.Kind.ROTATE and of_stage.exists()):
                raise Conflict(
                    "reported_as_work",
                    f"Report of work {row.pk} fitted this cartridge; correct or void that one, with "
                    f"service-records/{row.pk}/, and the cartridge follows.",
                )


def _locked(service_record: ServiceRecord, by: Membership, now: datetime) -> ServiceRecord:
    lock_company(service_record.company_id)
    row: ServiceRecord = ServiceRecord.with_voided.select_related("company", "site").get(pk=service_record.pk)
    if row.voided_at is not None:
        raise Conflict("already_voided", f"This report was taken back on {row.voided_at:%Y-%m-%d}: {row.void_reason}")
    refuse_stranger(by=by, entered_by=row.done_by_id, entered_at=row.received_at, now=now)
    _refuse_invoiced(row)
    return row


def _refuse_invoiced(row: ServiceRecord) -> None:
    invoiced = InvoicedWork.objects.filter(service_record=row).select_related("invoice").first()
    if invoiced is not None:
        invoice = invoiced.invoice
        raise Conflict(
            "work_is_invoiced",
            f"This work stands on invoice {invoice.full_number}. The office cancels that first, with POST "
            f"/api/v1/invoices/{invoice.pk}/cancel/.",
        )


def _undo(
    row: ServiceRecord, *, reason: str, by: Membership, now: datetime, keeps_readings: Collection[str] = ()
) -> None:
    void(row=row, reason=reason, by=by, now=now)
    row.save(update_fields=["voided_at", "voided_by", "void_reason"])
    for number, done in reversed(list(enumerate(row.work))):
        if done["action"] in _CARTRIDGES:
            _undo_cartridge(row, number, done, reason, by, now)
    _undo_units(row, now)
    _reopen_needs(row, now)
    _reopen_visit(row, now)
    # what the work showed to be gone is not known to be gone without it
    ids = [*row.readings, *row.before.get("seen_gone", ())]
    take_back_readings(ids=ids, but=keeps_readings, reason=reason, by=by, now=now)
    give_back(service_record=row, by=by, now=now, reason=reason)
    units = {done["unit"] for done in row.work if done.get("unit")}
    consequences.announce(row.company_id, units=units, kind=consequences.Kind.WORK, now=now)


def _undo_cartridge(
    row: ServiceRecord, number: int, done: dict[str, Any], reason: str, by: Membership, now: datetime
) -> None:
    placement = Placement.objects.filter(position_id=done.get("position"), placed_at=row.done_at).first()
    if placement is None:
        raise Conflict(
            "cartridge_put_right_since",
            f"Work {number} of this report fitted a cartridge on {row.done_at:%Y-%m-%d} that was put right since; put "
            "right the cartridge itself, in placements/.",
        )
    try:
        take_back_placement(placement=placement, reason=reason, by=by, now=now)
    except Conflict as error:
        raise Conflict(error.code, f"Work {number} of this report: {error.sentence}") from error


def _undo_units(row: ServiceRecord, now: datetime) -> None:
    """Facts of units that the work changed, where nobody changed them since."""
    for key, facts in row.before.get("units", {}).items():
        unit = Unit.objects.select_for_update(no_key=True).get(pk=int(key))
        back = {name: was for name, (was, became) in facts.items() if getattr(unit, name) == became}
        if back:
            Unit.objects.filter(pk=unit.pk).update(**back)
            consequences.announce(row.company_id, units=[unit.pk], kind=consequences.Kind.UNIT, now=now)


def _reopen_needs(row: ServiceRecord, now: datetime) -> None:
    """Open what the work settled; where the same is asked for again by now, the old one is no longer needed."""
    settled = {pk for done in row.work for pk in done.get("needs", ())}
    for need in Need.objects.filter(pk__in=settled, state=Need.State.DONE, closed_at=row.done_at):
        is_asked_again = Need.objects.filter(company_id=need.company_id, key=need.key, state=Need.State.OPEN).exists()
        need.state = Need.State.DROPPED if is_asked_again else Need.State.OPEN
        need.closed_at = now if is_asked_again else None
        need.updated_at = now
        need.save(update_fields=["state", "closed_at", "updated_at"])


def _reopen_visit(row: ServiceRecord, now: datetime) -> None:
    """The visit that only this report closed is as it was before; one that others report stays done."""
    if row.visit_id is None:
        return
    visit: Visit = Visit.objects.select_for_update(no_key=True).get(pk=row.visit_id)
    reopened = Need.objects.filter(state=Need.State.OPEN).values("pk")
    visit.tasks.filter(need__in=reopened).update(outcome="", outcome_reason="")
    if visit.state != Visit.State.DONE or visit.records.exists():
        return
    before = row.before.get("visit_state", Visit.State.CONFIRMED if visit.appointment_at else Visit.State.PROPOSED)
    is_proposed_anew = Visit.objects.filter(site_id=visit.site_id, state=Visit.State.PROPOSED).exists()
    visit.state, visit.closed_at = before, None
    if before == Visit.State.PROPOSED and is_proposed_anew:
        # The site has another proposal by now, which the reopened needs join.
        visit.state, visit.closed_at = Visit.State.CANCELLED, now
    visit.updated_at = now
    visit.revision += 1
    visit.save(update_fields=["state", "closed_at", "updated_at", "revision"])


def _as_it_was(row: ServiceRecord) -> dict[str, Any]:
    return {
        "reference": row.reference,
        "done_at": (known_day(row.done_at) or row.done_at).isoformat(),
        "work": row.work,
        "parts": row.parts,
        "readings": row.readings,
    }
