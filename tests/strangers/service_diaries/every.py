"""The whole set."""

from tests.strangers.fault_histories.records import History
from tests.strangers.service_diaries.faults_of_flow import FAULTS_OF_FLOW
from tests.strangers.service_diaries.faults_of_membranes import FAULTS_OF_MEMBRANES
from tests.strangers.service_diaries.faults_of_water import FAULTS_OF_WATER
from tests.strangers.service_diaries.faults_seen import FAULTS_SEEN
from tests.strangers.service_diaries.make import fault_history, sound_history

EVERY_FAULT = (*FAULTS_OF_FLOW, *FAULTS_OF_MEMBRANES, *FAULTS_OF_WATER, *FAULTS_SEEN)
VARIANTS = ("good", "lazy")
SOUND = 200


def fault_histories(seed: int) -> list[History]:
    """Each fault as often as it is met, as a good diary and as a lazy one."""
    histories = []
    for fault in EVERY_FAULT:
        for number in range(fault.weight):
            for variant in VARIANTS:
                code = f"F{len(histories):03d}"
                histories.append(fault_history(fault, variant, number=number, code=code, seed=seed))
    return histories


def sound_histories(seed: int, count: int = SOUND) -> list[History]:
    """Units without a fault, every second one older than two years."""
    return [sound_history(number=n, code=f"H{n:03d}", seed=seed, is_old=n % 2 == 0) for n in range(count)]
