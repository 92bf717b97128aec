"""The life of a visit: proposed, offered, confirmed with the client, under way, done or not, cancelled."""

from collections.abc import Mapping, Sequence
from datetime import UTC, datetime, time, timedelta
from typing import Any
from zoneinfo import ZoneInfo

from django.db import transaction

from accounts.errors import Conflict, Fault, InvalidInput
from accounts.language import gettext
from accounts.models import Membership
from accounts.services import record
from fleet.services.consequences import Kind, announce
from scheduling.models import Installer, Need, Plan, Stop, Visit, VisitTask
from scheduling.services import events_out
from scheduling.services.people import messages
from scheduling.services.people.words import done_lines, spoken_minutes
from scheduling.services.visits.appointments import check_appointment, site_time
from scheduling.services.visits.locks import forget_lock
from scheduling.services.visits.outcomes import TaskOutcome, settle_tasks
from scheduling.services.visits.proposals import VisitsProposed, propose_visits
from scheduling.services.words import visits as words

__all__ = [
    "VisitsProposed",
    "accept_offer",
    "begin_visit",
    "cancel_visit",
    "complete_visit",
    "confirm_visit",
    "decline_offer",
    "depart",
    "offer_visit",
    "propose_visits",
    "report_not_done",
    "unconfirm_visit",
]

State = Visit.State

#: What a visit may become, from each state. Done, not done and cancelled are the end of it.
LEGAL_MOVES: Mapping[str, frozenset[str]] = {
    State.PROPOSED: frozenset(
        {State.OFFERED, State.CONFIRMED, State.ON_THE_WAY, State.DONE, State.NOT_DONE, State.CANCELLED}
    ),
    # whoever has not answered may still be visited: the round is driven, and what happened at the door is a fact
    State.OFFERED: frozenset(
        {
            State.OFFERED,
            State.PROPOSED,
            State.CONFIRMED,
            State.ON_THE_WAY,
            State.DONE,
            State.NOT_DONE,
            State.CANCELLED,
        }
    ),
    State.CONFIRMED: frozenset(
        {State.CONFIRMED, State.PROPOSED, State.ON_THE_WAY, State.DONE, State.NOT_DONE, State.CANCELLED}
    ),
    State.ON_THE_WAY: frozenset({State.IN_PROGRESS, State.DONE, State.NOT_DONE, State.CANCELLED}),
    State.IN_PROGRESS: frozenset({State.DONE, State.NOT_DONE}),
    State.DONE: frozenset(),
    State.NOT_DONE: frozenset(),
    State.CANCELLED: frozenset(),
}
_LONGEST_WINDOW = timedelta(hours=8)


def confirm_visit(
    *,
    visit: Visit,
    by: Membership,
    appointment_at: datetime,
    now: datetime,
    installer: Installer | None = None,
    outside_access_hours: bool = False,
) -> Visit:
    """Note the time confirmed with the client; a confirmed visit is moved to the new time.

    Parameters
    ----------
    visit
        Proposed or confirmed.
    by, now
        Who confirms, and when.
    appointment_at
        Start of the work.
    installer
        The one confirmed to the client; None: whoever's round it fits.
    outside_access_hours
        Whether the client opens up at another time than the site's hours say.

    Raises
    ------
    Conflict
        When the visit is done or cancelled.
    InvalidInput
        When the time has gone by, nobody who may come works then, or the site is closed.
    """
    with transaction.atomic():
        row = _lock(visit, State.CONFIRMED, verb="confirmed")
        check_appointment(row, appointment_at, installer, now, outside_access_hours=outside_access_hours)
        before = {"appointment_at": _text(row.appointment_at), "installer": row.installer_id, "state": row.state}
        was_state, was_at = State(row.state), row.appointment_at
        row.state, row.appointment_at, row.installer = State.CONFIRMED, appointment_at, installer
        row.offers = []
        if was_state != State.CONFIRMED:
            _note_confirmed(row)
        _release(row, by, now)
        _save(row, by, "confirm visit", {"was": before, "appointment_at": _text(appointment_at)}, now)
        messages.confirmed(visit=row, earlier_state=was_state, earlier_at=was_at, by=by, now=now)
        events_out.appointment_set(row, was_at, now)
    return row


def unconfirm_visit(*, visit: Visit, by: Membership, note: str, now: datetime) -> Visit:
    """Give a confirmed time back, or withdraw an offer; the visit is a proposal again.

    When the site has another proposed visit already, one of the two takes over the tasks and the other is cancelled:
    the one in a published round stays.

    Raises
    ------
    Conflict
        When the visit is neither confirmed nor offered.
    """
    with transaction.atomic():
        row = _lock(visit, State.PROPOSED, verb="put back to proposed")
        before = {"appointment_at": _text(row.appointment_at), "installer": row.installer_id}
        was_at = row.appointment_at
        _propose_again(row, now)
        _save(row, by, "unconfirm visit", {"was": before, "note": note}, now)
        messages.withdrawn(row, was_at, now)
        if was_at is not None or row.state == State.CANCELLED:
            events_out.off([row], now, confirmed_at=was_at)
        _gives_back(row, now)
    return row


def cancel_visit(*, visit: Visit, by: Membership | None, note: str, now: datetime) -> Visit:
    """Call a visit off; its needs stay open and are proposed again.

    By its client, by a link if nobody is named, plans keep off the days of the times they were told, and the office
    reads of it.

    Raises
    ------
    Conflict
        When the visit is done or cancelled already; by its client, when they were told no time.
    """
    with transaction.atomic():
        row = _lock(visit, State.CANCELLED, verb="cancelled")
        state_before = row.state
        if by is None or by.role == Membership.Role.CLIENT:
            if state_before not in Visit.KNOWN_TO_CLIENT:
                raise Conflict("visit_move_not_legal", f"The visit {row.state_words}; there is no time to cancel.")
            row.declined = _with_declined(row.declined, _days_known_to_client(row), now)
            _keep_proposal_off(row, now)
            messages.cancelled_by_client(row, note, now)
        row.state, row.closed_at, row.closing_note = State.CANCELLED, now, note
        _save(row, by, "cancel visit", {"was": state_before, "note": note, "by_link": by is None}, now)
        messages.cancelled(row, state_before, now)
        events_out.off([row], now)
        _gives_back(row, now)
    return row


def complete_visit(
    *, visit: Visit, by: Membership, now: datetime, tasks: Sequence[TaskOutcome] = (), note: str = ""
) -> Visit:
    """Close a visit as done, without a record of work; what was not done stays open and is proposed again.

    Parameters
    ----------
    visit
        Not closed yet.
    by, now
        Who closes it, and when.
    tasks
        What became of each task that is still open.
    note
        A remark for the office.

    Raises
    ------
    Conflict
        When the visit is closed already.
    InvalidInput
        When a task is missing or not done without a reason; when nothing at all was done, which is to give it up.
    """
    with transaction.atomic():
        row = _lock(visit, State.DONE, verb="completed")
        state_before = row.state
        _withdraw_offer(row, now)
        settle_tasks(visit=row, outcomes=tasks, done_at=now, now=now, field="tasks")
        if tasks and not row.tasks.filter(outcome=VisitTask.Outcome.DONE).exists():
            sentence = "no task was done: report the visit as not done, with the reason."
            raise InvalidInput("nothing_done", sentence, faults=[Fault("/tasks", sentence)])
        row.state, row.closed_at, row.closing_note = State.DONE, now, note
        outcomes = [{"need": t.need.pk, "done": t.done, "reason": t.reason} for t in tasks]
        _save(row, by, "complete visit", {"was": state_before, "note": note, "tasks": outcomes}, now)
        finished = row.tasks.filter(outcome=VisitTask.Outcome.DONE).select_related("need__unit", "need__position")
        work = [(t.need.unit.code, t.need.kind, t.need.position) for t in finished.order_by("order")]
        messages.done(row, done_lines(work), now)
        events_out.done(row, now)
        _gives_back(row, now)
    return row


def offer_visit(
    *,
    visit: Visit,
    by: Membership,
    windows: Sequence[tuple[datetime, datetime]],
    now: datetime,
    installer: Installer | None = None,
    outside_access_hours: bool = False,
) -> Visit:
    """Offer the client two or three windows to choose from; offered again, the new windows take the place of the old.

    Parameters
    ----------
    visit
        Proposed or offered.
    by, now
        Who offers, and when.
    windows
        From when to when the work may start.
    installer
        Who would come; None: whoever's round it fits.
    outside_access_hours
        Whether the client opens up at another time than the site's hours say.

    Raises
    ------
    Conflict
        When the visit is neither proposed nor offered.
    InvalidInput
        When there are not two or three windows, or one of them cannot be kept.
    """
    with transaction.atomic():
        row = _lock(visit, State.OFFERED, verb="offered")
        _check_windows(row, windows, installer, now, outside_access_hours)
        earlier_offers = row.offers if row.state == State.OFFERED else []
        row.state, row.installer = State.OFFERED, installer
        row.offers = [{"opens_at": as_utc(opens), "closes_at": as_utc(closes)} for opens, closes in sorted(windows)]
        _save(row, by, "offer visit", {"windows": row.offers, "installer": row.installer_id}, now)
        messages.offered(row, earlier_offers, now)
    return row


def offer_times(*, visit: Visit, by: Membership, offers: Sequence[dict[str, Any]], now: datetime) -> Visit:
    """Offer the client the times that a plan keeps free for them; the client is told by whoever calls this.

    Raises
    ------
    Conflict
        When the visit is neither proposed nor offered.
    """
    row = _lock(visit, State.OFFERED, verb="offered")
    row.state, row.offers = State.OFFERED, list(offers)
    _save(row, by, "offer visit", {"windows": row.offers, "installer": row.installer_id}, now)
    return row


def accept_offer(*, visit: Visit, by: Membership | None, opens_at: datetime, now: datetime) -> Visit:
    """Take up one of the windows offered.

    The work starts when the window opens; in one that a plan keeps free, when the plan says.

    Parameters
    ----------
    visit
        Offered.
    by
        Who chose; None: whoever followed the link that was sent to the client.
    opens_at
        When the window chosen opens.
    now
        The present moment.

    Raises
    ------
    Conflict
        When the visit is not offered, or the window has opened already.
    InvalidInput
        When no window that was offered opens then.
    """
    with transaction.atomic():
        row = _lock(visit, State.CONFIRMED, verb="accepted")
        if row.state != State.OFFERED:
            raise Conflict("visit_move_not_legal", f"The visit {row.state_words}; no window is offered.")
        offered_times = [offer["opens_at"] for offer in row.offers]
        if as_utc(opens_at) not in offered_times:
            windows = ", ".join(site_time(row, datetime.fromisoformat(opens)) for opens in offered_times)
            sentence = f"opens_at {site_time(row, opens_at)} was not offered; choose one of {windows}."
            raise InvalidInput("not_offered", sentence, faults=[Fault("/opens_at", sentence)])
        if opens_at <= now:
            raise Conflict("offer_has_gone_by", "That window has opened already; choose another.", pointer="/opens_at")
        details = {"opens_at": as_utc(opens_at), "offered": row.offers, "by_link": by is None}
        window = row.offers[offered_times.index(as_utc(opens_at))]
        starts_at, installer = _kept_free(row, window)
        row.state, row.appointment_at, row.offers = State.CONFIRMED, starts_at or opens_at, []
        if starts_at is not None:
            row.installer = installer
        _note_confirmed(row)
        _release(row, by, now)
        _save(row, by, "accept offer", details, now)
        messages.offer_taken(visit=row, by=by, now=now)
        events_out.appointment_set(row, None, now)
    return row


def _kept_free(row: Visit, window: Mapping[str, Any]) -> tuple[datetime | None, Installer | None]:
    """When and by whom a window is kept by the rounds; (None, None) for one that somebody typed.

    The rounds may have been planned again since: the stop that the newest plan has in the window comes first.
    """
    if "starts_at" not in window:
        return None, None
    stop = (
        Stop.objects.filter(
            visit=row,
            round__plan__state=Plan.State.PUBLISHED,
            starts_at__gte=window["opens_at"],
            starts_at__lt=window["closes_at"],
        )
        .select_related("round__installer")
        .order_by("-round__plan__published_at", "-pk")
        .first()
    )
    if stop is not None:
        return stop.starts_at, stop.round.installer
    installer = Installer.objects.filter(company=row.company_id, pk=window["installer"], is_active=True).first()
    return datetime.fromisoformat(window["starts_at"]), installer


def decline_offer(*, visit: Visit, by: Membership | None, reason: str, now: datetime) -> Visit:
    """Decline every window offered: the visit is a proposal again, and plans keep off those windows.

    Parameters
    ----------
    visit
        Offered.
    by
        Who declines; None: whoever followed the link that was sent to the client.
    reason
        Why, for the office; may be empty.
    now
        The present moment.

    Raises
    ------
    Conflict
        When no window is offered.
    """
    with transaction.atomic():
        row = _lock(visit, State.PROPOSED, verb="declined")
        if row.state != State.OFFERED:
            raise Conflict("visit_move_not_legal", f"The visit {row.state_words}; no window is offered.")
        windows = [{name: offer[name] for name in ("opens_at", "closes_at")} for offer in row.offers]
        row.declined = _with_declined(row.declined, windows, now)
        _propose_again(row, now)
        _save(row, by, "decline offer", {"offered": windows, "reason": reason, "by_link": by is None}, now)
        messages.offer_declined(visit=row, windows=windows, reason=reason, by=by, now=now)
        events_out.off([row], now)
        _gives_back(row, now)
    return row


def _propose_again(row: Visit, now: datetime) -> None:
    """A proposal again. Where the site has another one, the two become one: that which a published round holds, or
    else the other one, takes over the tasks, so that nobody's round leads to a visit that is cancelled."""
    other = (
        Visit.objects.select_for_update(no_key=True)
        .filter(site_id=row.site_id, state=State.PROPOSED)
        .exclude(pk=row.pk)
        .first()
    )
    row.appointment_at, row.installer, row.offers = None, None, []
    row.confirmed_minutes, row.confirmed_units = None, []
    row.state = State.PROPOSED
    if other is None:
        return
    kept, given_up = (row, other) if _is_driven_to(row) and not _is_driven_to(other) else (other, row)
    given_up.state, given_up.closed_at, given_up.closing_note = State.CANCELLED, now, words.tasks_handed_over()
    if given_up is other:
        # first, since a site has one proposal at a time
        given_up.updated_at = now
        given_up.revision += 1
        given_up.save()
        events_out.off([given_up], now)
    kept.declined = [*kept.declined, *given_up.declined]
    _hand_over(given_up, kept, now)


def _is_driven_to(visit: Visit) -> bool:
    return Stop.objects.filter(visit=visit, round__plan__state=Plan.State.PUBLISHED).exists()


def _with_declined(
    declined: Sequence[dict[str, str]], windows: Sequence[dict[str, str]], now: datetime
) -> list[dict[str, str]]:
    """What was declined and has not gone by, with more windows."""
    return [w for w in declined if w["closes_at"] > as_utc(now) and w not in windows] + list(windows)


def _days_known_to_client(row: Visit) -> list[dict[str, str]]:
    """The days, on the clock of the site, of the times that its client was told."""
    zone = ZoneInfo(row.site.time_zone)
    times = [datetime.fromisoformat(offer["opens_at"]) for offer in row.offers]
    times += [row.appointment_at] if row.appointment_at is not None else []
    days = sorted({at.astimezone(zone).date() for at in times})
    return [
        {
            "opens_at": as_utc(datetime.combine(day, time(), tzinfo=zone)),
            "closes_at": as_utc(datetime.combine(day + timedelta(days=1), time(), tzinfo=zone)),
        }
        for day in days
    ]


def _keep_proposal_off(row: Visit, now: datetime) -> None:
    """Keep the proposal that the site has already off what the client declined; one made later asks for it."""
    proposal = Visit.objects.select_for_update(no_key=True).filter(site_id=row.site_id, state=State.PROPOSED).first()
    if proposal is not None and proposal.pk != row.pk:
        proposal.declined = _with_declined(proposal.declined, row.declined, now)
        proposal.save(update_fields=["declined"])


def depart(*, visit: Visit, by: Membership, now: datetime) -> Visit:
    """Note that the installer is on the way."""
    return _go(visit, by, State.ON_THE_WAY, "depart", "departed for", now)


def begin_visit(*, visit: Visit, by: Membership, now: datetime) -> Visit:
    """Note that the work has begun."""
    return _go(visit, by, State.IN_PROGRESS, "begin visit", "begun", now)


def _go(visit: Visit, by: Membership, state: str, action: str, verb: str, now: datetime) -> Visit:
    with transaction.atomic():
        row = _lock(visit, state, verb=verb)
        _withdraw_offer(row, now)
        state_before, row.state = row.state, state
        # from these the company's driving times are learned
        row.departed_at = now if state == State.ON_THE_WAY else row.departed_at
        row.begun_at = now if state == State.IN_PROGRESS else row.begun_at
        _save(row, by, action, {"was": state_before}, now)
        if state == State.ON_THE_WAY:
            messages.on_the_way(visit=row, by=by, now=now)
    return row


def _withdraw_offer(row: Visit, now: datetime) -> None:
    """Somebody has gone there: the times that were offered are nothing to choose from any more."""
    if row.state == State.OFFERED:
        row.offers = []
        messages.offer_withdrawn(visit=row, now=now)


def report_not_done(*, visit: Visit, by: Membership, obstacle: str, note: str, now: datetime) -> Visit:
    """Close a visit that could not be done; its needs stay open and are proposed again.

    Raises
    ------
    Conflict
        When the visit is closed already.
    InvalidInput
        When the obstacle is another one and the note does not say which.
    """
    with transaction.atomic():
        row = _lock(visit, State.NOT_DONE, verb="reported as not done")
        if obstacle == Visit.Obstacle.OTHER and not note.strip():
            sentence = "note is required: say what the obstacle was."
            raise InvalidInput("reason_missing", sentence, faults=[Fault("/note", sentence)])
        state_before = row.state
        _withdraw_offer(row, now)
        row.state, row.obstacle, row.closed_at, row.closing_note = State.NOT_DONE, obstacle, now, note
        row.tasks.filter(need__state=Need.State.OPEN).update(
            outcome=VisitTask.Outcome.NOT_DONE,
            outcome_reason=note.strip() or gettext(str(Visit.Obstacle(obstacle).label)),
        )
        _save(row, by, "report visit not done", {"was": state_before, "obstacle": obstacle, "note": note}, now)
        messages.not_done(row, now)
        events_out.off([row], now)
        _gives_back(row, now)
    return row


def _check_windows(
    visit: Visit,
    windows: Sequence[tuple[datetime, datetime]],
    installer: Installer | None,
    now: datetime,
    outside_access_hours: bool,
) -> None:
    faults = []
    if not 2 <= len(windows) <= 3:
        faults.append(Fault("/windows", f"give two or three windows, not {len(windows)}."))
    for number, (opens, closes) in enumerate(windows):
        at = f"/windows/{number}"
        if not timedelta(0) < closes - opens <= _LONGEST_WINDOW:
            faults.append(Fault(f"{at}/closes_at", "closes_at must be after opens_at, by eight hours at most."))
        if any(opens < other[1] and other[0] < closes for other in windows[:number]):
            faults.append(Fault(at, "overlaps an earlier window; offer windows that do not overlap."))
        for name, moment in (("opens_at", opens), ("closes_at", closes)):
            try:
                check_appointment(visit, moment, installer, now, outside_access_hours=outside_access_hours)
            except InvalidInput as error:
                for fault in error.faults:
                    is_installer = fault.pointer == "/installer"
                    sentence = fault.sentence.replace("appointment_at", name)
                    faults.append(Fault("/installer" if is_installer else f"{at}/{name}", sentence))
    if faults:
        unique = list(dict.fromkeys(faults))
        raise InvalidInput("offer_not_valid", "These windows cannot be offered.", faults=unique)


def as_utc(moment: datetime) -> str:
    """As it is stored: equal moments are equal texts."""
    return moment.astimezone(UTC).isoformat()


def _lock(visit: Visit, becomes: str, *, verb: str) -> Visit:
    row = Visit.objects.select_for_update(no_key=True).get(pk=visit.pk)
    if becomes not in LEGAL_MOVES[row.state]:
        raise Conflict("visit_move_not_legal", f"The visit {row.state_words} and cannot be {verb}.")
    return row


def _save(row: Visit, by: Membership | None, action: str, details: dict[str, Any], now: datetime) -> None:
    row.revision += 1
    row.updated_at = now
    row.save()
    record(by=by, action=action, subject=row, details=details, now=now, company=row.company)


def _note_confirmed(row: Visit) -> None:
    """Keep what the confirmation tells the client: how long the work takes, and at which units."""
    row.confirmed_minutes = spoken_minutes(row.minutes)
    row.confirmed_units = sorted(set(row.tasks.order_by().values_list("need__unit", flat=True)))


def _gives_back(row: Visit, now: datetime) -> None:
    """What a visit does not do any more is proposed again, with what else its units call for."""
    units = row.tasks.order_by().values_list("need__unit", flat=True).distinct()
    announce(row.company_id, units=units, kind=Kind.NEED, now=now)


def _release(row: Visit, by: Membership | None, now: datetime) -> None:
    """A lock gives way to what is confirmed with the client, when that is something else."""
    same_installer = row.installer_id in (None, row.locked_installer_id)
    if row.locked_start is not None and not (row.locked_start == row.appointment_at and same_installer):
        forget_lock(visit=row, by=by, why=words.confirmed_otherwise(), now=now)


def _hand_over(visit: Visit, other: Visit, now: datetime) -> None:
    need_ids = set(other.tasks.values_list("need_id", flat=True))
    tasks = [task for task in visit.tasks.select_related("need") if task.need_id not in need_ids]
    first = len(need_ids) + 1
    VisitTask.objects.bulk_create(
        VisitTask(visit=other, need=task.need, order=first + k, reason=task.reason) for k, task in enumerate(tasks)
    )
    other.minutes += sum(task.need.minutes for task in tasks)
    other.is_urgent = other.is_urgent or visit.is_urgent
    other.skills = sorted({*other.skills, *visit.skills})
    other.updated_at = now
    other.save()


def _text(moment: datetime | None) -> str | None:
    return moment.isoformat() if moment is not None else None
