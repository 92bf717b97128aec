"""Every reference check, one test a row: the engineering room against numbers worked out or read elsewhere.

The files are `fixtures/reference/checks.csv` and `checks_by_hand.csv` beside it (worked by plain arithmetic from the
formulas), or another of the same columns named by `ENGINEERING_CHECKS`. A numeric row
passes within max(rel_tol |expected|, abs_tol); an `error:` row must raise; `cause:` and `class:` rows must be among the
results. The source of each number stands in its row.
"""

import csv
import json
import os
from pathlib import Path

import numpy as np
import pytest

from fleet.engineering.errors import EngineeringError
from tests.published.engineering_harness import evaluate

REFERENCE = Path(__file__).parents[2] / "fixtures" / "reference"


def rows() -> list[dict[str, str]]:
    named = os.environ.get("ENGINEERING_CHECKS")
    paths = [Path(named)] if named else [REFERENCE / "checks.csv", REFERENCE / "checks_by_hand.csv"]
    rows: list[dict[str, str]] = []
    for path in paths:
        with path.open(newline="", encoding="utf-8") as file:
            rows += csv.DictReader(file)
    return rows


@pytest.mark.parametrize("row", [pytest.param(row, id=row["id"]) for row in rows()])
def test_reference_check(row: dict[str, str]) -> None:
    inputs = json.loads(row["inputs"])
    expected = row["expected"]
    if expected.startswith("error:"):
        with pytest.raises(EngineeringError) as caught:
            evaluate(row["quantity"], inputs)
        assert caught.value.field
        assert len(caught.value.sentence) > 15, "an error must say what would be right"
        return
    result = evaluate(row["quantity"], inputs)
    for label in ("cause:", "class:"):
        if expected.startswith(label):
            wanted = expected.removeprefix(label).strip()
            assert wanted in (result if isinstance(result, list) else [result])
            return
    number = float(expected)
    tolerance = max(float(row["rel_tol"] or 0.0) * abs(number), float(row["abs_tol"] or 0.0))
    assert np.isfinite(result)
    assert abs(result - number) <= tolerance, f"{result!r} is {abs(result - number):.3g} away, {tolerance:.3g} allowed"


def test_the_checks_cover_every_topic() -> None:
    """A file that lost its rows would pass unnoticed otherwise."""
    if "ENGINEERING_CHECKS" in os.environ:
        pytest.skip("another file may hold fewer topics")
    assert len(rows()) >= 225
    assert len({row["topic"] for row in rows()}) >= 15
