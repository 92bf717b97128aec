"""Work that was done, as the installer reports it: cartridges, stock, needs and the visit follow from it."""

from collections.abc import Collection, Sequence
from datetime import datetime
from functools import partial
from typing import Any

from django.db import transaction

from accounts.day_alone import known_day, moment_in_words
from accounts.errors import Conflict, DomainError, Fault, InvalidInput, raise_together
from accounts.models import Company, Membership
from accounts.repeats import conflict, worded
from accounts.services import record
from accounts.services.companies import lock_company
from fleet.intake.payloads import take_reading
from fleet.models import CatalogueItem, Placement, Position, Reading, Site, Unit
from fleet.services import consequences
from fleet.services.findings.gone import seen_gone
from fleet.services.units.placements import place, rotate_lead_lag
from scheduling.models import Installer, Need, ServiceRecord, Visit, VisitTask
from scheduling.planning.needs.work import part_for
from scheduling.planning.stock import parts
from scheduling.services import events_out
from scheduling.services.people import messages
from scheduling.services.people.words import done_lines
from scheduling.services.stock.stock import put_into_stock, take_from_stock
from scheduling.services.stock.visit_parts import read_catalogue
from scheduling.services.visits.outcomes import settle_tasks
from scheduling.services.work.differences import differences_of_report
from scheduling.services.work.report import PartUsed, WorkDone, WorkReport
from scheduling.services.work.second_reports import refuse_unsaid_second_report

Kind = Need.Kind
_CARTRIDGES = (Kind.REPLACE, Kind.ROTATE)


def record_work(
    *, report: WorkReport, by: Membership, now: datetime, corrects: ServiceRecord | None = None
) -> tuple[ServiceRecord, bool]:
    """Store a report of work and let everything follow from it, all or nothing.

    Old cartridges leave and new ones are installed, stock goes down, the needs are done and the visit is closed. A
    report that comes again under its reference changes nothing.

    Parameters
    ----------
    report
        What was sent.
    by, now
        Who reports, and when.
    corrects
        The report in whose place it comes, which was taken back in the same transaction.

    Returns
    -------
    The record, and whether it is new.

    Raises
    ------
    InvalidInput
        Naming each row and field that cannot be right; nothing is stored then.
    Conflict
        When the reference stands for other work, naming each field that differs; when the visit was cancelled; when
        the same work was reported before, and this report does not say what it is to that.
    """
    company = report.site.company
    with transaction.atomic():
        # reports of one company take turns: two phones may send the same one at the same moment
        lock_company(company.pk)
        earlier = ServiceRecord.with_voided.of_company(company).filter(reference=report.reference).first()
        if earlier is not None and earlier.voided_at is not None:
            sentence = f"'{report.reference}' was taken back on {earlier.voided_at:%Y-%m-%d}; use another reference."
            raise Conflict("reference_taken_back", sentence, pointer="/reference")
        if earlier is not None:
            _refuse_other_work(earlier, report, by, now)
            return earlier, False
        visit = _lock_visit(report.visit, report.site)
        try:
            rows = _carried_out(report, by, now, is_correction=corrects is not None)
        except InvalidInput as error:
            # readings at fault are told in the same answer; none is stored
            checks = [partial(_read, report, by, now)] if report.done_at <= now else []
            raise_together(partial(_raise, error), *checks)
            raise
        settled = _settle(rows, report.done_at, now)
        stored = _store(report, rows, visit, by, now, corrects)
        if visit is not None:
            _close_visit(visit, report, rows, settled, now, corrects)
        details = {"reference": report.reference, "visit": visit.pk if visit else None, "needs": sorted(settled)}
        record(by=by, action="record work", subject=stored, details=details, now=now)
        units = {entry.unit.pk for entry in report.work}
        consequences.announce(company.pk, units=units, kind=consequences.Kind.WORK, now=now)
    return stored, True


def _carried_out(report: WorkReport, by: Membership, now: datetime, *, is_correction: bool) -> "list[_Row]":
    """Change what the work changed, once nothing in the report is at fault."""
    raise_together(
        partial(_check, report, now),
        partial(_check_confirmation, report, now),
        partial(_count_given, report.used or ()),
        partial(_count_given, report.leftover, "leftover"),
    )
    if not is_correction:
        refuse_unsaid_second_report(report)
    rows: list[_Row] = []
    raise_together(
        *(
            partial(lambda *row: rows.append(_Row(*row)), number, entry, by, report.done_at, now)
            for number, entry in enumerate(report.work)
        )
    )
    raise_together(*(row.carry_out for row in rows))
    return rows


def _raise(error: DomainError) -> None:
    raise error


def _refuse_other_work(earlier: ServiceRecord, report: WorkReport, by: Membership, now: datetime) -> None:
    """Refuse a report whose reference stands for a record of other work."""
    different = differences_of_report(earlier, report)
    try:
        read = _read(report, by, now)
    except Conflict as error:
        raise conflict(report.reference, "other work", "a report of work", different, more=error.faults) from error
    different += worded("readings", _numbered(earlier.readings), _numbered(read))
    if different:
        raise conflict(report.reference, "other work", "a report of work", different)


def _store(
    report: WorkReport,
    rows: "Sequence[_Row]",
    visit: Visit | None,
    by: Membership,
    now: datetime,
    corrects: ServiceRecord | None,
) -> ServiceRecord:
    """Book the stock, store the readings and write the record."""
    company = report.site.company
    van = Installer.objects.of_company(company).filter(membership=by).first() or (visit.installer if visit else None)
    used = _usual_parts(company, rows) if report.used is None else _count_given(report.used)
    leftover = _count_given(report.leftover, "leftover")
    # before the readings that were sent: what they say of it came after the work
    seen_gone_in = _store_what_is_gone(report, rows, by, now)
    stored = ServiceRecord.objects.create(
        company=company,
        site=report.site,
        visit=visit,
        reference=report.reference,
        done_at=report.done_at,
        done_by=by,
        minutes=report.minutes,
        work=[row.as_stored() for row in rows],
        readings=_read(report, by, now),
        confirmed_by=report.confirmed_by,
        confirmed_at=(report.confirmed_at or report.done_at) if report.confirmed_by else None,
        note=report.note,
        received_at=now,
        corrects=corrects,
        before=_before(rows, visit, seen_gone_in),
    )
    stored.parts = take_from_stock(service_record=stored, quantity_of=used, installer=van, by=by, now=now)
    stored.leftover = put_into_stock(service_record=stored, quantity_of=leftover, installer=van, by=by, now=now)
    stored.save(update_fields=["parts", "leftover"])
    return stored


def _store_what_is_gone(report: WorkReport, rows: "Sequence[_Row]", by: Membership, now: datetime) -> list[int]:
    """Store that what people saw was mended by this work; ids of the readings that say so."""
    ids = []
    for row in rows:
        causes = {need.cause for need in row.needs if need.cause}
        reading = seen_gone(
            unit=row.entry.unit, kind=row.entry.action, causes=causes, at=report.done_at, by=by, now=now
        )
        ids += [reading.pk] if reading is not None else []
    return ids


def _before(rows: "Sequence[_Row]", visit: Visit | None, seen_gone_in: Sequence[int]) -> dict[str, Any]:
    """What taking the report back needs and nothing else keeps.

    Facts of units as they were and became, the visit's state, and the readings that follow from the work by themselves.
    """
    units: dict[str, dict[str, list[Any]]] = {}
    for row in rows:
        for name, (was, became) in row.changed_facts.items():
            facts = units.setdefault(str(row.entry.unit.pk), {})
            facts[name] = [facts[name][0] if name in facts else was, became]
    closes = visit is not None and visit.state != Visit.State.DONE
    return {
        **({"units": units} if units else {}),
        **({"visit_state": visit.state} if visit and closes else {}),
        **({"seen_gone": list(seen_gone_in)} if seen_gone_in else {}),
    }


def _close_visit(
    visit: Visit,
    report: WorkReport,
    rows: "Sequence[_Row]",
    settled: Collection[int],
    now: datetime,
    corrects: ServiceRecord | None,
) -> None:
    """Close the visit and tell the client; a second report adds to what the first one closed.

    A correction that says the same work tells the client nothing new.
    """
    if visit.state == Visit.State.DONE:
        visit.tasks.filter(need__in=settled).update(outcome=VisitTask.Outcome.DONE, outcome_reason="")
        return
    settle_tasks(visit=visit, outcomes=report.not_done, done_at=report.done_at, now=now, field="not_done")
    visit.state, visit.closed_at, visit.updated_at, visit.offers = Visit.State.DONE, report.done_at, now, []
    visit.revision += 1
    visit.save(update_fields=["state", "closed_at", "updated_at", "offers", "revision"])
    events_out.done(visit, now)
    lines = done_lines([(row.entry.unit.code, row.entry.action, row.entry.position) for row in rows])
    if corrects is None or _said_to_client(corrects.work) != _said_to_client([row.as_stored() for row in rows]):
        messages.done(visit, lines, now)


def _said_to_client(work: Sequence[dict[str, Any]]) -> list[tuple[Any, ...]]:
    """What a client is told of work: where and what."""
    return [(done.get("unit"), done["action"], done.get("position")) for done in work]


def _read(report: WorkReport, by: Membership, now: datetime) -> list[int]:
    """Store the readings of a report by the rules of any other; their ids."""
    ids, faults = [], []
    refusals: set[type[DomainError]] = set()
    own = set(Unit.objects.filter(site=report.site).values_list("pk", flat=True))
    for number, body in enumerate(report.readings):
        row = body
        if isinstance(body, dict):
            row = {
                "taken_at": (known_day(report.done_at) or report.done_at).isoformat(),
                "reference": f"{report.reference}#{number + 1}"[:80],
                **body,
            }
        try:
            reading, _ = take_reading(
                company=report.site.company, by=by, row=row, source=Reading.Source.INSTALLER.value, now=now
            )
        except (Conflict, InvalidInput) as error:
            refusals.add(type(error))
            problems = error.faults or (Fault("", error.sentence),)
            faults += [Fault(f"/readings/{number}{fault.pointer}", fault.sentence) for fault in problems]
            continue
        if reading.unit_id not in own:
            refusals.add(InvalidInput)
            faults.append(Fault(f"/readings/{number}/unit", "the unit is at another site than the work."))
        ids.append(reading.pk)
    if faults:
        kind = Conflict if refusals == {Conflict} else InvalidInput
        raise kind("readings_not_valid", "The readings do not belong to this report.", faults=faults)
    return ids


def _numbered(ids: Sequence[int]) -> str:
    return ", ".join(str(pk) for pk in sorted(ids))


def _lock_visit(visit: Visit | None, site: Site) -> Visit | None:
    if visit is None:
        return None
    row: Visit = Visit.objects.select_for_update(no_key=True).get(pk=visit.pk)
    if row.site_id != site.pk:
        raise InvalidInput("visit_elsewhere", "The visit is to another site.", pointer="/visit")
    if row.state == Visit.State.CANCELLED:
        raise Conflict("visit_is_cancelled", "The visit was cancelled; record the work without it.", pointer="/visit")
    if row.state == Visit.State.NOT_DONE:
        raise Conflict(
            "visit_not_done",
            "The visit was closed as not done; record the work without it.",
            pointer="/visit",
        )
    return row


def _check(report: WorkReport, now: datetime) -> None:
    done_at, faults = report.done_at, []
    if done_at > now:
        faults.append(Fault("/done_at", f"done_at {moment_in_words(done_at)} is in the future; give when it was done."))
    positions_worked: set[int] = set()
    for number, entry in enumerate(report.work):
        at = f"/work/{number}"
        if entry.unit.site_id != report.site.pk:
            faults.append(Fault(f"{at}/unit", f"unit {entry.unit.code} is at another site."))
        if entry.position is not None and entry.position.unit_id != entry.unit.pk:
            faults.append(Fault(f"{at}/position", f"position belongs to another unit than {entry.unit.code}."))
        if entry.action in _CARTRIDGES:
            if entry.position is None:
                faults.append(Fault(f"{at}/position", f"position is required to {entry.action} a cartridge."))
            elif entry.position.pk in positions_worked:
                faults.append(Fault(f"{at}/position", "appears twice in this report; report each position once."))
            elif entry.action == Kind.ROTATE and entry.position.role != Position.Role.LEAD:
                faults.append(Fault(f"{at}/position", "position must be the lead for a rotation."))
            positions_worked.add(entry.position.pk if entry.position is not None else 0)
        elif entry.removal or entry.serial_or_lot:
            faults.append(
                Fault(f"{at}/action", f"{entry.action} fits no cartridge; leave removal and serial_or_lot out.")
            )
        if entry.need is not None and (entry.need.unit_id != entry.unit.pk or entry.need.kind != entry.action):
            faults.append(
                Fault(f"{at}/need", f"need {entry.need.pk} is not one to {entry.action} at {entry.unit.code}.")
            )
    if faults:
        raise InvalidInput("work_not_valid", "The report is not valid.", faults=faults)


def _check_confirmation(report: WorkReport, now: datetime) -> None:
    if report.confirmed_at is not None and (report.confirmed_at > now or not report.confirmed_by):
        sentence = "confirmed_at is when confirmed_by confirmed the work: give both, and a time in the past."
        raise InvalidInput("confirmation_not_valid", sentence, faults=[Fault("/confirmed_at", sentence)])


class _Row:
    """One row of a report while it is carried out."""

    def __init__(self, number: int, entry: WorkDone, by: Membership, done_at: datetime, now: datetime) -> None:
        self.number, self.entry, self.by, self.done_at, self.now = number, entry, by, done_at, now
        self.needs = self._needs()
        self.item = self._item()
        self.changed_facts: dict[str, tuple[Any, Any]] = {}

    def _needs(self) -> list[Need]:
        """The open needs this row settles."""
        entry = self.entry
        if entry.need is not None:
            return [entry.need] if entry.need.state == Need.State.OPEN else []
        open_needs = Need.objects.filter(unit=entry.unit, state=Need.State.OPEN)
        if entry.action in _CARTRIDGES:
            # whatever was asked for at this position, a changed cartridge settles it
            return list(open_needs.filter(position=entry.position, kind__in=_CARTRIDGES).select_related("item"))
        rows = list(open_needs.filter(kind=entry.action, position=entry.position).select_related("item"))
        if entry.action == Kind.REPAIR and len(rows) > 1:
            need_names = ", ".join(f"{need.pk} ({need.label})" for need in rows)
            sentence = f"several repairs are open here; give the need, one of: {need_names}."
            raise InvalidInput("which_repair", sentence, faults=[Fault(f"/work/{self.number}/need", sentence)])
        return rows

    def _item(self) -> CatalogueItem | None:
        item = self.entry.item or next((need.item for need in self.needs if need.item is not None), None)
        if self.entry.action not in _CARTRIDGES:
            return item
        if item is None:
            placements = (
                Placement.objects.filter(position=self.entry.position).select_related("item").order_by("-placed_at")
            )
            newest = placements.first()
            item = newest.item if newest is not None else None
        if item is None:
            sentence = "no cartridge was ever installed there; give the item that was fitted."
            raise InvalidInput("which_item", sentence, faults=[Fault(f"/work/{self.number}/item", sentence)])
        return item

    def carry_out(self) -> None:
        """Change what the work changed."""
        entry = self.entry
        try:
            if entry.action == Kind.REPLACE:
                assert entry.position is not None
                assert self.item is not None
                place(
                    position=entry.position,
                    item=self.item,
                    by=self.by,
                    now=self.now,
                    placed_at=self.done_at,
                    serial_or_lot=entry.serial_or_lot,
                    removal=entry.removal,
                )
            elif entry.action == Kind.ROTATE:
                assert entry.position is not None
                assert self.item is not None
                rotate_lead_lag(
                    unit=entry.unit,
                    stage=entry.position.stage,
                    item=self.item,
                    by=self.by,
                    now=self.now,
                    rotated_at=self.done_at,
                    serial_or_lot=entry.serial_or_lot,
                    removal=entry.removal or Placement.Removal.ROUTINE,
                )
            elif entry.action == Kind.FIT_BOOSTER_PUMP:
                self._change_unit(has_booster_pump=True)
            elif entry.action == Kind.REPLACE_RESTRICTOR and self.item is not None and self.item.rated_flow_l_per_day:
                self._change_unit(
                    restrictor_flow_l_per_day=self.item.rated_flow_l_per_day,
                    restrictor_pressure_kpa=self.item.rated_pressure_kpa,
                )
        except DomainError as error:
            raise self._at_this_row(error) from error

    def _change_unit(self, **facts: Any) -> None:
        unit = Unit.objects.get(pk=self.entry.unit.pk)
        self.changed_facts = {name: (getattr(unit, name), value) for name, value in facts.items()}
        Unit.objects.filter(pk=unit.pk).update(**facts)
        consequences.announce(unit.company_id, units=[unit.pk], kind=consequences.Kind.UNIT, now=self.now)

    def _at_this_row(self, error: DomainError) -> DomainError:
        """The same error, pointing into the report."""
        own = {"/placed_at": "/done_at", "/removed_at": "/done_at", "/rotated_at": "/done_at"}
        faults = [
            Fault(own.get(fault.pointer, f"/work/{self.number}{fault.pointer}"), fault.sentence)
            for fault in error.faults or (Fault("", error.sentence),)
        ]
        return type(error)(error.code, error.sentence, faults=faults)

    def task(self) -> parts.PartsTask:
        """The row in the words of the parts rules."""
        entry = self.entry
        cause = next((need.cause for need in self.needs if need.cause), "")
        part = part_for(entry.action, cause)
        return parts.PartsTask(
            visit="",
            unit=str(entry.unit.pk),
            kind=":".join(word for word in (entry.action, cause, part) if word),
            position=str(entry.position.pk) if entry.position is not None else "",
            stage=entry.position.stage if entry.position is not None else "",
            item=str(self.item.pk) if self.item is not None else "",
            purpose=part if self.item is not None or any(need.missing_part for need in self.needs) else "",
        )

    def as_stored(self) -> dict[str, Any]:
        """The row as it is kept in the record."""
        entry = self.entry
        return {
            "action": entry.action,
            "unit": entry.unit.pk,
            "position": entry.position.pk if entry.position is not None else None,
            "item": self.item.pk if self.item is not None else None,
            "serial_or_lot": entry.serial_or_lot,
            "removal": entry.removal,
            "needs": sorted(need.pk for need in self.needs),
            "note": entry.note,
        }


def _settle(rows: Sequence[_Row], done_at: datetime, now: datetime) -> set[int]:
    """Close the needs that the work settles; their ids."""
    settled = {need.pk for row in rows for need in row.needs}
    Need.objects.filter(pk__in=settled, state=Need.State.OPEN).update(
        state=Need.State.DONE, closed_at=done_at, closed_on=known_day(done_at), updated_at=now
    )
    return settled


def _usual_parts(company: Company, rows: Sequence[_Row]) -> dict[CatalogueItem, int]:
    """What the work takes by the catalogue and its rules."""
    catalogue = read_catalogue(company=company)
    tasks = [row.task() for row in rows]
    allocated = parts.parts_for(tasks, catalogue.rules_for(tasks))
    return {catalogue.items[item]: sum(by_visit.values()) for item, by_visit in allocated.items()}


def _count_given(used: Sequence[PartUsed], field: str = "parts") -> dict[CatalogueItem, int]:
    quantity_of: dict[CatalogueItem, int] = {}
    faults = []
    for number, part in enumerate(used):
        if part.quantity < 1:
            faults.append(Fault(f"/{field}/{number}/quantity", f"quantity must be at least 1, not {part.quantity}."))
        quantity_of[part.item] = quantity_of.get(part.item, 0) + part.quantity
    if faults:
        raise InvalidInput("parts_not_valid", "The parts are not valid.", faults=faults)
    return quantity_of
