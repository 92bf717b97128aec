"""A published plan offered to the clients: for each visit its own time, and others that the plan can bear."""

import dataclasses
from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from functools import cached_property
from typing import Any
from zoneinfo import ZoneInfo

from django.db import transaction

from accounts.errors import Conflict
from accounts.models import Client, Membership
from accounts.services import record
from accounts.services.companies import lock_company
from scheduling.models import Installer, Message, Plan, Stop, Visit
from scheduling.planning import rounds
from scheduling.planning.rounds.alternatives import copies, find_alternatives, held
from scheduling.services.days import PlanningClock
from scheduling.services.people import messages
from scheduling.services.people.words import arrival_span
from scheduling.services.policy import read_policy
from scheduling.services.rounds.problem import AskedVisits, ask
from scheduling.services.settling import Settle
from scheduling.services.visits.visits import as_utc, offer_times
from scheduling.services.words import attention as attention_words
from scheduling.services.words import rounds as words

State = Visit.State
#: Other times offered beside the one of the plan.
MOST_ALTERNATIVES = 2
#: How long before it a time is offered by letter at the latest; common practice, no source.
OFFER_LEAD = timedelta(hours=3)


@dataclass(frozen=True, slots=True)
class NotOffered:
    """A stop to come that is too soon for a letter, why, and the call that settles it."""

    stop: Stop
    reason: str
    settle: Settle


@dataclass(frozen=True, slots=True)
class PlanOffered:
    """Visits that were offered now, the letters that tell of them, one for each client, and what was not offered."""

    visits: Sequence[Visit]
    letters: Sequence[Message]
    not_offered: Sequence[NotOffered]


def offer_plan(*, plan: Plan, by: Membership, now: datetime) -> PlanOffered:
    """Offer the client of every proposed visit in a published plan its time, and one or two others.

    The other times lie in gaps of the rounds, each for one visit alone: whatever the clients choose, the plan can bear
    it. Visits that were offered or confirmed before stay as they are, unless the plan has them at none of the times
    offered any more (`is_outdated`). A time later today is offered too; one that is too soon for a letter is named with
    the call that is left. Offering again offers what has been planned since.

    Parameters
    ----------
    plan
        Published.
    by, now
        Who offers, and when.

    Raises
    ------
    Conflict
        When the plan is not published.
    """
    with transaction.atomic():
        lock_company(plan.company_id)
        row = Plan.objects.select_related("company").get(pk=plan.pk)
        if row.state != Plan.State.PUBLISHED:
            raise Conflict("plan_is_not_published", "Only a published plan can be offered: publish it first.")
        offering = _Offering(row, now)
        offered = [
            offer_times(visit=stop.visit, by=by, offers=offers, now=now) for stop, offers in offering.offers().items()
        ]
        letters = _tell(row, offered, offering.outdated, now)
        if offered:
            details = {"visits": [visit.pk for visit in offered], "letters": [letter.pk for letter in letters]}
            record(by=by, action="offer plan", subject=row, details=details, now=now)
    return PlanOffered(offered, letters, [_not_offered(stop) for stop in offering.too_soon])


def is_outdated(visit: Visit, starts_at: datetime) -> bool:
    """Whether a visit was offered times of a plan, and stands in the plan of today at another than these.

    Times that somebody typed are theirs to take back.
    """
    if visit.state != State.OFFERED or not all("starts_at" in offer for offer in visit.offers):
        return False
    at = as_utc(starts_at)
    return not any(offer["opens_at"] <= at < offer["closes_at"] for offer in visit.offers)


def _not_offered(stop: Stop) -> NotOffered:
    body = {"appointment_at": as_utc(stop.starts_at)}
    settle = Settle(attention_words.note_time(), "POST", f"/api/v1/visits/{stop.visit_id}/confirm/", body)
    zone = ZoneInfo(stop.visit.site.time_zone)
    return NotOffered(stop, words.too_soon_to_offer(stop.visit.site.name, stop.starts_at, zone, OFFER_LEAD), settle)


def _tell(plan: Plan, offered: Sequence[Visit], again: Collection[int], now: datetime) -> list[Message]:
    """One letter to each client about all their visits."""
    by_client: dict[Client, list[Visit]] = {}
    ids = [visit.pk for visit in offered]
    rows = Visit.objects.filter(pk__in=ids).select_related("site__client", "site__company", "installer")
    for visit in rows.order_by("pk"):
        by_client.setdefault(visit.site.client, []).append(visit)
    letters = []
    for client, visits in by_client.items():
        event = f"plan {plan.pk} offers " + ", ".join(f"{visit.pk} r{visit.revision}" for visit in visits)
        letters.append(messages.plan_offered(client, visits, event, now, again))
    return letters


class _Offering:
    """The stops to come of a plan, the question, and what may be offered."""

    def __init__(self, plan: Plan, now: datetime) -> None:
        self.plan, self.now, self.company = plan, now, plan.company
        # who drives today has set out, or is about to: other times are looked for from tomorrow on
        self.today = self.company.day_at(now)
        self.clock = PlanningClock(plan.first_day, self.company.zone)
        stops = Stop.objects.filter(
            round__plan=plan, visit__state__in=Visit.AHEAD, round__day__gte=self.today, starts_at__gt=now
        )
        self.stops = list(
            stops.select_related("visit__site", "round__installer").order_by("round__day", "round_id", "order")
        )
        self.outdated = frozenset(s.visit_id for s in self.stops if is_outdated(s.visit, s.starts_at))
        proposed = [stop for stop in self.stops if self._is_to_offer(stop)]
        self.too_soon = [stop for stop in proposed if self._opens(stop) < now + OFFER_LEAD]
        self.by_visit = {str(stop.visit_id): stop for stop in self.stops}

    @cached_property
    def _installer_names(self) -> Mapping[int, str]:
        return dict(Installer.objects.of_company(self.company).values_list("pk", "name"))

    def offers(self) -> dict[Stop, list[dict[str, Any]]]:
        """Stop of each proposed visit to the windows offered for it, by time."""
        wanted = [stop for stop in self.stops if self._is_to_offer(stop) and stop not in self.too_soon]
        if not wanted:
            return {}
        alternatives = self._alternatives()
        return {stop: self._windows(stop, alternatives.get(str(stop.visit_id), ())) for stop in wanted}

    def _alternatives(self) -> Mapping[str, Sequence[tuple[datetime, int]]]:
        visits = {stop.visit_id for stop in self.stops}
        others = Visit.objects.of_company(self.company).filter(state__in=Visit.AHEAD).exclude(pk__in=visits)
        question = ask(
            company=self.company,
            policy=read_policy(company=self.company),
            first_day=self.plan.first_day,
            days=self.plan.days,
            visits=AskedVisits(also=visits, without=set(others.values_list("pk", flat=True)), free=visits),
            parts=None,
            reshape=self._as_planned,
        )
        problem = question.problem
        plan: dict[tuple[int, int], tuple[int, ...]] = {}
        for c, candidate in sorted(enumerate(problem.candidates), key=lambda entry: self._start(entry[1])):
            fixed = candidate.appointment
            if fixed is not None and fixed.installer is not None:
                cell = (problem.installer_index[fixed.installer], fixed.day)
                plan[cell] = (*plan.get(cell, ()), c)
        first = (self.today - self.plan.first_day).days + 1
        found = find_alternatives(problem, plan, range(max(0, first), self.plan.days))
        return {
            visit: [
                (self.clock.moment(one.day, one.start_s), question.installers[one.installer].pk) for one in alternatives
            ]
            for visit, alternatives in found.items()
        }

    def _is_to_offer(self, stop: Stop) -> bool:
        return stop.visit.state == State.PROPOSED or stop.visit_id in self.outdated

    @staticmethod
    def _opens(stop: Stop) -> datetime:
        return arrival_span(stop.starts_at, stop.visit.site.time_zone)[0]

    @staticmethod
    def _start(candidate: rounds.Candidate) -> tuple[int, int]:
        fixed = candidate.appointment
        return (fixed.day, fixed.start_s) if fixed is not None else (-1, -1)

    def _as_planned(
        self, people: list[rounds.Installer], candidates: list[rounds.Candidate]
    ) -> tuple[list[rounds.Installer], list[rounds.Candidate]]:
        """Every stop held where it is, times offered before kept free, and room asked for new alternatives."""
        names = {person.key for person in people}
        asked: list[rounds.Candidate] = []
        for candidate in candidates:
            stop = self.by_visit[candidate.key]
            if stop.round.installer.name not in names:
                continue
            asked.append(held(candidate, *self.clock.place(stop.starts_at), stop.round.installer.name))
            if self._is_to_offer(stop):
                asked += copies(candidate, MOST_ALTERNATIVES)
            elif stop.visit.state == State.OFFERED:
                asked += self._kept_free(candidate, stop, names)
        return people, asked

    def _kept_free(self, candidate: rounds.Candidate, stop: Stop, names: set[str]) -> list[rounds.Candidate]:
        """Times offered to another client before, which that client may still choose."""
        kept = []
        for number, offer in enumerate(stop.visit.offers):
            at = datetime.fromisoformat(offer.get("starts_at", offer["opens_at"]))
            name = self._installer_names.get(offer.get("installer", stop.round.installer_id), "")
            day, second = self.clock.place(at)
            if at != stop.starts_at and name in names and 0 <= day < self.plan.days:
                aside = dataclasses.replace(candidate, key=f"{candidate.key} offered {number}", parts={})
                kept.append(held(aside, day, second, name))
        return kept

    def _windows(self, stop: Stop, alternatives: Sequence[tuple[datetime, int]]) -> list[dict[str, Any]]:
        """The time of the plan and the others as windows, by time; one that would overlap another is left out."""
        windows: list[dict[str, Any]] = []
        for starts_at, installer in [(stop.starts_at, stop.round.installer_id), *alternatives]:
            opens, closes = arrival_span(starts_at, stop.visit.site.time_zone)
            window = {
                "opens_at": as_utc(opens),
                "closes_at": as_utc(closes),
                "starts_at": as_utc(starts_at),
                "installer": installer,
            }
            if all(window["closes_at"] <= w["opens_at"] or w["closes_at"] <= window["opens_at"] for w in windows):
                windows.append(window)
        return sorted(windows, key=lambda window: str(window["opens_at"]))
