"""A quantity of a reading is one record and a migration: every room takes it from there."""

import json
import os
import subprocess
import sys
from pathlib import Path
from typing import Any

import pytest

pytestmark = [pytest.mark.interface, pytest.mark.long]

ROOT = Path(__file__).parents[2]


@pytest.fixture(scope="module")
def told() -> dict[str, Any]:
    """What a process with one record more answers."""
    environment = os.environ | {
        "DATABASE_URL": "sqlite://:memory:", "DJANGO_SETTINGS_MODULE": "fleet.config.settings",
    }  # fmt: skip
    command = [sys.executable, "-m", "tests.fleet.one_more_quantity"]
    done = subprocess.run(command, cwd=ROOT, env=environment, capture_output=True, text=True, timeout=300)
    assert done.returncode == 0, done.stderr
    answer: dict[str, Any] = json.loads(done.stdout.splitlines()[-1])
    return answer


def test_the_migration_adds_one_column_and_nothing_else(told: dict[str, Any]) -> None:
    changes = [line.strip() for line in told["plan"].splitlines() if line.startswith("    ")]
    assert changes == ["+ Add field drain_pressure_kpa to reading"]


def test_intake_reads_refuses_and_flags_it(told: dict[str, Any]) -> None:
    assert told["log"] == "drain_pressure_kpa"
    assert told["value"] == pytest.approx(60.0)
    assert told["flags"] == ["unusual", "factor_of_ten"]
    assert told["refused"].startswith("3 bar is outside what this can be, 0 to 200 kPa")


def test_the_api_takes_answers_and_describes_it(told: dict[str, Any]) -> None:
    assert "drain_pressure" in told["sent"]
    assert told["answer"] == {"value": pytest.approx(0.6), "unit": "bar"}
    assert {"Reading", "NewReading"} <= {name.removesuffix("Request") for name in told["schemas"]}


def test_the_fleet_files_have_its_column_and_the_screen_its_rules(told: dict[str, Any]) -> None:
    line = next(line for line in told["guide"].splitlines() if "drain pressure" in line)
    assert line.split("  ")[-1].strip() == "pressure of the concentrate at the drain, gauge"
    assert "drain pressure [kPa]" in line
    assert told["faults"] == []
    assert told["left_out"] == [
        [0, "drain_pressure_kpa", "static"],
        [2, "drain_pressure_kpa", "impossible_value"],
        [4, "drain_pressure_kpa", "outlier"],
        [8, "drain_pressure_kpa", "first_minutes"],
    ]


def test_engineering_takes_it(told: dict[str, Any]) -> None:
    assert told["rows"] == 2
    assert told["meter"] > 0.0
    assert told["fact"] == "pressure of the concentrate at the drain, gauge"
    assert told["is_read_for_findings"]


def test_the_nomenclature_lists_it(told: dict[str, Any]) -> None:
    assert (
        "| P_d | `drain_pressure_kpa` | `drain_pressure` | drain pressure | kPa | "
        "pressure of the concentrate at the drain, gauge |"
    ) in told["nomenclature"]
