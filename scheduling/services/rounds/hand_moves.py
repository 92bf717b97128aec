"""One stop moved by a person: seen first, then done, with the rest of the rounds re-timed."""

import dataclasses
from collections.abc import Collection, Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from typing import Any, TypedDict, Unpack

from django.db import transaction
from django.db.models import F

from accounts.errors import Conflict, Fault, InvalidInput
from accounts.models import Membership
from accounts.services import record
from accounts.services.companies import lock_company
from scheduling.models import Installer, Plan, Round, Stop, Visit
from scheduling.planning import rounds
from scheduling.planning.errors import PlanningError
from scheduling.planning.rounds.by_hand import MovedByHand, move_by_hand, take_out
from scheduling.services import events_out
from scheduling.services.days import PlanningClock
from scheduling.services.people import messages
from scheduling.services.policy import read_policy
from scheduling.services.rounds.costs import add_up, cents_of_part, cents_of_route, costs_of_plan
from scheduling.services.rounds.differences import as_text, compare_stops
from scheduling.services.rounds.plans import round_row, stop_rows
from scheduling.services.rounds.problem import AskedVisits, PlanQuestion, ask
from scheduling.services.rounds.why import earlier_reasons
from scheduling.services.stock.parts import write_parts_lists
from scheduling.services.travel import place_of
from scheduling.services.visits.locks import LOCK, holds, put_lock
from scheduling.services.words import rounds as words
from scheduling.services.words import why as why_words

State = Visit.State
#: (installer position, day) to candidate positions in order of visit.
PlanOfRounds = dict[tuple[int, int], tuple[int, ...]]
# Places in a round while they are dealt out anew: far above any that are used.
_ASIDE = 10_000


class MoveTo(TypedDict, total=False):
    """Where a stop is moved to; what is left out stays as it is.

    `installer` and `day` say whose round, on which day of the plan; `place` its place in that round, from 1 (None:
    where it costs least); `confirmed` whether the client has confirmed a new time, for a visit that was confirmed.
    """

    installer: Installer | None
    day: date | None
    place: int | None
    confirmed: bool


@dataclass(frozen=True, slots=True)
class Obstacle:
    """Something a move breaks: a word to acknowledge it by, and a sentence."""

    code: str
    sentence: str
    visit: int | None = None


@dataclass(frozen=True, slots=True)
class HandMove:
    """What a move does, or did: findings, costs in the company's money, and every visit that changes.

    `minutes` and `km` are how much more driving, `refusals` forbid it, `warnings` are to be acknowledged by their
    codes. `rows` has the rounds concerned as they would be, `stop` the stop where it is now.
    """

    stop: Stop
    refusals: Sequence[Obstacle]
    warnings: Sequence[Obstacle]
    cost: dict[str, float]
    minutes: float
    km: float
    differences: list[dict[str, Any]]
    rows: Sequence[tuple[Round, Sequence[Stop]]]


def preview_move(*, stop: Stop, now: datetime, **to: Unpack[MoveTo]) -> HandMove:
    """Say what a move would do, and store nothing.

    Parameters
    ----------
    stop
        Of a draft or a published plan, still to come.
    now
        The present moment; what has begun by then stays.
    to
        Where it is moved to.

    Raises
    ------
    Conflict
        When the plan was replaced, or the stop has begun or is closed.
    InvalidInput
        When the plan has no such day, or the round no such place.
    """
    return _Moving(stop, now, to).preview()


def move_stop(
    *,
    stop: Stop,
    by: Membership | None,
    now: datetime,
    acknowledge: Collection[str] = (),
    lock: bool = True,
    reason: str = "",
    **to: Unpack[MoveTo],
) -> HandMove:
    """Move a stop, re-time the rounds concerned, and tell those who must know.

    Parameters
    ----------
    stop, now, to
        As `preview_move` takes them.
    by
        Who moves it; None: a client by a link.
    acknowledge
        Codes of the warnings that are overridden.
    lock
        Whether later plans leave it there.
    reason
        Why; kept with the lock.

    Raises
    ------
    Conflict
        As `preview_move`; when something forbids the move, or a warning is not acknowledged.
    InvalidInput
        As `preview_move`.
    """
    with transaction.atomic():
        lock_company(stop.round.plan.company_id)
        moving = _Moving(Stop.objects.get(pk=stop.pk), now, to)
        hand_move = moving.preview()
        if hand_move.refusals:
            raise Conflict(
                "move_not_possible",
                hand_move.refusals[0].sentence,
                faults=[Fault("", refusal.sentence) for refusal in hand_move.refusals],
            )
        silent = [warning for warning in hand_move.warnings if warning.code not in acknowledge]
        if silent:
            codes = ", ".join(dict.fromkeys(warning.code for warning in silent))
            raise Conflict(
                "warnings_not_acknowledged",
                f"The move breaks a rule; to make it anyway, acknowledge: {codes}.",
                faults=[Fault("/acknowledge", f"{w.code}: {w.sentence}") for w in silent],
            )
        moving.store(hand_move, by, lock, reason)
        details = {
            "plan": moving.plan.pk,
            "from": {"installer": moving.source.installer_id, "starts_at": as_text(moving.stop.starts_at)},
            "to": next((row["after"] for row in hand_move.differences if row["visit"] == moving.stop.visit_id), None),
            "acknowledged": [{"code": w.code, "sentence": w.sentence} for w in hand_move.warnings],
            "cost": hand_move.cost,
            "confirmed": moving.confirmed,
            "reason": reason,
        }
        record(by=by, action="move stop", subject=moving.stop, details=details, now=now, company=moving.company)
    return dataclasses.replace(hand_move, stop=Stop.objects.get(pk=stop.pk))


def take_stop_out(*, stop: Stop, by: Membership | None, why: str, now: datetime) -> HandMove:
    """Take a stop out of its round, re-time the rest of it, and tell those who must know.

    Parameters
    ----------
    stop
        Of a draft or a published plan, still to come; its visit is not closed.
    by, now
        Who caused it, and when; None: a client by a link.
    why
        The reason, kept on record.

    Raises
    ------
    Conflict
        When the plan was replaced, or the stop has begun or is closed.
    """
    with transaction.atomic():
        lock_company(stop.round.plan.company_id)
        leaving = _Leaving(Stop.objects.get(pk=stop.pk), now, {})
        hand_move = leaving.preview()
        leaving.store(hand_move, by, lock=False, reason="")
        details = {"plan": leaving.plan.pk, "starts_at": as_text(stop.starts_at), "cost": hand_move.cost, "why": why}
        record(by=by, action="take stop out", subject=leaving.plan, details=details, now=now, company=leaving.company)
    return hand_move


class _Moving:
    """One move: the rounds concerned, the question, the answer."""

    def __init__(self, stop: Stop, now: datetime, to: MoveTo) -> None:
        self.stop, self.now, self.confirmed = stop, now, to.get("confirmed", False)
        self.source, self.plan = stop.round, stop.round.plan
        self.company = self.plan.company
        self.clock = PlanningClock(self.plan.first_day, self.company.zone)
        self.installer = to.get("installer") or self.source.installer
        self.day = to.get("day") or self.source.day
        self.place = to.get("place")
        self._check()
        self.rows = [
            row
            for row in Round.objects.filter(plan=self.plan).select_related("installer").order_by("pk")
            if row.pk == self.source.pk or (row.installer_id, row.day) == (self.installer.pk, self.day)
        ]
        stops = Stop.objects.filter(round__in=self.rows).select_related("visit__site__client", "round__installer")
        self.stops = list(stops.order_by("round_id", "order"))
        self.begun = {s.pk for s in self.stops if self._has_begun(s)}
        self.off = {s.pk for s in self.stops if s.visit.state == State.CANCELLED and s.pk not in self.begun}
        if stop.pk in self.begun:
            raise Conflict("stop_has_gone_by", "The installer has departed for this stop; it can no longer be moved.")
        self.question = self._ask()

    def _check(self) -> None:
        visit = self.stop.visit
        if self.plan.state == Plan.State.REPLACED:
            raise Conflict("plan_is_replaced", "A newer plan has replaced this one; move the visit's stop there.")
        if visit.state not in Visit.AHEAD:
            raise Conflict("visit_move_not_legal", f"The visit {visit.state_words}; it cannot be moved.")
        last = self.plan.last_day
        today = self.company.day_at(self.now)
        if not max(self.plan.first_day, today) <= self.day <= last:
            sentence = f"day must be from {max(self.plan.first_day, today)} to {last}, the days of the plan."
            raise InvalidInput("day_not_in_plan", sentence, faults=[Fault("/day", sentence)])
        if not self.installer.is_active:
            sentence = f"{self.installer.name} is not an active installer; name another."
            raise InvalidInput("installer_not_active", sentence, faults=[Fault("/installer", sentence)])

    def _has_begun(self, stop: Stop) -> bool:
        if stop.visit.state in (*Visit.UNDER_WAY, *Visit.VISITED):
            return True
        return stop.arrives_at - timedelta(minutes=stop.driving_minutes) <= self.now

    def _movable(self, row: Round) -> list[Stop]:
        return [s for s in self.stops if s.round_id == row.pk and s.pk not in self.begun and s.pk not in self.off]

    def _ask(self) -> PlanQuestion:
        """The question for the stops concerned alone, with rounds that have begun starting where they stand."""
        movable_visits = {s.visit_id for row in self.rows for s in self._movable(row)}
        others = Visit.objects.of_company(self.company).filter(state__in=Visit.AHEAD).exclude(pk__in=movable_visits)
        return ask(
            company=self.company,
            policy=read_policy(company=self.company),
            first_day=self.plan.first_day,
            days=self.plan.days,
            visits=AskedVisits(
                also=movable_visits,
                without=set(others.values_list("pk", flat=True)),
                # its lock and its offer are for a person to override
                free=[self.stop.visit_id],
            ),
            parts=None,
            reshape=self._as_things_stand,
        )

    def _as_things_stand(
        self, people: list[rounds.Installer], candidates: list[rounds.Candidate]
    ) -> tuple[list[rounds.Installer], list[rounds.Candidate]]:
        """The rest of the days that have begun, and the stop with what was confirmed for it."""
        return [self._from_now(person) for person in people], [self._as_confirmed(c, people) for c in candidates]

    def _as_confirmed(self, candidate: rounds.Candidate, people: Sequence[rounds.Installer]) -> rounds.Candidate:
        """The stop itself keeps what the client confirmed, unless something else has been confirmed."""
        visit = self.stop.visit
        if candidate.key != str(visit.pk) or visit.state != State.CONFIRMED or self.confirmed:
            return candidate
        assert visit.appointment_at is not None
        day, second = self.clock.place(visit.appointment_at)
        name = visit.installer.name if visit.installer is not None else None
        installer_key = name if any(person.key == name for person in people) else None
        if not 0 <= day < self.plan.days:
            return candidate
        return dataclasses.replace(candidate, appointment=rounds.Appointment(day, second, installer_key))

    def _from_now(self, person: rounds.Installer) -> rounds.Installer:
        """An installer of whose day something has gone by: the rest of it, from where they are."""
        today, second = self.clock.place(self.now)
        row = next((r for r in self.rows if r.installer.name == person.key and self._offset(r) == today), None)
        shifts = []
        for shift in person.shifts:
            begun = [s for s in self.stops if row is not None and s.round_id == row.pk and s.pk in self.begun]
            if shift.day != today:
                shifts.append(shift)
                continue
            free = max([shift.start_s, second, *(self.clock.second(today, s.leaves_at) for s in begun)])
            eaten = row is not None and row.lunch_at is not None and row.lunch_at <= self.now
            if free < shift.end_s:
                at = (place_of(begun[-1].visit.site) if begun else None) or shift.starts_at
                shifts.append(dataclasses.replace(shift, start_s=free, starts_at=at, had_lunch=eaten))
        return dataclasses.replace(person, shifts=tuple(shifts))

    def _offset(self, row: Round) -> int:
        return (row.day - self.plan.first_day).days

    def preview(self) -> HandMove:
        """Ask the planning room, and put its answer into rows."""
        problem = self.question.problem
        plan = {
            (problem.installer_index[row.installer.name], self._offset(row)): tuple(
                problem.candidate_index[str(s.visit_id)] for s in self._movable(row)
            )
            for row in self.rows
            if row.installer.name in problem.installer_index
        }
        begun = len([s for s in self.stops if s.pk in self.begun and self._is_target(s.round)])
        if self.place is not None and self.place <= begun:
            sentence = f"place must be {begun + 1} or later; the stops before it have begun."
            raise InvalidInput("no_such_place", sentence, faults=[Fault("/place", sentence)])
        try:
            answer = self._answer(problem, plan, begun)
        except PlanningError as error:
            sentence = f"{error.field} {error.message}"
            raise InvalidInput("no_such_place", sentence, faults=[Fault(f"/{error.field}", sentence)]) from error
        rows = self._rows(answer)
        moved = next((s for _, stops in rows for s in stops if s.visit_id == self.stop.visit_id), None)
        refusals = self._refused(moved)
        # once said that the client must be asked, nobody needs to hear that the old time does not fit
        asked_first = {str(refusal.visit) for refusal in refusals}
        refusals += [self._finding(f) for f in answer.refusals if f.visit not in asked_first]
        warnings = [*self._warned(moved), *(self._finding(f) for f in answer.warnings)]
        return HandMove(
            stop=self.stop,
            refusals=refusals,
            warnings=warnings,
            cost={
                "total": answer.total_cents / 100,
                "driving": answer.driving_cents / 100,
                "overtime": answer.overtime_cents / 100,
                "visits": answer.visits_cents / 100,
            },
            minutes=round(answer.drive_s / 60, 1),
            km=round(answer.drive_m / 1_000, 1),
            differences=self._differences(rows) if rows else [],
            rows=rows,
        )

    def _answer(self, problem: rounds.RoundProblem, plan: PlanOfRounds, begun: int) -> MovedByHand:
        return move_by_hand(
            problem,
            plan,
            str(self.stop.visit_id),
            installer=self.installer.name,
            day=(self.day - self.plan.first_day).days,
            place=None if self.place is None else self.place - begun,
        )

    def _is_target(self, row: Round) -> bool:
        return (row.installer_id, row.day) == (self.installer.pk, self.day)

    def _finding(self, fault: Any) -> Obstacle:
        return Obstacle(fault.code, fault.sentence, int(fault.visit) if fault.visit else None)

    def _refused(self, moved: Stop | None) -> list[Obstacle]:
        visit = self.stop.visit
        if visit.state != State.CONFIRMED or self.confirmed:
            return []
        another = visit.installer_id not in (None, self.installer.pk)
        if another or moved is None or moved.starts_at != visit.appointment_at:
            return [
                Obstacle(
                    "confirmed",
                    words.ask_client_first(visit.site.name),
                    visit.pk,
                )
            ]
        return []

    def _warned(self, moved: Stop | None) -> list[Obstacle]:
        visit, warnings = self.stop.visit, []
        if holds(visit, self.now):
            locker = visit.locked_by.name if visit.locked_by is not None else ""
            warnings.append(Obstacle("locked", words.locked_by(locker, visit.lock_reason), visit.pk))
        if visit.state == State.OFFERED and moved is not None:
            spans = [
                (datetime.fromisoformat(o["opens_at"]), datetime.fromisoformat(o["closes_at"])) for o in visit.offers
            ]
            if not any(opens <= moved.starts_at <= closes for opens, closes in spans):
                warnings.append(Obstacle("outside_offer", words.offered_other_times(visit.site.name), visit.pk))
        return warnings

    def _rows(self, answer: MovedByHand) -> list[tuple[Round, list[Stop]]]:
        """The rounds as they would be stored: what has begun, then what was timed anew, then what was cancelled."""
        rows = []
        policy = read_policy(company=self.company).planning
        by_cell = {(self.question.installers[r.installer].pk, r.date): r for r in answer.after}
        reasons = rounds.reasons_of(self.question.problem, answer.after)
        earlier = earlier_reasons(self.stops) | self._reason_by_hand()
        row_of = {(row.installer_id, row.day): row for row in self.rows}
        for cell in [*row_of, *(cell for cell in by_cell if cell not in row_of)]:
            route, old = by_cell.get(cell), row_of.get(cell)
            begun_stops = [s for s in self.stops if old is not None and s.round_id == old.pk and s.pk in self.begun]
            cancelled_stops = [s for s in self.stops if old is not None and s.round_id == old.pk and s.pk in self.off]
            if route is None:
                if old is not None and answer.after:
                    placed = {int(s.visit) for other in answer.after for s in other.stops}
                    rows.append((old, [s for s in self._untimed(old) if s.visit_id not in placed]))
                continue
            row = round_row(self.plan, route, self.question)
            row.pk = old.pk if old is not None else None
            visits = [self.question.visits[s.visit] for s in route.stops]
            row.costs = add_up(
                cents_of_part(row, begun_stops, policy), cents_of_route(self.question.problem, route, visits)
            )
            if begun_stops and old is not None:
                row.leaves_at, row.lunch_at = old.leaves_at, row.lunch_at or old.lunch_at
                row.driving_minutes = round(row.driving_minutes + sum(s.driving_minutes for s in begun_stops), 1)
                row.driving_km = round(row.driving_km + sum(s.driving_km for s in begun_stops), 1)
            more = stop_rows(row, route, self.question, reasons, first=len(begun_stops) + 1, earlier=earlier)
            stops = [*begun_stops, *more]
            rows.append((row, [*stops, *cancelled_stops]))
        return rows

    def _untimed(self, row: Round) -> list[Stop]:
        """What stays in a round that nobody can time anew, its installer being away by now, until it is repaired."""
        return [s for s in self.stops if s.round_id == row.pk and s.pk != self.stop.pk]

    def _reason_by_hand(self) -> dict[tuple[int, int, date], str]:
        """Why the stop that is moved will be where it is."""
        return {(self.stop.visit_id, self.installer.pk, self.day): why_words.moved_by_hand()}

    def _differences(self, rows: Sequence[tuple[Round, Sequence[Stop]]]) -> list[dict[str, Any]]:
        after = [s for _, stops in rows for s in stops]
        matter = self.begun | self.off
        for row, stops in rows:
            for stop in stops:
                stop.round = row
        return compare_stops(
            company=self.company,
            before=[s for s in self.stops if s.pk not in matter],
            after=[s for s in after if s.pk not in matter],
            first_day=self.plan.first_day,
        )

    def store(self, hand_move: HandMove, by: Membership | None, lock: bool, reason: str) -> None:
        """Write the rounds; stops keep their addresses."""
        ids = {s.visit_id: s.pk for s in self.stops}
        slots = {s.visit_id: (s.starts_at, s.leaves_at, s.round.installer_id) for s in self.stops}
        Stop.objects.filter(pk__in=ids.values()).update(order=F("order") + _ASIDE)
        written = [(row, stops) for row, stops in hand_move.rows if stops]
        for row, stops in written:
            row.save()
            for order, stop in enumerate(stops, start=1):
                stop.pk, stop.round, stop.order = ids[stop.visit_id], row, order
                stop.save(force_update=True)
        Round.objects.filter(pk__in=[row.pk for row, stops in hand_move.rows if not stops and row.pk]).delete()
        self.plan.costs = self.plan.costs | costs_of_plan(self.plan)
        # it is no longer what the planner answered
        self.plan.digest = ""
        self.plan.save(update_fields=["costs", "digest"])
        moved = []
        for row, stops in written:
            for stop in stops:
                before = slots[stop.visit_id]
                changed = before != (stop.starts_at, stop.leaves_at, row.installer_id)
                if changed or stop.visit_id == self.stop.visit_id:
                    self._note(stop, row, by, lock, reason, changed)
                moved.append((stop.visit, events_out.Slot(before[0], before[2]), events_out.Slot.of_stop(stop)))
        if self.plan.state == Plan.State.PUBLISHED:
            event = f"plan {self.plan.pk} moved {as_text(self.now)}"
            messages.rounds_changed(self.company, event, hand_move.differences, self.now)
            events_out.times_set(self.company.pk, moved, self.now)
        write_parts_lists(plan=self.plan, now=self.now)

    def _note(self, stop: Stop, row: Round, by: Membership | None, lock: bool, reason: str, changed: bool) -> None:
        """Take over on the visit what its stop says now."""
        visit = Visit.objects.select_for_update(no_key=True).select_related("site__client").get(pk=stop.visit_id)
        published = self.plan.state == Plan.State.PUBLISHED
        appointment_before, installer_before = visit.appointment_at, visit.installer_id
        if changed and published:
            visit.revision += 1
            visit.updated_at = self.now
            if visit.state == State.PROPOSED or visit.installer_id is not None:
                visit.installer_id = row.installer_id
        if visit.pk == self.stop.visit_id:
            if visit.state == State.CONFIRMED and appointment_before != stop.starts_at:
                visit.appointment_at, visit.revision = stop.starts_at, visit.revision + (not published)
            if visit.state == State.CONFIRMED and visit.installer_id is not None:
                visit.installer_id = row.installer_id
            if lock:
                put_lock(visit=visit, start=stop, by=by, reason=reason or "moved by hand", now=self.now)
            elif visit.locked_start is not None:
                visit.locked_start = visit.locked_installer = visit.locked_by = visit.locked_at = None
                visit.lock_reason = ""
        visit.save(update_fields=["revision", "updated_at", "installer", "appointment_at", *LOCK])
        stop.visit = visit
        if visit.state == State.CONFIRMED and visit.appointment_at != appointment_before:
            messages.moved(visit, appointment_before, self.now)
        elif visit.state == State.CONFIRMED and published:
            messages.other_installers([(visit, installer_before)], self.now)


class _Leaving(_Moving):
    """One stop that goes out of its round: nothing forbids it, the rest of the round is timed anew."""

    def _answer(
        self, problem: rounds.RoundProblem, plan: dict[tuple[int, int], tuple[int, ...]], begun: int
    ) -> MovedByHand:
        return take_out(problem, plan, str(self.stop.visit_id))

    def _refused(self, moved: Stop | None) -> list[Obstacle]:
        return []

    def _warned(self, moved: Stop | None) -> list[Obstacle]:
        return []

    def _rows(self, answer: MovedByHand) -> list[tuple[Round, list[Stop]]]:
        return super()._rows(answer) or [(self.source, self._untimed(self.source))]

    def store(self, hand_move: HandMove, by: Membership | None, lock: bool, reason: str) -> None:
        Stop.objects.filter(pk=self.stop.pk).delete()
        self.stops = [s for s in self.stops if s.pk != self.stop.pk]
        super().store(hand_move, by, lock, reason)
