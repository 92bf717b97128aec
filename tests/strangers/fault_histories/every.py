"""All histories of a seed."""

from collections.abc import Iterator
from typing import Final

from tests.strangers.fault_histories.fault import Fault
from tests.strangers.fault_histories.faults_of_cartridges import FAULTS_OF_CARTRIDGES
from tests.strangers.fault_histories.faults_of_instruments import FAULTS_OF_INSTRUMENTS
from tests.strangers.fault_histories.faults_of_membranes import FAULTS_OF_MEMBRANES
from tests.strangers.fault_histories.faults_of_pressure import FAULTS_OF_PRESSURE
from tests.strangers.fault_histories.faults_of_stores import FAULTS_OF_STORES
from tests.strangers.fault_histories.healthy import make_healthy_history
from tests.strangers.fault_histories.instruments import VARIANTS
from tests.strangers.fault_histories.make import make_fault_history
from tests.strangers.fault_histories.records import History

EVERY_FAULT: Final[tuple[Fault, ...]] = (
    *FAULTS_OF_MEMBRANES,
    *FAULTS_OF_PRESSURE,
    *FAULTS_OF_STORES,
    *FAULTS_OF_CARTRIDGES,
    *FAULTS_OF_INSTRUMENTS,
)
HEALTHY: Final = 220


def fault_histories(seed: int = 11) -> Iterator[History]:
    """Every fault in every variant."""
    for number, fault in enumerate(EVERY_FAULT, start=1):
        for letter, variant in zip("abc", VARIANTS, strict=True):
            yield make_fault_history(fault, variant, code=f"F{number:02}{letter}", seed=seed)


def healthy_histories(seed: int = 11, count: int = HEALTHY) -> Iterator[History]:
    """Units that nothing is wrong with."""
    for number in range(1, count + 1):
        yield make_healthy_history(number, code=f"H{number:03}", seed=seed)
