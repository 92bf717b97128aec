"""Forecasts of the file door against the truth of fleets that others made, beside a label and a fixed interval.

    python -m tests.benchmarks.study_strangers [--fleets harbour_town] [--units 300] [--years 4] [--seeds 41,42]

Each fleet of `tests/strangers` writes its files and, apart from them, the truth; `manage.py forecast` reads the files
at three cuts. One table over all fleets, by stage, by role and by richness (readings of the unit in the year before the
cut): mean pinball loss over seven quantiles as a share of nominal life, the same for the date of the label and for the
fixed interval, and the forecast's share of each. WORSE stands where the label or the fixed interval does better. Of the
intervals of 80 % that neither begin at the cut nor end at the maximum service time: their number, and the shares of
truths that they hold, that came before p10 ('early') and that came after p90 ('late'). Days before the cut count as the
cut, and no date as ten years on, for all alike. Cartridges whose change no file tells of ('untold') are in no other
line. Small companies: `--units 30 --years 1 --seeds 41,42,43`. Nothing may be tuned on the seeds that are reported.

The truth is the day that `forecast --columns` speaks of: while the others of the unit are kept up, and of the last of
two beds while neither is changed. `--truth served` and `--truth alone` take one of the two for all. The forecast is
asked for the limits that the authors of the fleets state (`LIMITS`), as a company would that has its own.
"""

import argparse
import csv
import subprocess
import sys
import tempfile
from collections import defaultdict
from datetime import date, timedelta
from pathlib import Path
from typing import Final

from tests.benchmarks.stranger_scores import TRUTHS, Row, Score, score, table

ROOT = Path(__file__).parents[2]

LIMITS: Final = {
    "prefilter_differential_pressure_kpa": 50.0,
    "prefilter_outlet_fraction": 1.0,
    "prefilter_margin_from_kpa": 2000.0,
    "prefilter_series_fraction": 1.0,
    "membrane_flow_fraction": 0.8,
    "lead_carbon_fraction": 0.99,
    "lead_resin_fraction": 0.5,
}
"""As the authors have them: 50 kPa over each sediment filter at its usual flow, whatever lies behind it; a
membrane at 80 % of its first flow; two carbons both spent when chlorine stands behind the last, so nearly all may pass
the first; the first of two resins at half of what enters it. Chlorine (0.1 mg/L) and age (365 days) are the house's."""

OWN_LIMITS: Final[dict[str, dict[str, float]]] = {"two_rivers": {"lead_carbon_fraction": 0.5}}
"""Where an author states another: the first of two carbons is spent when half of the chlorine passes it."""


def read(path: Path) -> list[Row]:
    """Rows by column; headers in lower case, as the fleets spell them differently."""
    with path.open(newline="", encoding="utf-8") as file:
        first = file.readline()
        delimiter = max(",;", key=first.count)
        headers = next(csv.reader([first.lower()], delimiter=delimiter))
        return list(csv.DictReader(file, headers, delimiter=delimiter))


def days_read(folder: Path) -> dict[str, list[date]]:
    """Days of the readings of each unit."""
    days: dict[str, list[date]] = defaultdict(list)
    for row in read(folder / "readings.csv"):
        days[row["unit"]].append(date.fromisoformat((row.get("time") or row["date"])[:10]))
    return days


def run(fleet: str, *, units: int, years: float, seed: int, folder: Path, when: str) -> list[Score]:
    """Make a fleet and score its forecasts at its cuts."""
    options = ["--units", str(units), "--years", f"{years:g}", "--seed", str(seed), "--out", str(folder)]
    subprocess.run([sys.executable, "-m", f"tests.strangers.{fleet}", *options], cwd=ROOT, check=True)
    scores = []
    truth: dict[str, list[Row]] = defaultdict(list)
    for row in read(folder / "truth" / "truth.csv"):
        truth[row["as_of"]].append(row)
    reading_days = days_read(folder)
    for as_of, rows in truth.items():
        out = folder / f"forecasts {as_of}.csv"
        command = [sys.executable, "manage.py", "forecast", "--data", str(folder), "--out", str(out), "--as-of", as_of]
        command += [f"--limit={name}={value:g}" for name, value in {**LIMITS, **OWN_LIMITS.get(fleet, {})}.items()]
        subprocess.run(command, cwd=ROOT, check=True, stdout=subprocess.DEVNULL)
        forecasts = {(row["unit"], row["stage"], row["role"]): row for row in read(out)}
        cut = date.fromisoformat(as_of)
        year_before = cut - timedelta(days=365)
        for row in rows:
            forecast = forecasts.get((row["unit"], row["stage"], row["role"]))
            if forecast is None or forecast["state"] not in {"installed", "exhausted"}:
                continue
            readings = sum(year_before < day <= cut for day in reading_days[row["unit"]])
            scores.append(score(row, forecast, cut, readings, when=when))
    return scores


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    fleets = sorted(path.stem for path in (ROOT / "tests/strangers").glob("[!_]*.py"))
    parser.add_argument("--fleets", default=",".join(fleets))
    parser.add_argument("--units", type=int, default=300)
    parser.add_argument("--years", type=float, default=4)
    parser.add_argument("--seeds", default="41,42")
    parser.add_argument("--truth", choices=TRUTHS, default="told")
    options = parser.parse_args()
    scores_of: dict[str, list[Score]] = defaultdict(list)
    for fleet in options.fleets.split(","):
        for seed in options.seeds.split(","):
            with tempfile.TemporaryDirectory() as folder:
                scores_of[fleet] += run(
                    fleet,
                    units=options.units,
                    years=options.years,
                    seed=int(seed),
                    folder=Path(folder),
                    when=options.truth,
                )
    print(f"{options.units} units, {options.years:g} years, seeds {options.seeds}, 3 cuts each; truth: {options.truth}")
    print(table(scores_of))


if __name__ == "__main__":
    main()
