"""From rows to the question the round planner is asked, on one clock."""

import hashlib
import json
from collections.abc import Callable, Collection, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from typing import Any
from zoneinfo import ZoneInfo

import numpy as np
from django.db.models import Q

from accounts.models import Company
from fleet.engineering.constants import SECONDS_PER_DAY
from fleet.models import CatalogueItem
from fleet.services.units.access import Access, access_of
from scheduling.models import Absence, Installer, StockLevel, Visit
from scheduling.planning import rounds
from scheduling.planning.company_rules import ServicePolicy
from scheduling.planning.policy import Policy
from scheduling.planning.travel.trips import Place, TravelProvider
from scheduling.services.days import PlanningClock
from scheduling.services.people.absences import absences_of, hours_on, is_away
from scheduling.services.rounds.faults import last_day_counted_on
from scheduling.services.rounds.site_pairs import paired_visits
from scheduling.services.stock.lots import expired_pieces
from scheduling.services.stock.visit_parts import parts_by_visit
from scheduling.services.travel import place_of, provider_for, traffic_of
from scheduling.services.visits.arrivals import Wait, waits_for_parts
from scheduling.services.visits.costs import day_costs
from scheduling.services.visits.locks import holds

#: Hours before the first shift of a day after which that day's rounds are left alone: vans are being loaded.
_LEAD_TIME = timedelta(hours=1)
#: Most days one plan covers.
MOST_DAYS = 28


#: From installers and candidates to those that are asked about.
Reshape = Callable[
    [list[rounds.Installer], list[rounds.Candidate]], tuple[list[rounds.Installer], list[rounds.Candidate]]
]


@dataclass(frozen=True, slots=True)
class AskedVisits:
    """Visits that are asked about otherwise than their state says; ids.

    Attributes
    ----------
    also, without
        Those that are candidates, or are not, whatever their state.
    free
        Those whose confirmed time, offer and lock do not count: a person is about to move them.
    """

    also: Collection[int] = ()
    without: Collection[int] = ()
    free: Collection[int] = ()


@dataclass(frozen=True, slots=True)
class PartsWaitedFor:
    """How visits wait for parts that are neither in the store nor in a van.

    Attributes
    ----------
    loaded
        Ids of visits that wait for none: they are in published rounds, and the vans of a day that has begun are
        loaded.
    ordered
        The day on which parts that are short count as ordered, unless an order brings them; None: the day before the
        first.
    """

    loaded: Collection[int] = ()
    ordered: date | None = None


@dataclass(frozen=True, slots=True)
class PlanQuestion:
    """The question, the rows behind its keys, and its fingerprint.

    Visits to sites whose location is unknown are no part of the question, as no drive there can be timed; the answer
    leaves them out with that reason.
    """

    problem: rounds.RoundProblem
    clock: PlanningClock
    installers: Mapping[str, Installer]
    visits: Mapping[str, Visit]
    unlocated: Sequence[Visit]
    waits: Mapping[str, Wait]
    digest: str


def asked_days(
    *, company: Company, policy: Policy, now: datetime, first_day: date | None = None, days: int | None = None
) -> tuple[date, int]:
    """The first day of a plan and how many it covers, with what nobody said filled in.

    Days that nobody said reach through the last for which somebody was told a time: a client who has confirmed or may
    choose one, an installer whose stop is locked. A plan covers `MOST_DAYS` at most; what was told for later comes
    within reach day by day.

    Parameters
    ----------
    first_day, days
        As somebody asked for them; None: from the next day that has not begun, the policy's working days.
    """
    usual = policy.horizon_days
    if first_day is None:
        first_day, usual = planning_days(company=company, policy=policy, now=now)
    if days is None:
        last = last_day_counted_on(company, now)
        days = usual if last is None else min(max(usual, (last - first_day).days + 1), max(usual, MOST_DAYS))
    return first_day, days


def planning_days(*, company: Company, policy: Policy, now: datetime) -> tuple[date, int]:
    """The days planned whatever was told: from the next that has not begun, as many working days as the policy says.

    Returns
    -------
    First day, and the number of calendar days; (tomorrow, the policy's days) when nobody works.
    """
    installers = list(Installer.objects.of_company(company).filter(is_active=True).order_by("pk"))
    day = company.day_at(now)
    if any(_shift_begins(i, day) <= now + _LEAD_TIME for i in installers if day.weekday() in i.weekdays):
        day += timedelta(days=1)
    working = {weekday for installer in installers for weekday in installer.weekdays}
    if not working:
        return day, policy.horizon_days
    while day.weekday() not in working:
        day += timedelta(days=1)
    first, counted = day, 0
    while True:
        counted += day.weekday() in working
        if counted == policy.horizon_days or (day - first).days + 1 == MOST_DAYS:
            return first, (day - first).days + 1
        day += timedelta(days=1)


def _shift_begins(installer: Installer, day: date) -> datetime:
    return datetime.combine(day, installer.shift_starts, tzinfo=ZoneInfo(installer.time_zone))


def ask(
    *,
    company: Company,
    policy: ServicePolicy,
    first_day: date,
    days: int,
    provider: TravelProvider | None = None,
    visits: AskedVisits = AskedVisits(),
    parts: PartsWaitedFor | None = PartsWaitedFor(),
    reshape: Reshape | None = None,
) -> PlanQuestion:
    """Put the company's question for some days together.

    Candidates are the confirmed visits of those days, the urgent ones, and every proposed visit that is due within
    them or would cost less then than later.

    Parameters
    ----------
    company, policy
        Whose rounds, at what prices.
    first_day, days
        Which days of the company's calendar.
    provider
        Who makes the table of trips; None: as `provider_for` says.
    visits
        Those that are asked about otherwise than their state says.
    parts
        How visits wait for parts; None: not at all.
    reshape
        What becomes of the installers and candidates before the trips between them are asked for; None: they stay.
    """
    clock = PlanningClock(first_day, company.zone)
    installers = list(Installer.objects.of_company(company).filter(is_active=True).order_by("pk"))
    open_visits = _candidates(company, clock, days, visits)
    rows = [visit for visit in open_visits if visit.site.is_located]
    unlocated = [visit for visit in open_visits if not visit.site.is_located]
    taken = _parts(company, rows) if policy.rules.plans_with_van_stock else {}
    stock = _van_stock(company, first_day) if policy.rules.plans_with_van_stock else None
    access = access_of({visit.site_id: visit.site for visit in rows}.values())
    # of sites that never close, which are most, the hours are the same
    open_hours = {hours: _open_hours(clock, days, hours) for hours in set(access.values())}
    # shifts of other time zones begin on the day before or end on the day after
    away = absences_of(installers, first_day - timedelta(days=1), first_day + timedelta(days=days))
    pairs = paired_visits(company=company, visits=rows)
    waits = _waits(company, rows, first_day, parts) if parts is not None else {}
    people = [_installer(i, clock, days, policy.planning, stock, away.get(i.pk, ())) for i in installers]
    candidates = [
        _candidate(
            v,
            clock,
            days,
            open_hours[access[v.site_id]],
            taken.get(v.pk, {}),
            installers,
            waits.get(v.pk),
            away,
            is_free=v.pk in visits.free,
        )
        for v in rows
    ]
    if reshape is not None:
        people, candidates = reshape(people, candidates)
    problem = rounds.RoundProblem.build(
        first_day=first_day,
        days=days,
        installers=people,
        candidates=candidates,
        rates=rounds.rates_of(policy.planning),
        provider=provider or provider_for(company=company, policy=policy),
        apart=pairs.apart,
        together=pairs.together,
        traffic=traffic_of(policy),
    )
    return PlanQuestion(
        problem=problem,
        clock=clock,
        installers={i.name: i for i in installers},
        visits={str(v.pk): v for v in rows},
        unlocated=unlocated,
        waits={str(pk): wait for pk, wait in waits.items()},
        digest=_digest(problem, unlocated),
    )


def _waits(company: Company, visits: Sequence[Visit], first_day: date, parts: PartsWaitedFor) -> Mapping[int, Wait]:
    ordered = parts.ordered or first_day - timedelta(days=1)
    return waits_for_parts(company=company, visits=visits, today=ordered, loaded=parts.loaded)


def _candidates(company: Company, clock: PlanningClock, days: int, visits: AskedVisits) -> list[Visit]:
    begins, ends = clock.moment(0, 0), clock.moment(days - 1, SECONDS_PER_DAY)
    live = (
        Visit.objects.of_company(company)
        .filter(
            Q(state=Visit.State.CONFIRMED, appointment_at__gte=begins, appointment_at__lt=ends)
            | Q(state__in=Visit.UNCONFIRMED)
            | Q(pk__in=visits.also)
        )
        .exclude(pk__in=visits.without)
        .select_related("site", "installer", "locked_installer")
        .order_by("pk")
    )
    return [
        v
        for v in live
        if v.state == Visit.State.CONFIRMED
        or v.pk in visits.also
        or (
            v.locked_start is not None and v.locked_start < ends
            if holds(v, begins)
            else v.is_urgent or _is_worth_asking(v, clock.first_day, days)
        )
    ]


def _is_worth_asking(visit: Visit, first_day: date, days: int) -> bool:
    """Whether the visit is due by the last of the days, or is cheaper within them than after them."""
    if visit.earliest_day <= first_day + timedelta(days=days - 1):
        return True
    costs, cost_if_unserved = day_costs(visit, first_day=first_day, days=days)
    return any(cost is not None and cost < cost_if_unserved for cost in costs)


def _installer(
    installer: Installer,
    clock: PlanningClock,
    days: int,
    policy: Policy,
    stock: Mapping[int, Mapping[str, int]] | None,
    absences: Sequence[Absence],
) -> rounds.Installer:
    zone = ZoneInfo(installer.time_zone)
    shifts = []
    for day in range(days):
        hours = hours_on(installer, clock.first_day + timedelta(days=day), absences)
        span = clock.span(day, *hours, zone) if hours is not None else None
        if span is not None and hours is not None:
            shifts.append(rounds.Shift(day, *span, may_run_over=hours[1] == installer.shift_ends))
    return rounds.Installer(
        # names are unique in a company, and the planner speaks of installers by their key
        key=installer.name,
        home=Place(installer.home_latitude, installer.home_longitude),
        shifts=tuple(shifts),
        skills=frozenset(installer.skills),
        lunch=_lunch(clock, zone, policy),
        van_stock=None if stock is None else stock.get(installer.pk, {}),
        max_overtime_s=60 * installer.max_overtime_minutes,
    )


def _lunch(clock: PlanningClock, zone: ZoneInfo, policy: Policy) -> rounds.Lunch | None:
    """The break, moved by as much as the installer's noon differs from the office's."""
    usual = rounds.lunch_of(policy)
    if usual is None:
        return None
    noon = clock.noon(0)
    shift = round(
        (noon.astimezone(clock.zone).utcoffset() - noon.astimezone(zone).utcoffset()).total_seconds()  # type: ignore[operator]
    )
    earliest = min(max(usual.earliest_start_s + shift, 0), SECONDS_PER_DAY)
    return rounds.Lunch(usual.duration_s, earliest, min(max(usual.latest_start_s + shift, earliest), SECONDS_PER_DAY))


def _candidate(
    visit: Visit,
    clock: PlanningClock,
    days: int,
    hours_of_site: Sequence[rounds.Window],
    parts: Mapping[str, int],
    installers: Sequence[Installer],
    wait: Wait | None,
    away: Mapping[int, Sequence[Absence]],
    *,
    is_free: bool,
) -> rounds.Candidate:
    place = place_of(visit.site)
    assert place is not None
    costs, cost_if_unserved = day_costs(visit, first_day=clock.first_day, days=days)
    if wait is not None:
        costs = [cost if clock.first_day + timedelta(days=k) >= wait.until else None for k, cost in enumerate(costs)]
    appointment = None
    is_locked = holds(visit, clock.moment(0, 0)) and not is_free
    open_hours: tuple[rounds.Window, ...] = ()
    if is_locked:
        appointment = _appointment(clock, visit.locked_start, visit.locked_installer_id, installers, away)
    elif visit.state == Visit.State.CONFIRMED and not is_free:
        appointment = _appointment(clock, visit.appointment_at, visit.installer_id, installers, away)
    else:
        hours = _without_declined(visit, clock, rounds.on_allowed_days(hours_of_site, costs))
        # while the client has not answered, room is kept in what was offered
        waits = visit.state == Visit.State.OFFERED and not is_free
        open_hours = tuple(_offered_hours(visit, clock, days) if waits else hours)
    return rounds.candidate_of(
        key=str(visit.pk),
        place=place,
        windows=open_hours,
        minutes=visit.minutes,
        cost_by_day=costs,
        cost_if_unserved=cost_if_unserved,
        urgent=visit.is_urgent,
        appointment=appointment,
        skills=visit.skills,
        parts=parts,
        installers=[appointment.installer] if is_locked and appointment and appointment.installer else None,
        label=visit.site.name,
    )


def _appointment(
    clock: PlanningClock,
    at: datetime | None,
    installer: int | None,
    installers: Sequence[Installer],
    away: Mapping[int, Sequence[Absence]],
) -> rounds.Appointment:
    assert at is not None
    day, second = clock.place(at)
    # for somebody who is away then, somebody else comes
    installer_name = next(
        (i.name for i in installers if i.pk == installer and not is_away(i, at, away.get(i.pk, ()))), None
    )
    return rounds.Appointment(day, min(max(second, 0), SECONDS_PER_DAY), installer_name)


def _offered_hours(visit: Visit, clock: PlanningClock, days: int) -> list[rounds.Window]:
    """The windows offered to the client; the work starts within one, and may end after it."""
    hours = []
    for offer in visit.offers:
        day, opens = clock.place(datetime.fromisoformat(offer["opens_at"]))
        closes = clock.second(day, datetime.fromisoformat(offer["closes_at"])) + visit.minutes * 60
        if 0 <= day < days and 0 <= opens < closes <= SECONDS_PER_DAY:
            hours.append(rounds.Window(day, opens, closes))
    return sorted(hours)


def _without_declined(visit: Visit, clock: PlanningClock, hours: Sequence[rounds.Window]) -> list[rounds.Window]:
    """The hours less the windows that the client declined; the work may start in none of them."""
    left = list(hours)
    for declined in visit.declined:
        day, opens = clock.place(datetime.fromisoformat(declined["opens_at"]))
        closes = clock.second(day, datetime.fromisoformat(declined["closes_at"]))
        pieces = []
        for window in left:
            if window.day != day or closes <= window.opens_s or window.closes_s <= opens:
                pieces.append(window)
                continue
            # work that starts before the window may still be at it when it opens
            before = min(opens - 1 + visit.minutes * 60, window.closes_s)
            pieces += [rounds.Window(day, window.opens_s, before)] if window.opens_s < opens else []
            pieces += [rounds.Window(day, closes, window.closes_s)] if closes < window.closes_s else []
        left = pieces
    return left


def _open_hours(clock: PlanningClock, days: int, access: Access) -> list[rounds.Window]:
    hours = []
    for day in range(days):
        # where the site's clock is far from the office's, hours of the dates around fall on this day as well
        for date_ in (clock.first_day + timedelta(days=day + k) for k in (-1, 0, 1)):
            for opens, closes in access.hours_on(date_):
                span = clock.span(day, opens, closes, access.zone, on=date_)
                hours += [rounds.Window(day, *span)] if span is not None else []
    return _joined(sorted(hours))


def _joined(hours: Sequence[rounds.Window]) -> list[rounds.Window]:
    """Windows that follow one another without a gap, as those of a site that never closes, as one."""
    joined: list[rounds.Window] = []
    for window in hours:
        last = joined[-1] if joined else None
        if last is not None and last.day == window.day and window.opens_s <= last.closes_s:
            joined[-1] = rounds.Window(last.day, last.opens_s, max(last.closes_s, window.closes_s))
        else:
            joined.append(window)
    return joined


def _parts(company: Company, visits: Sequence[Visit]) -> dict[int, dict[str, int]]:
    """Visit id to item code to quantity: the planner speaks of items by their key."""
    codes = {str(pk): code for pk, code in CatalogueItem.objects.of_company(company).values_list("pk", "code")}
    table = parts_by_visit(company=company, visits=visits)
    return {visit: {codes[item]: quantity for item, quantity in parts.items()} for visit, parts in table.items()}


def _van_stock(company: Company, day: date) -> dict[int, dict[str, int]]:
    """Installer id to item code to the pieces in the van that can be used on a day."""
    stock: dict[int, dict[str, int]] = {}
    levels = StockLevel.objects.of_company(company).filter(installer__isnull=False).select_related("item")
    for level in levels:
        assert level.installer_id is not None
        stock.setdefault(level.installer_id, {})[level.item.code] = level.quantity - expired_pieces(level, day)
    return stock


def _digest(problem: rounds.RoundProblem, unlocated: Sequence[Visit]) -> str:
    """A fingerprint of everything that can change the answer."""
    content: dict[str, Any] = {
        "first_day": problem.first_day.isoformat(),
        "days": problem.days,
        "installers": [
            {
                "key": i.key,
                "home": [i.home.latitude_deg, i.home.longitude_deg],
                "shifts": [[s.day, s.start_s, s.end_s, s.may_run_over] for s in i.shifts],
                "skills": sorted(i.skills),
                "lunch": _lunch_text(i.lunch),
                "stock": dict(i.van_stock) if i.van_stock is not None else None,
                "overtime": i.max_overtime_s,
            }
            for i in problem.installers
        ],
        "candidates": [
            {
                "key": c.key,
                "place": [c.place.latitude_deg, c.place.longitude_deg],
                "windows": [[w.day, w.opens_s, w.closes_s] for w in c.windows],
                "service_s": c.service_s,
                "costs": [*c.cost_by_day_cents, c.cost_if_unserved_cents],
                "urgent": c.urgent,
                "skills": sorted(c.skills),
                "appointment": _appointment_text(c.appointment),
                "parts": dict(c.parts),
                "label": c.label,
            }
            for c in problem.candidates
        ],
        "unlocated": [
            [v.pk, v.state, day_costs(v, first_day=problem.first_day, days=problem.days)[1]] for v in unlocated
        ],
        "rates": [getattr(problem.rates, name) for name in sorted(problem.rates.__dataclass_fields__)],
        "pairs": [problem.apart, problem.together],
        "traffic": problem.traffic.periods if problem.traffic is not None else None,
        "travel": _digest_of_tables(problem.travel.seconds, problem.travel.metres),
    }
    return hashlib.sha256(json.dumps(content, sort_keys=True).encode()).hexdigest()


def _digest_of_tables(*tables: np.ndarray) -> str:
    """The digest of what they hold one after the other; they are large, and not copied for it."""
    digest = hashlib.sha256()
    for table in tables:
        digest.update(np.ascontiguousarray(table).data)
    return digest.hexdigest()


def _lunch_text(lunch: rounds.Lunch | None) -> list[int] | None:
    return None if lunch is None else [lunch.duration_s, lunch.earliest_start_s, lunch.latest_start_s]


def _appointment_text(appointment: rounds.Appointment | None) -> list[Any] | None:
    return None if appointment is None else [appointment.day, appointment.start_s, appointment.installer]
