"""Telling a problem, or part of it, to the solver; ``model`` says what stands for what."""

from __future__ import annotations

from collections.abc import Hashable, Sequence
from typing import Any

import numpy as np
import pyvrp

from fleet.engineering.constants import SECONDS_PER_DAY
from scheduling.planning.rounds.evaluate import round_cents
from scheduling.planning.rounds.model import Copy, RoundModel
from scheduling.planning.rounds.problem import Lunch, RoundProblem

LUNCH_BONUS_CENTS = 10_000
_FORBIDDEN_CENTS = 10**8
_FORBIDDEN_S = 30 * SECONDS_PER_DAY
_PLENTY = 10**6

Cell = tuple[int, int]


def build_model(
    problem: RoundProblem, *, cells: Sequence[Cell], candidates: Sequence[int], slowed: float = 1.0
) -> RoundModel:
    """A model of the given (installer, day) cells and candidates only, with every drive ``slowed`` times as long.

    The solver knows no time of day, so traffic is told to it as one factor; 1 is too fast and accepts every round that
    can be driven.
    """
    return _Builder(problem, cells, candidates, slowed).build()


class _Builder:
    def __init__(self, problem: RoundProblem, cells: Sequence[Cell], candidates: Sequence[int], slowed: float) -> None:
        self.problem, self.cells, self.candidates, self.slowed = problem, list(cells), list(candidates), slowed
        self.people = sorted({installer for installer, _ in cells})
        self.lunch_of = {cell: problem.working_days[cell][1] for cell in cells}
        self.kinds = sorted({x for x in self.lunch_of.values() if x is not None}, key=repr)
        self.scale = _scale(problem, self.people)
        self.items: list[str] = []
        if any(problem.installers[k].stock_on(day) is not None for k, day in cells):
            self.items = sorted({item for c in candidates for item in problem.candidates[c].parts})
        inside = set(candidates)
        # two visits that must not share a round are a load of which a van carries one
        self.apart = [(a, b) for a in candidates for b in sorted(problem.apart_of.get(a, ())) if a < b and b in inside]
        self._lay_out_places()
        self.clients: list[pyvrp.Client] = []
        self.copies: list[Copy] = []
        self.groups: list[pyvrp.ClientGroup] = []
        self.plain: dict[tuple[int, int, int], int] = {}
        self.with_lunch: dict[tuple[int, int, int, Lunch], int] = {}
        self.home_lunch: dict[Cell, int] = {}
        self.first_lunch: dict[Cell, int] = {}
        self.going_home: dict[Cell, int] = {}

    def _lay_out_places(self) -> None:
        """Homes (one for all who share it), sites, and for everyone on the road where they are and their way home."""
        problem = self.problem
        rows: list[int] = []
        self.home: dict[int, int] = {}
        for k in self.people:
            same = next((j for j in self.home if self._share_a_home(j, k)), None)
            if same is None:
                self.home[k] = len(rows)
                rows.append(k)
            else:
                self.home[k] = self.home[same]
        self.homes = len(rows)
        self.site = {c: len(rows) + k for k, c in enumerate(self.candidates)}
        rows.extend(problem.node(c) for c in self.candidates)
        self.away = [cell for cell in self.cells if problem.start_node(*cell) != cell[0]]
        self.away_place: dict[Cell, int] = {}
        self.way_home: dict[Cell, int] = {}
        for cell in self.away:
            self.away_place[cell] = len(rows)
            self.way_home[cell] = len(rows) + 1
            rows.extend((problem.start_node(*cell), cell[0]))
        self.rows = np.array(rows)

    def _share_a_home(self, one: int, other: int) -> bool:
        problem = self.problem
        return problem.installers[one].home == problem.installers[other].home and all(
            np.array_equal(table[one], table[other]) and np.array_equal(table[:, one], table[:, other])
            for table in (problem.travel.seconds, problem.driving_cents)
        )

    def build(self) -> RoundModel:
        for c in self.candidates:
            self._add_visit(c)
        for cell in self.cells:
            self._add_lunch_alone(cell)
        for cell in self.away:
            self._add_way_home(cell)
        profiles = {k: self._profile(k) for k in self.people}
        kinds = sorted(set(profiles.values()))
        alike: dict[Hashable, list[Cell]] = {}
        types: dict[Hashable, dict[str, Any]] = {}
        for cell in self.cells:
            vehicle = self._vehicle(cell, kinds.index(profiles[cell[0]]))
            key = tuple((name, tuple(x) if isinstance(x, list) else x) for name, x in vehicle.items())
            alike.setdefault(key, []).append(cell)
            types[key] = vehicle
        money, durations = self._tables(kinds)
        data = pyvrp.ProblemData(
            locations=[pyvrp.Location(0, 0) for _ in self.rows],
            clients=self.clients,
            depots=[pyvrp.Depot(k) for k in range(self.homes)]
            + [pyvrp.Depot(self.away_place[cell]) for cell in self.away],
            vehicle_types=[pyvrp.VehicleType(num_available=len(alike[key]), **types[key]) for key in alike],
            distance_matrices=money,
            duration_matrices=durations,
            groups=self.groups,
        )
        return RoundModel(
            problem=self.problem,
            data=data,
            vehicles=tuple(tuple(same) for same in alike.values()),
            copies=tuple(self.copies),
            plain=self.plain,
            with_lunch=self.with_lunch,
            home_lunch=self.home_lunch,
            first_lunch=self.first_lunch,
            going_home=self.going_home,
            scale=self.scale,
        )

    def _load(self, candidate: int | None, lunch: Lunch | None) -> list[int]:
        parts = {} if candidate is None else self.problem.candidates[candidate].parts
        return [
            *(parts.get(item, 0) for item in self.items),
            *(int(candidate in pair) for pair in self.apart),
            *(int(kind == lunch) for kind in self.kinds),
        ]

    def _add(self, copy: Copy, **client: Any) -> int:
        self.clients.append(pyvrp.Client(required=False, **client))
        self.copies.append(copy)
        return len(self.clients) - 1

    def _add_visit(self, c: int) -> None:
        """A client for each window, and for each its twin with lunch; at most one of them is served."""
        problem, visit = self.problem, self.problem.candidates[c]
        bonus = (
            problem.rates.missed_appointment_cents
            if visit.appointment is not None
            else problem.rates.missed_urgent_cents * int(visit.urgent)
        )
        members: list[int] = []
        for day, spans in problem.starts[c].items():
            here = [cell for cell in self.cells if cell[1] == day and c in problem.servable[cell[0]]]
            worth = visit.value_cents(day) + bonus
            if not here or worth <= 0:
                continue
            due = {self.lunch_of[cell] for cell in here}
            for number, (early, late) in enumerate(spans):
                offers: list[tuple[int, int, int, Lunch | None]] = [(early, late, visit.service_s, None)]
                for lunch in self.kinds:
                    twin = _twin(early, late, visit.service_s, lunch) if lunch in due else None
                    if twin is not None:
                        offers.append((*twin, lunch))
                for first, last, service, lunch_after in offers:
                    client = self._add(
                        Copy(c, day),
                        location=self.site[c],
                        delivery=self._load(c, lunch_after),
                        service_duration=service,
                        tw_early=day * SECONDS_PER_DAY + first,
                        tw_late=day * SECONDS_PER_DAY + last,
                        prize=(worth + (LUNCH_BONUS_CENTS if lunch_after else 0)) * self.scale,
                        group=len(self.groups),
                    )
                    members.append(client)
                    if lunch_after is None:
                        self.plain[c, day, number] = client
                    else:
                        self.with_lunch[c, day, number, lunch_after] = client
        if members:
            self.groups.append(pyvrp.ClientGroup(members, required=False))

    def _add_lunch_alone(self, cell: Cell) -> None:
        """Lunch at home, before leaving or when back; who is on the road can also have it where they are."""
        lunch = self.lunch_of[cell]
        if lunch is None:
            return
        lunch_stop = {
            "delivery": self._load(None, lunch),
            "service_duration": lunch.duration_s,
            "tw_early": cell[1] * SECONDS_PER_DAY + lunch.earliest_start_s,
            "tw_late": cell[1] * SECONDS_PER_DAY + lunch.latest_start_s,
            "prize": LUNCH_BONUS_CENTS * self.scale,
        }
        self.home_lunch[cell] = self._add(Copy(-1, cell[1]), location=self.home[cell[0]], **lunch_stop)
        self.first_lunch[cell] = (
            self._add(Copy(-1, cell[1]), location=self.away_place[cell], **lunch_stop)
            if cell in self.away_place
            else self.home_lunch[cell]
        )

    def _add_way_home(self, cell: Cell) -> None:
        """Someone on the road drives home even without another stop.

        What that costs is given back to those who go on, so that going on costs its detour only.
        """
        self.going_home[cell] = self._add(
            Copy(-1, cell[1]),
            location=self.way_home[cell],
            delivery=self._load(None, None),
            tw_early=cell[1] * SECONDS_PER_DAY,
            tw_late=cell[1] * SECONDS_PER_DAY + self.problem.working_days[cell][2],
            prize=round_cents(self.problem, *cell, ()) * self.scale,
        )

    def _profile(self, k: int) -> tuple[tuple[int, ...], tuple[tuple[int, int], ...]]:
        """Where the installer may not go, and what some places cost more with them."""
        problem = self.problem
        shut = {self.home[cell[0]] for cell in self.home_lunch} - {self.home[k]}
        shut |= {self.site[c] for c in self.candidates if c not in problem.servable[k]}
        for cell in self.away:
            if cell[0] != k:
                shut |= {self.away_place[cell], self.way_home[cell]}
        key = problem.installers[k].key
        extras = tuple(
            (self.site[c], extra)
            for c in self.candidates
            if (extra := problem.candidates[c].cost_by_installer_cents.get(key, 0))
        )
        return tuple(sorted(shut)), extras

    def _vehicle(self, cell: Cell, profile: int) -> dict[str, Any]:
        """The vehicle type of a cell; cells that ask for the same share one."""
        problem = self.problem
        person = problem.installers[cell[0]]
        shift, lunch, latest_home = problem.working_days[cell]
        stock = person.stock_on(cell[1])
        begins = cell[1] * SECONDS_PER_DAY + shift.start_s
        vehicle: dict[str, Any] = {
            "capacity": [
                *(_PLENTY if stock is None else stock.get(item, 0) for item in self.items),
                *(1 for _ in self.apart),
                *(int(kind == lunch) for kind in self.kinds),
            ],
            "start_depot": self.homes + self.away.index(cell) if cell in self.away_place else self.home[cell[0]],
            "end_depot": self.home[cell[0]],
            "fixed_cost": LUNCH_BONUS_CENTS * self.scale if lunch is not None else 0,
            "tw_early": begins,
            "tw_late": cell[1] * SECONDS_PER_DAY + latest_home,
            "unit_distance_cost": 1,
            "profile": profile,
        }
        if person.overtime_on(shift):
            # overtime is counted from the start of the shift, so the clock starts there whenever the van leaves
            vehicle["start_late"] = begins
            vehicle["shift_duration"] = shift.end_s - shift.start_s
            vehicle["max_overtime"] = person.overtime_on(shift)
            vehicle["unit_overtime_cost"] = round(problem.rates.overtime_hour_cents * self.scale / 3_600)
        return vehicle

    def _tables(
        self, profiles: list[tuple[tuple[int, ...], tuple[tuple[int, int], ...]]]
    ) -> tuple[list[Any], list[Any]]:
        """Money and seconds of every trip, a pair of tables for each kind of installer."""
        cents = self.problem.driving_cents[np.ix_(self.rows, self.rows)] * self.scale
        seconds = np.rint(self.problem.travel.seconds[np.ix_(self.rows, self.rows)] * self.slowed).astype(np.int64)
        money_tables, time_tables = [], []
        for shut, extras in profiles:
            money, duration = cents.copy(), seconds.copy()
            for column, extra in extras:
                money[:, column] += extra * self.scale
            if shut:
                money[:, list(shut)] = _FORBIDDEN_CENTS
                duration[:, list(shut)] = _FORBIDDEN_S
            np.fill_diagonal(money, 0)
            np.fill_diagonal(duration, 0)
            money_tables.append(money)
            time_tables.append(duration)
        return money_tables, time_tables


def _twin(early: int, late: int, service: int, lunch: Lunch) -> tuple[int, int, int] | None:
    """Window and length of 'visit, then lunch', or None when lunch cannot follow.

    The window is cut so that the work ends inside the span in which lunch may start. A visit that must be over before
    then is drawn out by the wait.
    """
    cut_early = max(early, lunch.earliest_start_s - service)
    cut_late = min(late, lunch.latest_start_s - service)
    if cut_early <= cut_late:
        return cut_early, cut_late, service + lunch.duration_s
    if late + service < lunch.earliest_start_s:
        return late, late, lunch.earliest_start_s + lunch.duration_s - late
    return None


def _scale(problem: RoundProblem, people: Sequence[int]) -> int:
    """Model units in a cent: 1, or as many as make a second of overtime a whole number to within 3 %."""
    if not any(problem.installers[k].max_overtime_s for k in people):
        return 1
    exact = problem.rates.overtime_hour_cents / 3_600
    if exact == 0.0:
        return 1
    return next((s for s in range(1, 37) if abs(round(exact * s) / s - exact) <= 0.03 * exact), 36)
