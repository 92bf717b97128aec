"""What of a plan does not fit what is known now: stop by stop, with the call that settles it.

A plan is stored as it was made. Since then somebody may have fallen ill, a client may have confirmed another time, a
stop may have been locked. What publishing refuses, what a plan's `faults` name and how many days a repair plans again
are read here.
"""

from collections import defaultdict
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from typing import Final
from zoneinfo import ZoneInfo

from accounts.models import Company
from scheduling.models import Absence, Plan, Round, Stop, UnservedVisit, Visit
from scheduling.services.people.absences import absences_of, hours_on, is_away
from scheduling.services.rounds.differences import as_text
from scheduling.services.settling import Settle
from scheduling.services.visits.locks import holds, keeps_lock, stands_in
from scheduling.services.words import rounds as words

#: What the plan leaves a visit out for, where its client answered otherwise.
DECLINED, CONFIRMED_OTHERWISE, WITHDRAWN = "declined", "confirmed_otherwise", "withdrawn"
IN_NO_ROUND = "in_no_round"

_OF_SLOT: Final = (
    "pk", "round_id", "visit_id", "starts_at", "leaves_at", "visit__state", "visit__appointment_at",
    "visit__locked_start",
)  # fmt: skip
#: What is read of a stop, with its visit and its site.
_OF_STOP: Final = (
    "round", "visit", "starts_at", "leaves_at", "visit__state", "visit__appointment_at", "visit__locked_start",
    "visit__locked_installer", "visit__site__name",
)  # fmt: skip


@dataclass(frozen=True, slots=True)
class PlanFault:
    """One row of a plan that does not fit.

    Attributes
    ----------
    code, sentence
        What is wrong, for a program and for a person.
    installer, day, visit
        Name, day counted from 0 at the plan's first, and id as text, where it is about one; else empty and None.
    prevents
        Whether the plan cannot be published with it. What stood so in the published plan before prevents nothing, nor
        does a time that nobody can keep: that is for a person to settle with the client.
    settle
        The call that helps.
    """

    code: str
    sentence: str
    settle: Settle
    installer: str = ""
    day: int | None = None
    visit: str = ""
    prevents: bool = False


def faults_of_plan(*, plan: Plan, now: datetime) -> list[PlanFault]:
    """The faults of one plan, as :func:`faults_of`."""
    return faults_of(plans=[plan], now=now)[plan.pk]


def faults_of(*, plans: Sequence[Plan], now: datetime) -> dict[int, list[PlanFault]]:
    """What does not fit, by id of the plan: first what was found when it was made, then by day what has come since.

    The number of queries does not depend on the number of plans.

    Parameters
    ----------
    plans
        Of one company. One that was replaced or has gone by has only the faults it was made with.
    now
        The present moment; what has begun by then fits.
    """
    found = {plan.pk: [_as_made(plan, row) for row in plan.faults] for plan in plans}
    live = [plan for plan in plans if plan.state != Plan.State.REPLACED and plan.last_day >= _today(plans, now)]
    if live:
        known = _Known(live, now)
        for plan in live:
            rows = [*known.of_stops(plan), *known.of_visits(plan)]
            found[plan.pk] += sorted(rows, key=lambda row: (row.day is None, row.day or 0, row.code, row.visit))
    return found


def _today(plans: Sequence[Plan], now: datetime) -> date:
    return plans[0].company.day_at(now)


class _Known:
    """What is known now, read once for all plans."""

    def __init__(self, plans: Sequence[Plan], now: datetime) -> None:
        self.now, self.company = now, plans[0].company
        rounds = {each.pk: each for each in Round.objects.filter(plan__in=plans).select_related("installer")}
        # of these rounds alone: one may come to a plan meanwhile
        slots = Stop.objects.filter(round__in=list(rounds)).values_list(*_OF_SLOT)
        #: The visits that stand in a plan.
        self.visits_in: dict[int, set[int]] = defaultdict(set)
        rows = list(slots.order_by("round__day", "round_id", "order"))
        for _, round_id, visit_id, *_ in rows:
            self.visits_in[rounds[round_id].plan_id].add(visit_id)
        self.unserved: dict[int, list[UnservedVisit]] = defaultdict(list)
        bases = Stop.objects.filter(round__plan__in=[plan.based_on_id for plan in plans if plan.based_on_id])
        self.before: dict[int, set[tuple[int, datetime, int]]] = defaultdict(set)
        slots = bases.values_list("round__plan", "visit", "starts_at", "round__installer")
        for plan_id, visit_id, starts_at, installer_id in slots:
            self.before[plan_id].add((visit_id, starts_at, installer_id))
        installers = {rounds[round_id].installer for _, round_id, *_ in rows}
        # shifts of other time zones begin on the day before or end on the day after
        first, last = min(plan.first_day for plan in plans), max(plan.last_day for plan in plans)
        self.away: Mapping[int, list[Absence]] = absences_of(
            installers, first - timedelta(days=1), last + timedelta(days=1)
        )
        # a plan has thousands of stops, and most of them fit as they did: the others alone are read as objects
        doubtful = [pk for pk, round_id, _, *slot in rows if self._may_not_fit(rounds[round_id], *slot)]
        stops = Stop.objects.filter(pk__in=doubtful).select_related("visit__site", "visit__locked_installer")
        self.stops: dict[int, list[Stop]] = defaultdict(list)
        for stop in stops.only(*_OF_STOP).order_by("round__day", "round_id", "order"):
            stop.round = rounds[stop.round_id]
            self.stops[stop.round.plan_id].append(stop)
        self.counted_on = visits_counted_on(self.company, now)
        # of all that a plan leaves out, thousands in a large company, what follows speaks of those alone
        counted = [visit.pk for visit, _ in self.counted_on]
        for row in UnservedVisit.objects.filter(plan__in=plans, visit__in=counted).order_by("pk"):
            self.unserved[row.plan_id].append(row)
        self.in_rounds = set(
            Stop.objects.of_company(self.company)
            .filter(round__plan__state=Plan.State.PUBLISHED, round__day__gte=self.company.day_at(now))
            .values_list("visit_id", flat=True)
        )

    def of_stops(self, plan: Plan) -> Iterator[PlanFault]:
        """Stops to come that nobody can make, or not then."""
        moves_named = {row["visit"]: row["appointment_at"] for row in plan.differences}
        for stop in self.stops[plan.pk]:
            is_draft = plan.state == Plan.State.DRAFT
            # what a repaired plan took over from the rounds under way is history
            if stop.starts_at <= self.now and not (is_draft and plan.based_on_id is None):
                continue
            visit, installer = stop.visit, stop.round.installer
            stood = self._stood_so(plan, stop)
            if visit.state not in Visit.AHEAD:
                # in a published round it is shown as what it has become
                if is_draft:
                    sentence = words.not_ahead(visit.site.name, visit.pk, visit.state_words)
                    yield self._of_stop(plan, stop, "visit_closed", sentence, prevents=True)
                continue
            if not installer.is_active:
                sentence = words.installer_retired(visit.site.name, visit.pk, installer.name, stop.round.day)
                yield self._of_stop(plan, stop, "installer_retired", sentence, prevents=is_draft and not stood)
            elif self._is_away(stop.round, stop.starts_at, stop.leaves_at):
                sentence = words.installer_away(visit.site.name, visit.pk, installer.name, stop.round.day)
                yield self._of_stop(plan, stop, "installer_away", sentence, prevents=is_draft and not stood)
            if visit.state == Visit.State.CONFIRMED and visit.appointment_at != stop.starts_at:
                # a repaired plan may move an appointment that nobody can keep, and says so in its differences
                if moves_named.get(visit.pk) != as_text(visit.appointment_at):
                    sentence = words.time_differs(visit.site.name, visit.pk)
                    yield self._of_stop(plan, stop, CONFIRMED_OTHERWISE, sentence, prevents=is_draft)
            elif plan.based_on_id is None and not keeps_lock(visit, stop, self.now) and not stands_in(visit, stop):
                # a repaired plan moves what is locked only when its installer is out or nobody can keep the time
                sentence = words.locked_otherwise(visit.site.name, visit.pk)
                yield self._of_stop(plan, stop, "locked_otherwise", sentence, prevents=is_draft)

    def of_visits(self, plan: Plan) -> Iterator[PlanFault]:
        """Times that people were told, and for which nobody drives."""
        here = self.visits_in[plan.pk]
        left_out = {row.visit_id: row for row in self.unserved[plan.pk]}
        for visit, at in self.counted_on:
            if visit.pk in here or visit.state == Visit.State.OFFERED:
                continue
            day = self.company.day_at(at)
            row = left_out.get(visit.pk)
            is_within = plan.first_day <= day <= plan.last_day
            if not is_within and (row is None or visit.pk in self.in_rounds):
                continue
            if row is not None:
                sentence = row.sentence
            else:
                sentence = words.in_no_round(visit.site.name, visit.pk, day, locked=visit.locked_start == at)
            yield PlanFault(
                code=IN_NO_ROUND,
                sentence=sentence,
                settle=self._settle_time(plan, visit, row, is_within=is_within),
                day=(day - plan.first_day).days if is_within else None,
                visit=str(visit.pk),
                # a draft that is older than a client's yes would leave them waiting
                prevents=plan.state == Plan.State.DRAFT
                and row is None
                and plan.based_on_id is None
                and visit.state == Visit.State.CONFIRMED,
            )

    def _may_not_fit(
        self,
        row: Round,
        starts_at: datetime,
        leaves_at: datetime,
        state: str,
        appointment_at: datetime | None,
        locked_start: datetime | None,
    ) -> bool:
        """Whether `of_stops` may have anything to say of a stop."""
        is_at_another_time = state == Visit.State.CONFIRMED and appointment_at != starts_at
        if state not in Visit.AHEAD or is_at_another_time or locked_start is not None or not row.installer.is_active:
            return True
        return self._is_away(row, starts_at, leaves_at)

    def _is_away(self, row: Round, starts_at: datetime, leaves_at: datetime) -> bool:
        """Whether the installer does not work then; overtime of a whole shift is work."""
        installer, zone = row.installer, ZoneInfo(row.installer.time_zone)
        local, ends = starts_at.astimezone(zone), leaves_at.astimezone(zone)
        absences = self.away.get(installer.pk, ())
        if is_away(installer, starts_at, absences):
            return True
        hours = hours_on(installer, local.date(), absences)
        if hours is None:
            # a shift that began the day before, on the clock of the installer
            return row.day == local.date()
        return hours[1] != installer.shift_ends and ends.date() == local.date() and ends.time() > hours[1]

    def _stood_so(self, plan: Plan, stop: Stop) -> bool:
        """Whether the published plan that is repaired has the same stop."""
        if plan.based_on_id is None:
            return False
        return (stop.visit_id, stop.starts_at, stop.round.installer_id) in self.before[plan.based_on_id]

    def _of_stop(self, plan: Plan, stop: Stop, code: str, sentence: str, *, prevents: bool) -> PlanFault:
        return PlanFault(
            code=code,
            sentence=sentence,
            settle=_plan_again(plan),
            installer=stop.round.installer.name,
            day=(stop.round.day - plan.first_day).days,
            visit=str(stop.visit_id),
            prevents=prevents,
        )

    def _settle_time(self, plan: Plan, visit: Visit, row: UnservedVisit | None, *, is_within: bool) -> Settle:
        """Plan again where nobody has tried yet; where the planner found nobody, another time."""
        if row is not None and row.reason != CONFIRMED_OTHERWISE and visit.state == Visit.State.CONFIRMED:
            return Settle(words.confirm_other_time(), "POST", f"/api/v1/visits/{visit.pk}/confirm/")
        if row is not None and row.reason != CONFIRMED_OTHERWISE:
            return Settle(words.take_lock_off(), "POST", f"/api/v1/visits/{visit.pk}/unlock/")
        return _plan_again(plan) if is_within else Settle(words.plan_days(), "POST", "/api/v1/plans/")


def visits_counted_on(company: Company, now: datetime) -> list[tuple[Visit, datetime]]:
    """Visits of which somebody was told a time to come, with the last of them: confirmed, offered or locked."""
    rows = Visit.objects.of_company(company).filter(state__in=Visit.AHEAD).select_related("site", "locked_installer")
    counted_on: list[tuple[Visit, datetime]] = []
    for visit in rows.exclude(state=Visit.State.PROPOSED, locked_start__isnull=True).order_by("pk"):
        times = [datetime.fromisoformat(offer["opens_at"]) for offer in visit.offers]
        if visit.state == Visit.State.CONFIRMED and visit.appointment_at is not None:
            times = [visit.appointment_at]
        if holds(visit, now) and visit.locked_start is not None and visit.state != Visit.State.CONFIRMED:
            times.append(visit.locked_start)
        if times and max(times) > now:
            counted_on.append((visit, max(times)))
    return counted_on


def last_day_counted_on(company: Company, now: datetime) -> date | None:
    """The last day for which somebody was told a time; None where nobody was."""
    return max((company.day_at(at) for _, at in visits_counted_on(company, now)), default=None)


def _as_made(plan: Plan, row: Mapping[str, object]) -> PlanFault:
    day = row.get("day")
    return PlanFault(
        code=str(row.get("code", "")),
        sentence=str(row.get("sentence", "")),
        settle=_plan_again(plan),
        installer=str(row.get("installer") or ""),
        day=day if isinstance(day, int) else None,
        visit=str(row.get("visit") or ""),
        prevents=plan.state == Plan.State.DRAFT,
    )


def _plan_again(plan: Plan) -> Settle:
    """A published plan is repaired; a draft is made anew, from the published plan where it repairs one."""
    if plan.state == Plan.State.PUBLISHED or plan.based_on_id is not None:
        base = plan.pk if plan.state == Plan.State.PUBLISHED else plan.based_on_id
        return Settle(words.repair_plan(), "POST", f"/api/v1/plans/{base}/replan/")
    body = {"first_day": plan.first_day.isoformat(), "days": plan.days}
    return Settle(words.plan_days(), "POST", "/api/v1/plans/", body)
