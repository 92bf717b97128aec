"""How fast indicators are made, and how often the diagnosis is right: prints tables, asserts nothing.

    python -m tests.benchmarks.bench_engineering indicators    whole columns against one reading at a time
    python -m tests.benchmarks.bench_engineering confusion     findings by fault on invented units

Every run uses one core. Readings and units are invented from the seeds in the code.
"""

from __future__ import annotations

import argparse
import time
from collections import Counter

import numpy as np

from fleet.engineering.indicators import QUANTITIES, UnitContext, indicators
from tests.fleet.engineering.diagnosis.simulated_units import FAULTS
from tests.fleet.engineering.diagnosis.test_simulated_units import confusion


def bench_indicators(rows: int = 100_000, single: int = 200) -> None:
    """Time for the same readings as whole columns and one by one, and their ratio a reading."""
    rng = np.random.default_rng(1)
    columns = {name: rng.uniform(5.0, 400.0, rows) for name in QUANTITIES}
    columns["temperature_degc"] = rng.uniform(4.0, 28.0, rows)
    unit = UnitContext()
    start = time.perf_counter()
    indicators(columns, unit)
    seconds_per_row = (time.perf_counter() - start) / rows
    start = time.perf_counter()
    for row in range(single):
        indicators({name: column[row : row + 1] for name, column in columns.items()}, unit)
    alone = (time.perf_counter() - start) / single
    print("| a reading, in columns | a reading, alone | ratio |\n| --: | --: | --: |")
    print(f"| {1e6 * seconds_per_row:.1f} us | {1e6 * alone:.0f} us | {alone / seconds_per_row:.0f} |")


def bench_confusion(units: int = 200) -> None:
    """Share of units of each fault in which each rule is found."""
    faulty, healthy = confusion(units, seed=6)
    print("| fault | its rule | found | what is found |\n| :-- | :-- | --: | :-- |")
    for name, many in [*faulty.items(), ("healthy", healthy)]:
        shares = Counter(match.id for matches in many for match in matches)
        rule = FAULTS[name][1] if name in FAULTS else ""
        listed = ", ".join(f"{rule} {count / len(many):.2f}" for rule, count in shares.most_common(7))
        hit = f"{shares[rule] / len(many):.2f}" if rule else ""
        print(f"| {name} | {rule} | {hit} | {listed} |")


if __name__ == "__main__":
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("what", choices=["indicators", "confusion"])
    {"indicators": bench_indicators, "confusion": bench_confusion}[parser.parse_args().what]()
