"""What becomes of the rounds when a time is confirmed with a client, or is not: the published plan follows at once.

A confirmed time that stood on another day's sheet would send somebody at the wrong hour, and a declined one to a
closed door.
"""

from collections.abc import Callable, Mapping, Sequence
from datetime import datetime, timedelta
from typing import Any

from django.db import transaction

from accounts.errors import Conflict, InvalidInput
from accounts.models import Membership
from accounts.services import record
from accounts.services.companies import lock_company
from scheduling.models import Installer, Plan, Stop, UnservedVisit, Visit
from scheduling.services.people import messages
from scheduling.services.people.words import offered_anew
from scheduling.services.rounds.faults import CONFIRMED_OTHERWISE, DECLINED, WITHDRAWN
from scheduling.services.rounds.hand_moves import HandMove, MoveTo, move_stop, preview_move, take_stop_out
from scheduling.services.visits import visits
from scheduling.services.words import rounds as words

State = Visit.State
_SENTENCES: Mapping[str, Callable[[str], str]] = {
    CONFIRMED_OTHERWISE: words.confirmed_otherwise,
    DECLINED: words.declined,
    WITHDRAWN: words.withdrawn,
}
# Short parts are shown on the lists of the round; what is confirmed with a client holds all the same.
_BEARABLE = frozenset({"van_stock", "locked"})


def confirm(*, visit: Visit, by: Membership, now: datetime, **confirmation: Any) -> Visit:
    """Confirm a time, as `visits.confirm_visit`, and bring the published rounds to it."""
    with transaction.atomic():
        lock_company(visit.company_id)
        row = visits.confirm_visit(visit=visit, by=by, now=now, **confirmation)
        follow(visit=row, by=by, now=now)
    return row


def accept(*, visit: Visit, by: Membership | None, opens_at: datetime, now: datetime) -> Visit:
    """Take up a window, as `visits.accept_offer`, and bring the published rounds to it."""
    with transaction.atomic():
        lock_company(visit.company_id)
        row = visits.accept_offer(visit=visit, by=by, opens_at=opens_at, now=now)
        follow(visit=row, by=by, now=now)
    return row


def decline(
    *,
    visit: Visit,
    by: Membership | None,
    reason: str,
    now: datetime,
    offers: Sequence[Mapping[str, Any]] | None = None,
) -> Visit:
    """Decline an offer, as `visits.decline_offer`; the round is driven without the visit.

    Of `offers` that are named, only while it is still those: raises Conflict once the visit is offered other windows.
    """
    with transaction.atomic():
        lock_company(visit.company_id)
        row = Visit.objects.select_for_update(no_key=True).get(pk=visit.pk)
        if offers is not None and row.state == State.OFFERED and row.offers != offers:
            raise Conflict("offer_no_longer_stands", offered_anew())
        row = visits.decline_offer(visit=visit, by=by, reason=reason, now=now)
        follow(visit=row, by=by, now=now)
    return row


def take_back(*, visit: Visit, by: Membership, note: str, now: datetime) -> Visit:
    """Take a time or an offer back, as `visits.unconfirm_visit`; nobody drives to a time that was confirmed."""
    with transaction.atomic():
        lock_company(visit.company_id)
        was_confirmed = Visit.objects.filter(pk=visit.pk, state=State.CONFIRMED).exists()
        row = visits.unconfirm_visit(visit=visit, by=by, note=note, now=now)
        # what was only offered is planned there still, and may be offered again
        if was_confirmed:
            follow(visit=row, by=by, now=now, why=WITHDRAWN)
    return row


def cancel(
    *, visit: Visit, by: Membership | None, note: str, now: datetime, appointment_at: datetime | None = None
) -> Visit:
    """Cancel a visit, as `visits.cancel_visit`; of a confirmed time that is named, only while it is still that.

    Raises
    ------
    Conflict
        When the visit cannot be cancelled, or is confirmed for another time by now.
    """
    with transaction.atomic():
        lock_company(visit.company_id)
        row = Visit.objects.select_for_update(no_key=True).get(pk=visit.pk)
        if appointment_at is not None and row.appointment_at != appointment_at:
            raise Conflict("time_no_longer_stands", "The visit has another time by now; the newest letter has it.")
        return visits.cancel_visit(visit=row, by=by, note=note, now=now)


def ask_for_call(*, visit: Visit, by: Membership | None, note: str, now: datetime) -> Visit:
    """Put the visit on the office's call list: its client wants to talk. Asked again before a change, once is enough.

    Raises
    ------
    Conflict
        When the visit is closed.
    """
    with transaction.atomic():
        row = Visit.objects.select_for_update(no_key=True).get(pk=visit.pk)
        if row.state in Visit.CLOSED:
            raise Conflict("visit_move_not_legal", f"The visit {row.state_words}; ask about the next one.")
        messages.call_wanted(row, note, now)
        record(
            by=by,
            action="ask for call",
            subject=row,
            details={"note": note, "by_link": by is None},
            now=now,
            company=row.company,
        )
    return row


def follow(*, visit: Visit, by: Membership | None, now: datetime, why: str = DECLINED) -> None:
    """Bring the published plan to what a visit has become: its stop moves to the time confirmed, or leaves its round.

    `why` says what the plan leaves it out for where it is a proposal again. A stop whose installer has set out stays:
    the day is repaired by those who are in it.
    """
    stop = _stop_to_come(visit, now)
    # of one that is cancelled, another proposal has the tasks; its stop is shown as cancelled
    if stop is None or visit.state not in (State.CONFIRMED, State.PROPOSED):
        return
    if visit.state == State.CONFIRMED:
        same_installer = visit.installer_id in (None, stop.round.installer_id)
        if stop.starts_at == visit.appointment_at and same_installer:
            return
        if _move(stop, visit, by, now):
            return
    plan, reason = stop.round.plan, CONFIRMED_OTHERWISE if visit.state == State.CONFIRMED else why
    take_stop_out(stop=stop, by=by, why=reason, now=now)
    sentence = _SENTENCES[reason](visit.site.name)
    UnservedVisit.objects.create(plan=plan, visit=visit, reason=reason, sentence=sentence)


def _stop_to_come(visit: Visit, now: datetime) -> Stop | None:
    """The visit's stop in the newest published plan, if nobody has set out for it."""
    stop = (
        Stop.objects.filter(visit=visit, round__plan__state=Plan.State.PUBLISHED)
        .select_related("round__plan__company", "round__installer", "visit__site")
        .order_by("-round__plan__published_at", "-pk")
        .first()
    )
    if stop is None or stop.arrives_at - timedelta(minutes=stop.driving_minutes) <= now:
        return None
    return stop


def _move(stop: Stop, visit: Visit, by: Membership | None, now: datetime) -> bool:
    """Move the stop into a round that keeps the time confirmed, where that breaks nothing; whether there was one."""
    assert visit.appointment_at is not None
    plan = stop.round.plan
    day = plan.company.day_at(visit.appointment_at)
    if not plan.first_day <= day <= plan.last_day:
        return False
    possible = []
    for installer in _who_may_go(visit, stop):
        to: MoveTo = {"installer": installer, "day": day}
        hand_move = _preview(stop, now, to)
        if hand_move is not None:
            possible.append((hand_move.cost["total"], installer.pk, to, hand_move))
    if not possible:
        return False
    _, _, to, hand_move = min(possible, key=lambda entry: entry[:2])
    codes = {warning.code for warning in hand_move.warnings}
    move_stop(stop=stop, by=by, now=now, acknowledge=codes, lock=False, **to)
    return True


def _who_may_go(visit: Visit, stop: Stop) -> Sequence[Installer]:
    if visit.installer is not None:
        return [visit.installer]
    active = Installer.objects.of_company(visit.company).filter(is_active=True)
    return sorted(active, key=lambda someone: (someone.pk != stop.round.installer_id, someone.pk))


def _preview(stop: Stop, now: datetime, to: MoveTo) -> HandMove | None:
    """The move, where nothing forbids it and it breaks nothing that people count on."""
    try:
        hand_move = preview_move(stop=stop, now=now, **to)
    except (Conflict, InvalidInput):
        return None
    if hand_move.refusals or any(warning.code not in _BEARABLE for warning in hand_move.warnings):
        return None
    return hand_move
