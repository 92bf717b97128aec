"""The invented company, lived through once for all the tests here."""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date
from pathlib import Path

import pytest

from fleet.demo.life import live_all
from fleet.demo.log_files import LogFile
from fleet.demo.logs import write_logs
from fleet.demo.records import Life
from fleet.demo.scenario import Scenario, read_scenario

FOLDER = Path(__file__).resolve().parents[2] / "fixtures" / "demo"
AS_OF = date(2026, 9, 16)
SEED = 4


@dataclass(frozen=True)
class SimulatedCompany:
    """The scenario, what became of its units, and the logs."""

    scenario: Scenario
    lives: Mapping[str, Life]
    logs: list[LogFile]


def tell(as_of: date = AS_OF, seed: int = SEED) -> SimulatedCompany:
    scenario = read_scenario(FOLDER)
    lives = live_all(scenario, as_of=as_of, seed=seed)
    return SimulatedCompany(scenario, lives, write_logs(scenario, lives, as_of=as_of, seed=seed))


@pytest.fixture(scope="session")
def simulated() -> SimulatedCompany:
    return tell()
