"""Forecasts of the file door against the truth of fleets that others made, beside a label and a fixed interval.

    python -m tests.benchmarks.study_strangers [--fleets harbour_town] [--units 300] [--years 4] [--seeds 41,42]

Each fleet of `tests/strangers` writes its files and, apart from them, the truth; `manage.py forecast` reads the files
at three cuts. Printed, by stage: mean pinball loss over seven quantiles as a share of nominal life, the same for the
date of the label and for the fixed interval, the share of their losses, and how often the interval of 80 % holds the
truth, of cartridges that the forecast does not call exhausted at the cut. Days before the cut count as the cut, and no
date as ten years on, for all alike. Nothing may be tuned on the seeds that are reported.
"""

import argparse
import csv
import subprocess
import sys
import tempfile
from collections import defaultdict
from datetime import date
from pathlib import Path

import numpy as np

ROOT = Path(__file__).parents[2]
QUANTILES = np.array([0.05, 0.10, 0.25, 0.50, 0.75, 0.90, 0.95])
COLUMNS = ("p05", "p10", "p25", "p50", "p75", "p90", "p95")
TEN_YEARS = 3652.0

Row = dict[str, str]


def pinball(days: float, forecast_days: np.ndarray) -> float:
    """Mean loss over the quantiles; a single date counts as all of them."""
    miss = days - forecast_days
    return float(np.mean(np.maximum(QUANTILES * miss, (QUANTILES - 1.0) * miss)))


def days_after(cut: date, text: str) -> float:
    """Days from the cut to a date, none before it; an empty cell is ten years on."""
    if not text:
        return TEN_YEARS
    return min(max(float((date.fromisoformat(text[:10]) - cut).days), 0.0), TEN_YEARS)


def read(path: Path) -> list[Row]:
    with path.open(newline="", encoding="utf-8") as file:
        return list(csv.DictReader(file))


def run(fleet: str, *, units: int, years: int, seed: int, folder: Path) -> list[tuple[str, list[float]]]:
    """Make a fleet and forecast it at its cuts; for each cartridge its stage and what is counted of it."""
    options = ["--units", str(units), "--years", str(years), "--seed", str(seed), "--out", str(folder)]
    subprocess.run([sys.executable, "-m", f"tests.strangers.{fleet}", *options], cwd=ROOT, check=True)
    counted = []
    truth: dict[str, list[Row]] = defaultdict(list)
    for row in read(folder / "truth" / "truth.csv"):
        truth[row["as_of"]].append(row)
    for as_of, rows in truth.items():
        out = folder / f"forecasts {as_of}.csv"
        command = [sys.executable, "manage.py", "forecast", "--data", str(folder), "--out", str(out), "--as-of", as_of]
        subprocess.run(command, cwd=ROOT, check=True, stdout=subprocess.DEVNULL)
        forecasts = {(row["unit"], row["stage"], row["role"]): row for row in read(out)}
        cut = date.fromisoformat(as_of)
        for row in rows:
            forecast = forecasts.get((row["unit"], row["stage"], row["role"]))
            if forecast is None or forecast["state"] not in {"installed", "exhausted"}:
                continue
            counted.append((row["stage"], count(row, forecast, cut)))
    return counted


def count(row: Row, forecast: Row, cut: date) -> list[float]:
    """Loss of the forecast, the label and the fixed interval, whether the interval is open, and whether it holds."""
    life = float(row["nominal_life_days"])
    # Where the others of the train are kept up: what the forecast speaks of.
    days = days_after(cut, row.get("exhausted_on_rest_served") or row["exhausted_on"])
    dates = np.array([days_after(cut, forecast[name]) for name in COLUMNS])
    single = [np.full(7, days_after(cut, row[name])) for name in ("label_exhausted_on", "fixed_exhausted_on")]
    losses = [pinball(days, each) / life for each in (dates, *single)]
    low, high = dates[1], dates[5]
    # An interval that ends at one date is that of the maximum service time.
    is_open = low > 0.0 and dates[4] < dates[6]
    return [*losses, float(is_open), float(is_open and low <= days <= high)]


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    fleets = sorted(path.stem for path in (ROOT / "tests/strangers").glob("[!_]*.py"))
    parser.add_argument("--fleets", default=",".join(fleets))
    parser.add_argument("--units", type=int, default=300)
    parser.add_argument("--years", type=int, default=4)
    parser.add_argument("--seeds", default="41,42")
    options = parser.parse_args()
    for fleet in options.fleets.split(","):
        cartridges: list[tuple[str, list[float]]] = []
        for seed in options.seeds.split(","):
            with tempfile.TemporaryDirectory() as folder:
                cartridges += run(fleet, units=options.units, years=options.years, seed=int(seed), folder=Path(folder))
        print(f"\n{fleet}: {options.units} units, {options.years} years, seeds {options.seeds}, 3 cuts each")
        print("stage      cartridges forecast    label    fixed  over label  over fixed  80 % holds")
        for stage in ("sediment", "carbon", "membrane", "resin", "all"):
            table = np.array([row for name, row in cartridges if stage in (name, "all")])
            forecast, label, fixed, opened, held = table.sum(axis=0)
            losses = " ".join(f"{loss / len(table):8.3f}" for loss in (forecast, label, fixed))
            ratios = f"{forecast / label:11.2f} {forecast / fixed:11.2f} {held / max(opened, 1.0):11.2f}"
            print(f"{stage:9} {len(table):11} {losses} {ratios}")


if __name__ == "__main__":
    main()
