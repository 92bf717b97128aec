"""Other words that people write for the words of the guide."""

from collections.abc import Mapping
from typing import Final


def _meaning(**spellings: str) -> dict[str, str]:
    """The word of the guide by each of its other spellings, which are separated by spaces."""
    return {spelling: word for word, written in spellings.items() for spelling in written.split()}


_SYNONYMS: Final[Mapping[str, Mapping[str, str]]] = {
    "stage": _meaning(
        sediment="sediment_filter particle_filter",
        carbon="carbon_filter carbon_block activated_carbon",
        membrane="ro ro_membrane",
        resin="di di_resin mixed_bed deionisation deionization",
    ),
    # No numbers: '1' may be the first of two or the only one.
    "role": _meaning(single="only sole", lead="first upstream leading", lag="second downstream lagging polishing"),
    "kind": _meaning(ro_di="rodi"),
    "reason": _meaning(
        exhausted="spent worn_out used_up",
        early="found_good still_good replaced_early",
        routine="service serviced scheduled planned interval periodic maintenance precaution preventive preventative",
        unknown="not_known unclear other",
        rotated="rotation moved",
        damaged="broken leaking",
    ),
    "state": _meaning(flowing="running producing", static="standing standstill stopped"),
    "occasion": _meaning(as_found="found before before_work", as_left="left after after_work"),
    "source": _meaning(
        installer="technician service", client="customer owner user", meter="sensor logger telemetry automatic"
    ),
}
"""By field of the tables. Only words that can mean one thing; every other one is refused by name."""


def word_of_guide(field: str, written: str) -> str:
    """The word of the guide for one that is written in lower case with underscores; itself when there is none.

    >>> word_of_guide("role", "first")
    'lead'
    >>> word_of_guide("role", "third")
    'third'
    """
    return _SYNONYMS.get(field, {}).get(written, written)
