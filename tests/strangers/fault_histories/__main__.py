"""Write all histories into a folder: a log each, and a table of what is true.

python -m tests.strangers.fault_histories --out FOLDER [--seed 11]
"""

import argparse
import csv
from pathlib import Path

from tests.strangers.fault_histories.every import fault_histories, healthy_histories


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--out", type=Path, required=True)
    parser.add_argument("--seed", type=int, default=11)
    options = parser.parse_args()
    options.out.mkdir(parents=True, exist_ok=True)
    with (options.out / "truth.csv").open("w", newline="", encoding="utf-8") as file:
        table = csv.writer(file)
        table.writerow(
            ["history", "variant", "rows", "severity", "since", "knowable on", "last day", "accepted", "told"]
        )
        for history in (*fault_histories(options.seed), *healthy_histories(options.seed)):
            code = history.name.replace(":", " ")
            (options.out / f"{code}.csv").write_text(history.log, encoding="utf-8")
            truth = history.truth
            said = [truth.severity, truth.since, truth.knowable_on] if truth else ["", "", ""]
            words = [", ".join(truth.accepted), truth.told] if truth else ["", "healthy"]
            table.writerow([history.name, history.variant, len(history.rows), *said, history.last_day, *words])


if __name__ == "__main__":
    main()
