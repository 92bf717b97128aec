"""The sets of histories that the study of faults can send, each by another author."""

from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass

from tests.benchmarks.diary_causes import DIARY_WORDS
from tests.benchmarks.fault_causes import HISTORY_WORDS, CauseWords
from tests.strangers.fault_histories import every as histories
from tests.strangers.fault_histories.instruments import VARIANTS as HISTORY_VARIANTS
from tests.strangers.fault_histories.parts import ITEMS as HISTORY_ITEMS
from tests.strangers.fault_histories.parts import Item
from tests.strangers.fault_histories.records import History
from tests.strangers.service_diaries import every as diaries
from tests.strangers.service_diaries.catalogue import ITEMS as DIARY_ITEMS


@dataclass(frozen=True)
class FaultSet:
    """What one author wrote, and how its words meet the causes of diagnosis."""

    words: CauseWords
    items: Mapping[str, Item]
    """Parts that are entered in the catalogue, by the names that layouts and changes use."""
    variants: tuple[str, ...]
    severities: Mapping[str, str]
    """Of each fault."""
    ill: Callable[[int], Iterable[History]]
    """Of a seed."""
    sound: Callable[[int, int], Iterable[History]]
    """Of a seed, and how many."""
    sound_count: int


SETS = {
    "histories": FaultSet(
        words=HISTORY_WORDS,
        items=HISTORY_ITEMS,
        variants=tuple(HISTORY_VARIANTS),
        severities={fault.name: fault.severity for fault in histories.EVERY_FAULT},
        ill=histories.fault_histories,
        sound=histories.healthy_histories,
        sound_count=histories.HEALTHY,
    ),
    "diaries": FaultSet(
        words=DIARY_WORDS,
        items=DIARY_ITEMS,
        variants=diaries.VARIANTS,
        severities={fault.name: fault.severity for fault in diaries.EVERY_FAULT},
        ill=diaries.fault_histories,
        sound=diaries.sound_histories,
        sound_count=diaries.SOUND,
    ),
}
