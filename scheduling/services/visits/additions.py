"""What the night would add to a visit confirmed with the client: proposed, and accepted or declined by the office."""

from collections import Counter, defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from django.db import transaction

from accounts.errors import Conflict, Fault, InvalidInput
from accounts.models import Company, Membership
from accounts.services import record
from fleet.models import Unit
from fleet.services.consequences import Kind, announce
from scheduling.models import Need, Visit, VisitAddition, VisitTask
from scheduling.planning.stock import parts
from scheduling.services.people import messages
from scheduling.services.people.words import spoken_minutes
from scheduling.services.stock.visit_parts import Catalogue, read_catalogue, task_of
from scheduling.services.visits.appointments import check_appointment
from scheduling.services.visits.order import order_of_work

State = VisitAddition.State


@dataclass(frozen=True, slots=True)
class ProposedAdditions:
    """What would be added to a visit: needs with the reason of each, in order of work."""

    visit: Visit
    needs: Sequence[tuple[Need, str]]


def declined_needs(*, company: Company) -> dict[int, set[int]]:
    """Visit id to the ids of needs that the office declined for it."""
    declined: dict[int, set[int]] = defaultdict(set)
    rows = VisitAddition.objects.of_company(company).filter(state=State.DECLINED, visit__state=Visit.State.CONFIRMED)
    for visit_id, need_id in rows.values_list("visit_id", "need_id"):
        declined[visit_id].add(need_id)
    return declined


def propose_additions(
    *, company: Company, proposals: Sequence[ProposedAdditions], now: datetime, sites: Sequence[int] | None = None
) -> int:
    """Make the proposed additions of the company's visits these; tell the office of needs that are new among them.

    Parameters
    ----------
    company, now
        Whose visits, and when.
    proposals
        One for each visit to which something would be added.
    sites
        Ids of the sites looked at; None: all. Additions at others stay as they are.

    Returns
    -------
    int
        How many visits have other additions than before.
    """
    rows = VisitAddition.objects.of_company(company).filter(state=State.PROPOSED)
    if sites is not None:
        rows = rows.filter(visit__site__in=list(sites))
    stored: dict[int, list[VisitAddition]] = defaultdict(list)
    for row in rows.order_by("order", "pk"):
        stored[row.visit_id].append(row)
    catalogue = read_catalogue(company=company) if proposals else None
    changed = set()
    for proposal in proposals:
        assert catalogue is not None
        before = {row.need_id: row for row in stored.pop(proposal.visit.pk, [])}
        wanted = _rows_of(proposal, catalogue, now)
        if [_content(row) for row in wanted] == [_content(row) for row in before.values()]:
            continue
        changed.add(proposal.visit.pk)
        for row in wanted:
            row.created_at = before[row.need_id].created_at if row.need_id in before else now
        VisitAddition.objects.filter(pk__in=[row.pk for row in before.values()]).delete()
        VisitAddition.objects.bulk_create(wanted)
        new_needs = [row.need for row in wanted if row.need_id not in before]
        if new_needs:
            messages.more_work(proposal.visit, new_needs, sum(need.minutes for need in new_needs), now)
    withdrawn = [row for additions in stored.values() for row in additions]
    VisitAddition.objects.filter(pk__in=[row.pk for row in withdrawn]).delete()
    return len(changed | {row.visit_id for row in withdrawn})


def accept_additions(
    *,
    visit: Visit,
    by: Membership,
    now: datetime,
    needs: Sequence[Need] | None = None,
    outside_access_hours: bool = False,
) -> Visit:
    """Make proposed additions tasks of their confirmed visit.

    The client is told when the visit takes longer than they were told, or is about a unit that they were not told of.

    Parameters
    ----------
    visit
        Confirmed, with proposed additions.
    by, now
        Who accepts, and when.
    needs
        Those that are accepted; None: all that are proposed.
    outside_access_hours
        Whether the client keeps the site open beyond its hours for the longer visit.

    Raises
    ------
    Conflict
        When the visit is not confirmed, nothing is proposed to it, or the longer work does not fit in where it stands.
    InvalidInput
        When a need is not among the proposed additions.
    """
    with transaction.atomic():
        row, additions = _lock(visit, needs)
        added = [addition.need for addition in additions]
        was_minutes = row.minutes
        confirmed_minutes = row.confirmed_minutes or spoken_minutes(row.minutes)
        confirmed_units = row.units_known_to_client(row.tasks.values_list("need__unit", flat=True))
        row.minutes += sum(need.minutes for need in added)
        _check_it_fits(row, now, outside_access_hours)
        row.skills = sorted({*row.skills, *(skill for need in added for skill in need.skills)})
        row.is_urgent = row.is_urgent or any(need.is_urgent for need in added)
        longer = spoken_minutes(row.minutes) > confirmed_minutes
        other_units = {need.unit_id for need in added} - confirmed_units
        if longer or other_units:
            row.confirmed_minutes = max(confirmed_minutes, spoken_minutes(row.minutes))
            row.confirmed_units = sorted(confirmed_units | other_units)
        # the appointment ends at another time, which calendars take over by the revision
        row.revision += 1
        row.updated_at = now
        row.save()
        VisitTask.objects.bulk_create(
            VisitTask(visit=row, need=addition.need, order=0, reason=addition.reason) for addition in additions
        )
        _put_in_order(row)
        VisitAddition.objects.filter(pk__in=[addition.pk for addition in additions]).delete()
        details = {"needs": [need.pk for need in added], "minutes": {"was": was_minutes, "is": row.minutes}}
        record(by=by, action="accept additions", subject=row, details=details, now=now)
        if longer or other_units:
            codes = Unit.objects.filter(pk__in=other_units).order_by("code").values_list("code", flat=True)
            messages.extended(row, added, confirmed_minutes if longer else None, list(codes), now)
    return row


def decline_additions(
    *, visit: Visit, by: Membership, now: datetime, needs: Sequence[Need] | None = None, note: str = ""
) -> Visit:
    """Keep proposed additions off their confirmed visit for good; their needs go on a visit of their own.

    Parameters
    ----------
    visit
        Confirmed, with proposed additions.
    by, now
        Who declines, and when.
    needs
        Those that are declined; None: all that are proposed.
    note
        Why, for the record.

    Raises
    ------
    Conflict
        When the visit is not confirmed, or nothing is proposed to it.
    InvalidInput
        When a need is not among the proposed additions.
    """
    with transaction.atomic():
        row, additions = _lock(visit, needs)
        VisitAddition.objects.filter(pk__in=[addition.pk for addition in additions]).update(
            state=State.DECLINED, declined_by=by, declined_at=now
        )
        details = {"needs": [addition.need_id for addition in additions], "note": note}
        record(by=by, action="decline additions", subject=row, details=details, now=now)
        units = {addition.need.unit_id for addition in additions}
        announce(row.company_id, units=units, kind=Kind.NEED, now=now)
    return row


def _lock(visit: Visit, needs: Sequence[Need] | None) -> tuple[Visit, list[VisitAddition]]:
    """The visit, locked, and those of its proposed additions that are meant."""
    row = Visit.objects.select_for_update(no_key=True).get(pk=visit.pk)
    if row.state != Visit.State.CONFIRMED:
        raise Conflict("visit_move_not_legal", f"The visit {row.state_words}; additions wait on confirmed visits only.")
    rows = row.additions.filter(state=State.PROPOSED, need__state=Need.State.OPEN).exclude(need__tasks__visit=row)
    proposed = {addition.need_id: addition for addition in rows.select_related("need__unit", "need__position")}
    if not proposed:
        raise Conflict("no_additions", "Nothing is proposed to be added to the visit.")
    if needs is None:
        return row, list(proposed.values())
    choices = ", ".join(str(pk) for pk in sorted(proposed))
    faults = [
        Fault(f"/needs/{number}", f"need {need.pk} is not proposed to be added to this visit; proposed: {choices}.")
        for number, need in enumerate(needs)
        if need.pk not in proposed
    ]
    if not needs:
        faults.append(Fault("/needs", f"name at least one need, or leave needs out to mean all: {choices}."))
    if faults:
        raise InvalidInput("not_proposed", "These additions cannot be decided on.", faults=faults)
    return row, [proposed[pk] for pk in dict.fromkeys(need.pk for need in needs)]


def _check_it_fits(row: Visit, now: datetime, outside_access_hours: bool) -> None:
    assert row.appointment_at is not None
    try:
        check_appointment(row, row.appointment_at, row.installer, now, outside_access_hours=outside_access_hours)
    except InvalidInput as error:
        raise Conflict(
            "additions_do_not_fit",
            f"With these additions the visit takes {row.minutes} minutes, which do not fit in where it is confirmed: "
            + " ".join(fault.sentence for fault in error.faults),
        ) from error


def _put_in_order(row: Visit) -> None:
    tasks = sorted(row.tasks.select_related("need__position"), key=lambda task: order_of_work(task.need))
    for order, task in enumerate(tasks, start=1):
        task.order = order
    VisitTask.objects.bulk_update(tasks, ["order"])


def _rows_of(proposal: ProposedAdditions, catalogue: Catalogue, now: datetime) -> list[VisitAddition]:
    key = str(proposal.visit.pk)
    tasks = [task_of(task.need, visit=key) for task in proposal.visit.tasks.select_related("need__position")]
    rows = []
    for order, (need, reason) in enumerate(proposal.needs, start=1):
        before = _taken(tasks, catalogue)
        tasks.append(task_of(need, visit=key))
        more = _taken(tasks, catalogue) - before
        rows.append(
            VisitAddition(
                visit=proposal.visit,
                need=need,
                order=order,
                minutes=need.minutes,
                parts=[{"item": int(item), "quantity": quantity} for item, quantity in sorted(more.items())],
                reason=reason,
                created_at=now,
            )
        )
    return rows


def _taken(tasks: Sequence[parts.PartsTask], catalogue: Catalogue) -> Counter[str]:
    """Pieces of each item that the tasks take together; what is taken once for a visit counts once."""
    taken: Mapping[str, Mapping[str, int]] = parts.parts_for(tasks, catalogue.rules_for(tasks))
    return Counter({item: sum(by_visit.values()) for item, by_visit in taken.items()})


def _content(row: VisitAddition) -> tuple[Any, ...]:
    return row.need_id, row.order, row.minutes, row.parts, row.reason
