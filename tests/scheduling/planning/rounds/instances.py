"""Invented weeks of service work, for tests and benchmarks: made from a seed, like no real company."""

from __future__ import annotations

import datetime

import numpy as np

from scheduling.planning.rounds.problem import (
    Appointment,
    Candidate,
    Installer,
    Lunch,
    Rates,
    RoundProblem,
    Shift,
    Window,
)
from scheduling.planning.travel.trips import GreatCircleTravel, Place

FIRST_DAY = datetime.date(2026, 11, 30)  # a Monday
HOUR = 3_600
STANDARD_LUNCH = Lunch()
#: Opening hours a site may have on a day; the last two are split by a midday break or a school run.
HOURS = [
    [(8 * HOUR, 17 * HOUR)],
    [(8 * HOUR, 12 * HOUR)],
    [(13 * HOUR, 18 * HOUR)],
    [(9 * HOUR, 16 * HOUR)],
    [(8 * HOUR, 11 * HOUR), (14 * HOUR, 18 * HOUR)],
    [(7 * HOUR + 1_800, 10 * HOUR), (15 * HOUR, 19 * HOUR)],
]


def _place(rng: np.random.Generator, centre: tuple[float, float], spread_km: float) -> Place:
    north, east = rng.normal(0.0, spread_km, 2)
    latitude = centre[0] + north / 111.2
    return Place(latitude, centre[1] + east / (111.2 * np.cos(np.radians(centre[0]))))


def make_week(
    candidates: int,
    *,
    seed: int,
    installers: int = 4,
    days: int = 5,
    musts: int | None = None,
    shift: tuple[int, int] = (8 * HOUR, 17 * HOUR),
    lunch: Lunch | None = STANDARD_LUNCH,
    minutes: tuple[int, int] = (25, 75),
    skills: bool = True,
    max_overtime_s: int = 0,
) -> RoundProblem:
    """A region with three towns: installers live in it, sites cluster in and between the towns.

    Days beyond the fifth of each week are not worked. ``musts`` confirmed or urgent visits are spread among the
    candidates, two urgent for each confirmed; confirmed ones are set at least two hours apart for each installer.
    """
    rng = np.random.default_rng(seed)
    towns = [(50.0, 9.0), (50.12, 9.22), (49.9, 9.25)]
    worked = [day for day in range(days) if day % 7 < 5]
    people = [
        Installer(
            key=f"installer {k + 1}",
            home=_place(rng, towns[k % 3], 4.0),
            shifts=tuple(Shift(day, *shift) for day in worked),
            skills=frozenset({"pump"} if k % 2 == 0 else ()),
            lunch=lunch,
            max_overtime_s=max_overtime_s,
        )
        for k in range(installers)
    ]
    musts = round(candidates * 0.1) if musts is None else musts
    confirmed = musts // 3
    visits = []
    appointments: list[tuple[str, int, int]] = []
    for k in range(candidates):
        place = _place(rng, towns[int(rng.choice(3, p=[0.5, 0.25, 0.25]))], float(rng.choice([3.0, 7.0, 14.0])))
        service = int(rng.integers(minutes[0], minutes[1] + 1)) * 60
        due = float(rng.uniform(-6.0, days * 1.8 + 3.0))
        late = float(rng.lognormal(np.log(9.0), 0.6)) * 100.0
        waste = float(rng.uniform(30.0, 200.0))
        cost = tuple(round(max(0.0, day - due) * late + max(0.0, due - day) * waste) for day in range(days))
        cost_if_unserved = round(max(0.0, days + 9.0 - due) * late)
        hours = HOURS[int(rng.choice(len(HOURS), p=[0.35, 0.15, 0.15, 0.2, 0.1, 0.05]))]
        windows = tuple(Window(day, *span) for day in worked if rng.random() < 0.65 for span in hours)
        appointment = None
        urgent = False
        if k < confirmed:
            for _ in range(200):
                person = people[int(rng.integers(installers))].key
                day = int(rng.choice(worked))
                start = int(rng.integers(shift[0] // 900 + 5, (shift[1] - service) // 900 - 5)) * 900
                apart = 2 * HOUR + service
                if all(p != person or d != day or abs(s - start) >= apart for p, d, s in appointments):
                    appointment = Appointment(day, start, person)
                    appointments.append((person, day, start))
                    break
        elif k < musts:
            urgent = True
            windows = tuple(Window(day, 8 * HOUR, 17 * HOUR) for day in worked[:3])
        visits.append(
            Candidate(
                key=f"visit {k + 1}",
                place=place,
                windows=windows,
                service_s=service,
                cost_by_day_cents=cost,
                cost_if_unserved_cents=cost_if_unserved,
                urgent=urgent,
                appointment=appointment,
                skills=frozenset({"pump"}) if skills and appointment is None and rng.random() < 0.12 else frozenset(),
            )
        )
    order = rng.permutation(candidates)
    return RoundProblem.build(
        first_day=FIRST_DAY,
        days=days,
        installers=people,
        candidates=[visits[k] for k in order],
        rates=Rates(),
        provider=GreatCircleTravel(),
    )
