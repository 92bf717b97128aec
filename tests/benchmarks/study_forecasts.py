"""Forecasts against the truth of simulated fleets, beside three baselines: a table for every world.

    python -m tests.benchmarks.study_forecasts [--units 500] [--seeds 101,102,103,104,105] [--worlds
    usual,as_kept,hard,rich]

Pinball loss as a share of nominal life, its ratio to the baselines on the same fleets in the same run, coverage of the
intervals that are not degenerate, median error. All fleets are invented.
"""

import argparse
from dataclasses import replace

from tests.simulator.study import study
from tests.simulator.worlds import WORLDS


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--units", type=int, default=500)
    parser.add_argument("--seeds", default="101,102,103,104,105")
    parser.add_argument("--worlds", default=",".join(WORLDS))
    options = parser.parse_args()
    seeds = tuple(int(seed) for seed in options.seeds.split(","))
    for name in options.worlds.split(","):
        print(f"\n{name}: {len(seeds)} fleets of {options.units} units, 3 cuts each")
        print(study(replace(WORLDS[name], units=options.units), seeds).text(), flush=True)


if __name__ == "__main__":
    main()
