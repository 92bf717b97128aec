"""What the round planner is asked: installers, candidate visits, prices and the table of trips.

Conventions: a day is an offset from ``first_day``; a time of day is in whole seconds of the local wall clock
(0-86,400, so convert at the border on the two days a year the clocks change); money is in whole cents.
"""

from __future__ import annotations

import datetime
from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass, field
from functools import cached_property
from types import MappingProxyType
from typing import Final

import numpy as np

from fleet.engineering.constants import SECONDS_PER_DAY
from scheduling.planning.errors import PlanningError
from scheduling.planning.travel.traffic import Traffic
from scheduling.planning.travel.trips import Place, Travel, TravelProvider

#: People are told whole minutes: what starts within one starts when they were told.
REST_OF_MINUTE_S: Final = 59


def whole_minute(second: int) -> int:
    """The minute that people are told of a second of a day.

    >>> whole_minute(9 * 3600 + 14 * 60 + 37) == 9 * 3600 + 14 * 60
    True
    """
    return second - second % (REST_OF_MINUTE_S + 1)


def _check_whole(name: str, value: object, *, low: int = 0, high: int | None = None) -> None:
    """The solver truncates floats without a word (1.5 becomes 1), so nothing but whole numbers gets this far."""
    if isinstance(value, bool) or not isinstance(value, int):
        raise PlanningError(name, f"must be a whole number, not {value!r}; round it first.")
    if value < low or (high is not None and value > high):
        bounds = f"at least {low}" if high is None else f"between {low} and {high}"
        raise PlanningError(name, f"must be {bounds}, not {value}.")


@dataclass(frozen=True, slots=True, order=True)
class Window:
    """A visit may take place on ``day`` from ``opens_s`` on and must be finished by ``closes_s``."""

    day: int
    opens_s: int
    closes_s: int

    def __post_init__(self) -> None:
        _check_whole("window.day", self.day)
        _check_whole("window.opens_s", self.opens_s, high=SECONDS_PER_DAY)
        _check_whole("window.closes_s", self.closes_s, low=self.opens_s, high=SECONDS_PER_DAY)


@dataclass(frozen=True, slots=True, order=True)
class Shift:
    """An installer works on ``day``, leaving no earlier than ``start_s`` and home by ``end_s``.

    The rest is for a day that has begun: where the installer is (None: at home), whether the break is behind them, and
    what is left in the van (None: what ``Installer.van_stock`` says). ``may_run_over`` is off for a day that is cut
    short by an absence, which no overtime runs into.
    """

    day: int
    start_s: int
    end_s: int
    starts_at: Place | None = field(default=None, compare=False)
    had_lunch: bool = False
    van_stock: Mapping[str, int] | None = field(default=None, compare=False)
    may_run_over: bool = True

    def __post_init__(self) -> None:
        _check_whole("shift.day", self.day)
        _check_whole("shift.start_s", self.start_s, high=SECONDS_PER_DAY)
        _check_whole("shift.end_s", self.end_s, low=self.start_s, high=SECONDS_PER_DAY)
        for item, quantity in (self.van_stock or {}).items():
            _check_whole(f"shift.van_stock.{item}", quantity)


@dataclass(frozen=True, slots=True)
class Lunch:
    """A break of ``duration_s`` that starts between the two times, taken after a stop, at the stop, or at home.

    It is due on every worked day whose shift reaches from the first to the last time at which it could be taken; half
    days have none. On a day that has begun, it is due unless it has been had.
    """

    duration_s: int = 1_800
    earliest_start_s: int = 41_400
    latest_start_s: int = 48_600

    def __post_init__(self) -> None:
        _check_whole("lunch.duration_s", self.duration_s, low=1, high=SECONDS_PER_DAY)
        _check_whole("lunch.earliest_start_s", self.earliest_start_s, high=SECONDS_PER_DAY)
        _check_whole("lunch.latest_start_s", self.latest_start_s, low=self.earliest_start_s, high=SECONDS_PER_DAY)

    def is_due(self, shift: Shift) -> bool:
        """Whether a shift is long enough to owe this break."""
        if shift.had_lunch:
            return False
        begins_in_time = shift.start_s <= self.earliest_start_s or shift.starts_at is not None
        return begins_in_time and shift.end_s >= self.latest_start_s + self.duration_s


@dataclass(frozen=True, slots=True)
class Installer:
    """Someone who drives rounds.

    Attributes
    ----------
    key
        Unique among the installers.
    home
        Where every round starts and ends.
    shifts
        At most one a day; a day without one is a day off.
    skills
        What they may do.
    lunch
        Their break; None: none is due.
    van_stock
        Item key to quantity in the van each morning (it is restocked at home overnight); None: the van is loaded
        with whatever the round needs. Items not named are not carried.
    max_overtime_s
        How long after the end of a shift they may still come home, at the price of ``Rates``.
    """

    key: str
    home: Place
    shifts: tuple[Shift, ...]
    skills: frozenset[str] = frozenset()
    lunch: Lunch | None = Lunch()
    van_stock: Mapping[str, int] | None = None
    max_overtime_s: int = 0

    def __post_init__(self) -> None:
        _check_whole(f"installer {self.key}.max_overtime_s", self.max_overtime_s, high=SECONDS_PER_DAY)
        days = [shift.day for shift in self.shifts]
        if len(set(days)) != len(days):
            raise PlanningError(f"installer {self.key}.shifts", "holds two shifts on one day; give at most one.")
        for item, quantity in (self.van_stock or {}).items():
            _check_whole(f"installer {self.key}.van_stock.{item}", quantity)

    def shift_on(self, day: int) -> Shift | None:
        """The shift of that day, or None on a day off."""
        return next((shift for shift in self.shifts if shift.day == day), None)

    def overtime_on(self, shift: Shift) -> int:
        """Seconds by which a shift may be overrun."""
        return self.max_overtime_s if shift.may_run_over else 0

    def stock_on(self, day: int) -> Mapping[str, int] | None:
        """What the van carries that day; None: whatever the round needs."""
        shift = self.shift_on(day)
        return self.van_stock if shift is None or shift.van_stock is None else shift.van_stock


@dataclass(frozen=True, slots=True)
class Appointment:
    """A confirmed visit: it starts on ``day`` at ``start_s``, by ``installer`` if one was confirmed.

    People are told whole minutes: work that starts within the minute, up to ``slack_s`` after ``start_s``, keeps it.
    """

    day: int
    start_s: int
    installer: str | None = None
    slack_s: int = REST_OF_MINUTE_S

    def __post_init__(self) -> None:
        _check_whole("appointment.day", self.day)
        _check_whole("appointment.start_s", self.start_s, high=SECONDS_PER_DAY)
        _check_whole("appointment.slack_s", self.slack_s, high=REST_OF_MINUTE_S)


@dataclass(frozen=True, slots=True)
class Candidate:
    """A visit that might be made.

    Attributes
    ----------
    key
        Unique among the candidates.
    place
        Where.
    windows
        When the site can be entered; not used for a confirmed appointment.
    service_s
        How long the work takes.
    cost_by_day_cents
        What serving it on each day of the horizon costs (waste, lateness, the visit itself), without driving.
    cost_if_unserved_cents
        What leaving it out of this horizon costs.
    urgent
        To be served whatever it costs, if it can be.
    appointment
        Set when the client has a confirmed time.
    skills
        What the installer must be able to do.
    parts
        Item key to quantity taken from the van.
    installers
        When given, only these may go.
    cost_by_installer_cents
        What it costs more with some installers, on any day; at least 0.
    label
        How a sentence names the visit; the key when empty.
    """

    key: str
    place: Place
    windows: tuple[Window, ...]
    service_s: int
    cost_by_day_cents: tuple[int, ...]
    cost_if_unserved_cents: int
    urgent: bool = False
    appointment: Appointment | None = None
    skills: frozenset[str] = frozenset()
    parts: Mapping[str, int] = field(default_factory=lambda: MappingProxyType({}))
    installers: frozenset[str] | None = None
    cost_by_installer_cents: Mapping[str, int] = field(default_factory=lambda: MappingProxyType({}))
    label: str = ""

    def __post_init__(self) -> None:
        _check_whole(f"visit {self.key}.service_s", self.service_s, high=SECONDS_PER_DAY)
        _check_whole(
            f"visit {self.key}.cost_if_unserved_cents", self.cost_if_unserved_cents, low=-(10**12), high=10**12
        )
        for day, cost in enumerate(self.cost_by_day_cents):
            _check_whole(f"visit {self.key}.cost_by_day_cents[{day}]", cost, low=-(10**12), high=10**12)
        for item, quantity in self.parts.items():
            _check_whole(f"visit {self.key}.parts.{item}", quantity)
        for installer, cost in self.cost_by_installer_cents.items():
            _check_whole(f"visit {self.key}.cost_by_installer_cents.{installer}", cost)

    @property
    def name(self) -> str:
        """How to call it in a sentence."""
        return self.label or self.key

    @property
    def must(self) -> bool:
        """Whether it is urgent or confirmed."""
        return self.urgent or self.appointment is not None

    def value_cents(self, day: int) -> int:
        """What serving it on that day saves at most over leaving it, before driving."""
        return self.cost_if_unserved_cents - self.cost_by_day_cents[day]


@dataclass(frozen=True, slots=True)
class Rates:
    """Prices of a round, in cents of ``currency``, which sentences write behind an amount.

    ``missed_*`` are what the solver is told; the evaluator counts misses and compares them before any money.
    """

    driving_minute_cents: int = 60
    km_cents: int = 30
    overtime_hour_cents: int = 5_400
    missed_urgent_cents: int = 100_000
    missed_appointment_cents: int = 300_000
    currency: str = "EUR"

    def __post_init__(self) -> None:
        for name in self.__dataclass_fields__:
            if name != "currency":
                _check_whole(f"rates.{name}", getattr(self, name))


@dataclass(frozen=True, eq=False)
class RoundProblem:
    """Everything the planner needs. Make one with :meth:`build`.

    Attributes
    ----------
    first_day
        Date of day 0.
    days
        Length of the horizon; days are 0 to days - 1.
    installers, candidates
        Who, and what.
    rates
        At what price.
    travel
        Table of trips over the installers' homes, then the candidates' places, then the places where shifts start that
        do not start at home, by installer and day: the order of :func:`places_of`.
    apart
        Pairs of candidates that must not be in one round.
    together
        Pairs of candidates that are made one straight after the other by one installer, or not at all.
    traffic
        How driving is slowed down over the day; None: the table of trips holds at any time.
    """

    first_day: datetime.date
    days: int
    installers: tuple[Installer, ...]
    candidates: tuple[Candidate, ...]
    rates: Rates
    travel: Travel
    apart: tuple[tuple[str, str], ...] = ()
    together: tuple[tuple[str, str], ...] = ()
    traffic: Traffic | None = None

    def __post_init__(self) -> None:
        _check_whole("days", self.days, low=1, high=366)
        for field_name, keys in (
            ("installers", [i.key for i in self.installers]),
            ("candidates", [c.key for c in self.candidates]),
        ):
            if len(set(keys)) != len(keys):
                twice = next(key for key in keys if keys.count(key) > 1)
                raise PlanningError(field_name, f"{twice!r} appears twice; give every key once.")
        n = len(places_of(self.installers, self.candidates))
        for name in ("metres", "seconds"):
            table = getattr(self.travel, name)
            if table.shape != (n, n) or not np.issubdtype(table.dtype, np.integer):
                raise PlanningError(f"travel.{name}", f"must be a table of {n} x {n} whole numbers.")
            if np.any(table < 0) or np.any(np.diagonal(table) != 0):
                raise PlanningError(f"travel.{name}", "must be at least 0, and 0 from a place to itself.")
        installer_keys = {i.key for i in self.installers}
        visits = {c.key for c in self.candidates}
        for name, pairs in (("apart", self.apart), ("together", self.together)):
            for pair in pairs:
                if len(set(pair)) != 2 or not visits.issuperset(pair):
                    raise PlanningError(name, f"{pair!r} must name two different visits of the problem.")
        bound = [key for pair in self.together for key in pair]
        if len(set(bound)) != len(bound):
            twice = next(key for key in bound if bound.count(key) > 1)
            raise PlanningError("together", f"{twice!r} is in two pairs; a visit may be in one pair only.")
        if {frozenset(pair) for pair in self.apart} & {frozenset(pair) for pair in self.together}:
            raise PlanningError("apart", "holds a pair that must also be together; leave out one of the two.")
        for installer in self.installers:
            for shift in installer.shifts:
                if shift.day >= self.days:
                    raise PlanningError(
                        f"installer {installer.key}.shifts", f"day {shift.day} lies beyond the last, {self.days - 1}."
                    )
        for c in self.candidates:
            if len(c.cost_by_day_cents) != self.days:
                raise PlanningError(
                    f"visit {c.key}.cost_by_day_cents",
                    f"must hold one amount for each of the {self.days} days, not {len(c.cost_by_day_cents)}.",
                )
            for window in c.windows:
                if window.day >= self.days:
                    raise PlanningError(
                        f"visit {c.key}.windows", f"day {window.day} lies beyond the last, {self.days - 1}."
                    )
            if c.appointment is not None:
                if c.appointment.day >= self.days:
                    raise PlanningError(
                        f"visit {c.key}.appointment",
                        f"day {c.appointment.day} lies beyond the last, {self.days - 1}.",
                    )
                if c.appointment.installer is not None and c.appointment.installer not in installer_keys:
                    raise PlanningError(
                        f"visit {c.key}.appointment", f"names installer {c.appointment.installer!r}, who is not here."
                    )

    @classmethod
    def build(
        cls,
        *,
        first_day: datetime.date,
        days: int,
        installers: Sequence[Installer],
        candidates: Sequence[Candidate],
        rates: Rates,
        provider: TravelProvider,
        apart: Sequence[tuple[str, str]] = (),
        together: Sequence[tuple[str, str]] = (),
        traffic: Traffic | None = None,
    ) -> RoundProblem:
        """A problem whose table of trips is asked of a provider."""
        places = places_of(installers, candidates)
        travel = provider.matrix(places, places)
        return cls(
            first_day, days, tuple(installers), tuple(candidates), rates, travel, tuple(apart), tuple(together), traffic
        )

    @cached_property
    def driving_cents(self) -> np.ndarray:
        """Money of every trip, whole cents, same order as ``travel``."""
        money = self.travel.seconds * (self.rates.driving_minute_cents / 60.0)
        money += self.travel.metres * (self.rates.km_cents / 1_000.0)
        return np.rint(money, out=money).astype(np.int64)

    @cached_property
    def installer_index(self) -> Mapping[str, int]:
        """Installer key to its row in the table of trips."""
        return {installer.key: k for k, installer in enumerate(self.installers)}

    @cached_property
    def candidate_index(self) -> Mapping[str, int]:
        """Candidate key to its position among the candidates."""
        return {candidate.key: k for k, candidate in enumerate(self.candidates)}

    @cached_property
    def starts(self) -> tuple[Mapping[int, tuple[tuple[int, int], ...]], ...]:
        """Per candidate, day to the spans (earliest, latest) in which its service may start, in order of time.

        A confirmed appointment has one span, its minute; windows too short for the work give none.
        """
        table: list[Mapping[int, tuple[tuple[int, int], ...]]] = []
        for c in self.candidates:
            by_day: dict[int, list[tuple[int, int]]] = {}
            if c.appointment is not None:
                starts_s = c.appointment.start_s
                by_day[c.appointment.day] = [(starts_s, starts_s + c.appointment.slack_s)]
            else:
                for window in sorted(c.windows):
                    latest = window.closes_s - c.service_s
                    if latest >= window.opens_s:
                        by_day.setdefault(window.day, []).append((window.opens_s, latest))
            table.append({day: tuple(spans) for day, spans in by_day.items()})
        return tuple(table)

    @cached_property
    def spans(self) -> Mapping[int, tuple[np.ndarray, np.ndarray, np.ndarray]]:
        """`starts` as arrays: day to candidate, earliest and latest of each span, by candidate and time.

        Days on which no work may start are left out.
        """
        table: dict[int, tuple[list[int], list[int], list[int]]] = {}
        for k, by_day in enumerate(self.starts):
            for day, spans in by_day.items():
                owner, earliest, latest = table.setdefault(day, ([], [], []))
                for early, late in spans:
                    owner.append(k)
                    earliest.append(early)
                    latest.append(late)
        return {
            day: (np.array(owner, np.int64), np.array(earliest, np.int64), np.array(latest, np.int64))
            for day, (owner, earliest, latest) in table.items()
        }

    @cached_property
    def may_be_served(self) -> np.ndarray:
        """`servable` as a table of truth, installers x candidates."""
        table = np.zeros((len(self.installers), len(self.candidates)), dtype=np.bool_)
        for installer, candidates in enumerate(self.servable):
            table[installer, list(candidates)] = True
        return table

    @cached_property
    def musts(self) -> np.ndarray:
        """Which candidates are urgent or confirmed."""
        return np.array([c.must for c in self.candidates], dtype=np.bool_)

    @cached_property
    def service_s(self) -> np.ndarray:
        """Seconds of work at each candidate."""
        return np.array([c.service_s for c in self.candidates], dtype=np.int64)

    @cached_property
    def values_cents(self) -> np.ndarray:
        """What serving each candidate saves at most, days x candidates: `Candidate.value_cents` of all."""
        if_left = np.array([c.cost_if_unserved_cents for c in self.candidates], dtype=np.int64)
        by_day = np.array([c.cost_by_day_cents for c in self.candidates], dtype=np.int64)
        return if_left - by_day.reshape(len(self.candidates), self.days).T

    def worths_cents(self, installer: int, day: int) -> np.ndarray:
        """`worth_cents` of every candidate."""
        worths: np.ndarray = self.values_cents[day] - self._dearer_cents[installer]
        return worths

    @cached_property
    def _dearer_cents(self) -> np.ndarray:
        """What each candidate costs more with an installer, installers x candidates."""
        table = np.zeros((len(self.installers), len(self.candidates)), dtype=np.int64)
        for k, c in enumerate(self.candidates):
            for key, cents in c.cost_by_installer_cents.items():
                if key in self.installer_index:
                    table[self.installer_index[key], k] = cents
        return table

    @cached_property
    def _start_nodes(self) -> Mapping[tuple[int, int], int]:
        away = [
            (k, shift.day)
            for k, person in enumerate(self.installers)
            for shift in sorted(person.shifts)
            if shift.starts_at is not None
        ]
        base = len(self.installers) + len(self.candidates)
        return {cell: base + number for number, cell in enumerate(away)}

    @cached_property
    def servable(self) -> tuple[frozenset[int], ...]:
        """For each installer, the candidates they may serve."""
        return tuple(
            frozenset(k for k, c in enumerate(self.candidates) if self.may_serve(person, c))
            for person in self.installers
        )

    @cached_property
    def seconds_rows(self) -> list[memoryview[int]]:
        """Seconds of every trip row by row, of which a search reads one number several times as fast as of an array.

        They are the table itself: a million numbers apart would cost more than they save.
        """
        table = np.ascontiguousarray(self.travel.seconds, dtype=np.int64)
        return [memoryview(row) for row in table]

    @cached_property
    def working_days(self) -> Mapping[tuple[int, int], tuple[Shift, Lunch | None, int]]:
        """(installer, day) to the shift, the break that is due in it, and the latest time to be home."""
        table = {}
        for k, person in enumerate(self.installers):
            for shift in person.shifts:
                lunch = person.lunch if person.lunch is not None and person.lunch.is_due(shift) else None
                table[k, shift.day] = (shift, lunch, shift.end_s + person.overtime_on(shift))
        return table

    @property
    def begun(self) -> Collection[tuple[int, int]]:
        """(installer, day) of the rounds that do not start at home."""
        return self._start_nodes.keys()

    @cached_property
    def apart_of(self) -> Mapping[int, frozenset[int]]:
        """Candidate to those it must not share a round with."""
        table: dict[int, set[int]] = {}
        for one, other in self.apart:
            a, b = self.candidate_index[one], self.candidate_index[other]
            table.setdefault(a, set()).add(b)
            table.setdefault(b, set()).add(a)
        return {k: frozenset(others) for k, others in table.items()}

    def node(self, candidate: int) -> int:
        """Row of a candidate in the table of trips."""
        return len(self.installers) + candidate

    def start_node(self, installer: int, day: int) -> int:
        """Row of the place an installer sets out from on a day."""
        return self._start_nodes.get((installer, day), installer)

    def drive_s(self, here: int, there: int, departs_s: int) -> int:
        """Seconds from one row of the table to another, leaving at a second of the day."""
        free = self.seconds_rows[here][there]
        return free if self.traffic is None else self.traffic.drive_s(free, departs_s)

    def path(self, installer: int, day: int, stops: Sequence[int]) -> list[int]:
        """Rows of a round, from where it starts to home."""
        return [self.start_node(installer, day), *(len(self.installers) + c for c in stops), installer]

    def visit_cents(self, installer: int, candidate: int, day: int) -> int:
        """What serving a candidate costs, without driving."""
        c = self.candidates[candidate]
        return c.cost_by_day_cents[day] + c.cost_by_installer_cents.get(self.installers[installer].key, 0)

    def worth_cents(self, installer: int, candidate: int, day: int) -> int:
        """What serving a candidate saves over leaving it, before driving."""
        return self.candidates[candidate].cost_if_unserved_cents - self.visit_cents(installer, candidate, day)

    def may_serve(self, installer: Installer, candidate: Candidate) -> bool:
        """Whether skills, what was confirmed with the client and a restriction to some installers allow it."""
        if not candidate.skills <= installer.skills:
            return False
        if candidate.installers is not None and installer.key not in candidate.installers:
            return False
        confirmed = candidate.appointment.installer if candidate.appointment else None
        return confirmed is None or confirmed == installer.key

    def date_of(self, day: int) -> datetime.date:
        """Calendar date of a day of the horizon."""
        return self.first_day + datetime.timedelta(days=day)


def places_of(installers: Sequence[Installer], candidates: Sequence[Candidate]) -> list[Place]:
    """Every place of a problem in the order of its table of trips."""
    return [
        *(person.home for person in installers),
        *(c.place for c in candidates),
        *(shift.starts_at for person in installers for shift in sorted(person.shifts) if shift.starts_at is not None),
    ]
