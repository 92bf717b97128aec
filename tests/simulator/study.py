"""Forecasts of simulated fleets against their truth: by stage, by richness of readings, beside the baselines."""

from dataclasses import dataclass

import numpy as np

from fleet.forecasting import build_fleet, forecast
from fleet.forecasting.inputs import vocabulary as words
from fleet.forecasting.inputs.limits import limits_of_fleet
from fleet.forecasting.judging.judge import RICHNESS
from fleet.forecasting.judging.scoring import Score, is_degenerate, score
from fleet.forecasting.judging.straight_line import straight_line
from fleet.forecasting.wear.nominal import fixed_interval, label_over_load, last_service_day_of_positions
from tests.simulator.fleet import FURTHEST_YEARS, STAGES, Simulated, simulate
from tests.simulator.plant import SLOT_STAGE
from tests.simulator.settings import World

METHODS = ("learned", "fixed interval", "label over load", "straight line")


@dataclass(frozen=True)
class Study:
    """Forecasts of all fleets, cuts and positions, one row each; `grid` maps a method to its quantiles."""

    grid: dict[str, np.ndarray]
    is_open: dict[str, np.ndarray]
    true_day: np.ndarray
    true_driver: np.ndarray
    driver: np.ndarray
    nominal_life_days: np.ndarray
    cut_day: np.ndarray
    stage: np.ndarray
    readings: np.ndarray

    def score(self, method: str, mask: np.ndarray | None = None) -> Score:
        """Scores of one method on some rows."""
        rows = np.ones(len(self.true_day), dtype=bool) if mask is None else mask
        return score(
            self.grid[method][rows], self.true_day[rows], self.nominal_life_days[rows], self.is_open[method][rows]
        )

    def driver_right(self) -> float:
        """Share of exhaustions still to come whose driver was named rightly."""
        rows = (self.true_day > self.cut_day + 0.5) & (self.true_driver > 0)
        return float((self.true_driver == self.driver)[rows].mean())

    def groups(self) -> list[tuple[str, np.ndarray]]:
        """All rows, every stage, every richness of readings."""
        out = [("all", np.ones(len(self.true_day), dtype=bool))]
        out += [(name, self.stage == code) for code, name in enumerate(STAGES)]
        out += [(name, (self.readings >= low) & (self.readings <= high)) for name, low, high in RICHNESS]
        return [(name, mask) for name, mask in out if mask.any()]

    def text(self) -> str:
        """A table for a terminal."""
        lines = [
            f"{'':16s} {'rows':>6s} {'pinball':>8s} {'/label':>7s} {'/fixed':>7s} {'/line':>7s} {'50 %':>5s} "
            f"{'80 %':>5s} {'90 %':>5s} {'median error':>13s} {'/label':>7s}"
        ]
        for name, mask in self.groups():
            own = self.score("learned", mask)
            fixed, label, line = (self.score(method, mask) for method in METHODS[1:])
            lines.append(
                f"{name:16s} {own.count:6d} {own.pinball:8.4f} {own.pinball / label.pinball:7.3f} "
                f"{own.pinball / fixed.pinball:7.3f} {own.pinball / line.pinball:7.3f} {own.coverage_50:5.2f} "
                f"{own.coverage_80:5.3f} {own.coverage_90:5.2f} {own.median_error_days:8.1f} days "
                f"{own.median_error / label.median_error:7.3f}"
            )
        lines.append(f"driver named rightly: {self.driver_right():.3f}")
        return "\n".join(lines)


def study(world: World, seeds: tuple[int, ...], cut_years: tuple[float, ...] | None = None) -> Study:
    """Simulate a fleet for every seed and forecast it at every cut."""
    parts = [part for seed in seeds for part in _fleet_parts(simulate(world, seed, cut_years), world)]
    joined = {name: np.concatenate([part[name] for part in parts]) for name in parts[0]}
    return Study(
        grid={method: joined[f"grid {method}"] for method in METHODS},
        is_open={method: joined[f"open {method}"] for method in METHODS},
        **{name: values for name, values in joined.items() if not name.startswith(("grid ", "open "))},
    )


def _fleet_parts(simulated: Simulated, world: World) -> list[dict[str, np.ndarray]]:
    whole, faults = build_fleet(as_of_day=world.start_day + world.years * 365.25, **simulated.columns)
    assert not faults, faults[:3]
    parts = []
    for truth in simulated.truths:
        known_fleet = whole.known_at(truth.cut_day)
        answer = forecast(known_fleet)
        unit, slot = np.nonzero((simulated.positions >= 0) & np.isfinite(truth.exhausted_day))
        rows = simulated.positions[unit, slot]
        furthest = truth.cut_day + FURTHEST_YEARS * 365.25
        last_day = last_service_day_of_positions(known_fleet, answer.placement_index, limits_of_fleet(known_fleet))[
            rows
        ]
        grids = {
            "learned": answer.grid_day,
            "fixed interval": fixed_interval(known_fleet),
            "label over load": label_over_load(known_fleet),
            "straight line": straight_line(known_fleet),
        }
        dated = np.all([np.isfinite(grid[rows]).all(axis=1) for grid in grids.values()], axis=0)
        part = {
            "true_day": np.minimum(truth.exhausted_day[unit, slot], furthest),
            "true_driver": truth.driver[unit, slot],
            "driver": answer.driver[rows],
            "nominal_life_days": truth.nominal_life_days[unit, slot],
            "cut_day": np.full(len(rows), truth.cut_day),
            "stage": SLOT_STAGE[slot],
            "readings": answer.readings_used[rows],
        }
        for method, grid in grids.items():
            part[f"grid {method}"] = np.minimum(grid[rows], furthest)
            part[f"open {method}"] = ~is_degenerate(grid[rows], truth.cut_day, last_day)
        parts.append({name: values[dated] for name, values in part.items()})
    # Its stages are the first ones; what finishes the water has none of its lives.
    assert words.STAGES[: len(STAGES)] == STAGES
    return parts
