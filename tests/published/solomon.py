"""Solomon's instances put as a question to the round planner: one day, one home for all, vans with a capacity."""

from __future__ import annotations

import datetime
from pathlib import Path

import numpy as np

from scheduling.planning.rounds.problem import Candidate, Installer, Rates, RoundProblem, Shift, Window
from scheduling.planning.travel.trips import Place, Travel

FOLDER = Path(__file__).parents[2] / "fixtures" / "reference" / "solomon"


def best_known(name: str) -> int:
    """Cost of the best known solution, in tenths."""
    line = (FOLDER / f"{name}.sol").read_text().strip().splitlines()[-1]
    return round(float(line.removeprefix("Cost")) * 10)


def best_known_routes(name: str) -> list[list[int]]:
    """Customers of each route, numbered from 1."""
    lines = (FOLDER / f"{name}.sol").read_text().splitlines()
    return [[int(x) for x in line.split(":")[1].split()] for line in lines if line.startswith("Route")]


def read(name: str, *, customers: int = 100) -> RoundProblem:
    """An instance in tenths: a second is a tenth of its time unit, a cent a tenth of its distance unit."""
    lines = [line.split() for line in (FOLDER / f"{name}.txt").read_text().splitlines()]
    numbers = [[int(x) for x in line] for line in lines if line and all(x.lstrip("-").isdigit() for x in line)]
    vehicles, capacity = numbers[0]
    table = np.array(numbers[1 : customers + 2])
    xy = table[:, 1:3].astype(np.float64)
    distance = np.floor(10.0 * np.hypot(*(xy[:, None, :] - xy[None, :, :]).transpose(2, 0, 1))).astype(np.int64)
    nodes = np.array([0] * vehicles + list(range(1, len(table))))
    trips = distance[np.ix_(nodes, nodes)]
    here = Place(0.0, 0.0)
    close = int(table[0, 5]) * 10
    return RoundProblem(
        first_day=datetime.date(2026, 11, 30),
        days=1,
        installers=tuple(
            Installer(f"van {k + 1}", here, (Shift(0, 0, close),), lunch=None, van_stock={"load": capacity})
            for k in range(vehicles)
        ),
        candidates=tuple(
            Candidate(
                key=str(row[0]),
                place=here,
                windows=(Window(0, int(row[4]) * 10, (int(row[5]) + int(row[6])) * 10),),
                service_s=int(row[6]) * 10,
                cost_by_day_cents=(0,),
                cost_if_unserved_cents=100_000,
                parts={"load": int(row[3])},
            )
            for row in table[1:]
        ),
        rates=Rates(driving_minute_cents=60, km_cents=0),
        travel=Travel(metres=np.zeros_like(trips), seconds=trips, source="Solomon 1987"),
    )
