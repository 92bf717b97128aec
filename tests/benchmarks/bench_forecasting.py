"""How long forecasts take, and how that grows: side by side with the nominal-load baseline over the same data.

    python -m tests.benchmarks.bench_forecasting [--units 1000,5000,10000]

Fleets with two years of readings, 30 % of the units read weekly, 10 % daily, the rest at visits; a simulated fleet of
500 units is repeated under other names. Prints seconds, the ratio to label capacity over mean load, the growth
exponent, the cost of forecasting 1 % of the units again, and the peak memory of the process.
"""

import argparse
import resource
import time
from collections.abc import Callable
from dataclasses import fields, replace

import numpy as np

from fleet.forecasting import Fleet, build_fleet, forecast
from fleet.forecasting.inputs.tables import Table
from fleet.forecasting.wear.nominal import label_over_load
from tests.simulator.fleet import simulate
from tests.simulator.settings import World

YEARS = 2.0


def repeated(fleet: Fleet, times: int) -> Fleet:
    """The fleet so many times over, under other names."""

    def table(source: Table, **steps: int) -> Table:
        columns = {}
        for spec in fields(source):
            values = getattr(source, spec.name)
            if spec.name in steps:
                parts = [np.where(values >= 0, values + copy * steps[spec.name], -1) for copy in range(times)]
                columns[spec.name] = np.concatenate(parts)
            elif spec.name.endswith("_id"):
                columns[spec.name] = np.array([f"{v}-{copy}" for copy in range(times) for v in values], dtype=object)
            else:
                columns[spec.name] = np.tile(values, times)
        return type(source)(**columns)

    units, sites = len(fleet.units), len(fleet.sites)
    positions, placements = len(fleet.positions), len(fleet.placements)
    return replace(
        fleet,
        sites=table(fleet.sites),
        units=table(fleet.units, site_index=sites),
        positions=table(fleet.positions, unit_index=units),
        placements=table(fleet.placements, position_index=positions, continued_from=placements),
        readings=table(fleet.readings, unit_index=units),
        feed_water=table(fleet.feed_water, site_index=sites),
    )


def seconds(work: Callable[[], object]) -> float:
    """Processor seconds of this process: what other programs do meanwhile does not count."""
    start = time.process_time()
    work()
    return time.process_time() - start


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--units", default="1000,5000,10000")
    options = parser.parse_args()
    world = World(units=500, years=YEARS, weekly_client_share=0.3, daily_meter_share=0.1, monthly_client_share=0.0)
    base, _ = build_fleet(as_of_day=world.start_day + YEARS * 365.25, **simulate(world, 77, cut_years=()).columns)
    print("  units  readings positions forecast s  label s   ratio 1 % again")
    sizes, costs = [], []
    for units in (int(text) for text in options.units.split(",")):
        fleet = repeated(base, max(units // 500, 1))
        answers: list = []
        cost = seconds(lambda fleet=fleet, answers=answers: answers.append(forecast(fleet)))
        nominal = seconds(lambda fleet=fleet: label_over_load(fleet))
        some = np.sort(
            np.random.default_rng(1).choice(len(fleet.units), max(len(fleet.units) // 100, 1), replace=False)
        )
        again = seconds(
            lambda fleet=fleet, answers=answers, some=some: forecast(fleet.only_units(some), learned=answers[0].learned)
        )
        sizes.append(len(fleet.units))
        costs.append(cost)
        print(
            f"{len(fleet.units):7d} {len(fleet.readings):9d} {len(fleet.positions):9d} {cost:10.2f} {nominal:8.2f} "
            f"{cost / nominal:7.1f} {again / cost:9.1%}",
            flush=True,
        )
    if len(sizes) > 1:
        exponent = np.polyfit(np.log(sizes), np.log(costs), 1)[0]
        print(f"growth: processor time as units to the power {exponent:.2f}")
    peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024**2
    print(f"peak memory of the process: {peak:.2f} GB")


if __name__ == "__main__":
    main()
