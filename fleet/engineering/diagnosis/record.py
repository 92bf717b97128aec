"""What one rule of the diagnosis is, and what it answers when it applies."""

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from typing import Final

from fleet.engineering.diagnosis.facts import Facts

# Order of work: is the reading valid, are the meters plausible, then pressures, flows, membrane, resin, carbon, care.
STEPS: Final = ("state", "meters", "pressures", "flows", "membrane", "resin", "carbon", "care")


@dataclass(frozen=True)
class Evidence:
    """That a pattern is there: how surely (0 to 1), and the numbers it rests on.

    Where the numbers say more than the rule can, `for_installer`, `for_client`, `action` and `causes` take the place of
    its own.
    """

    confidence: float
    numbers: Mapping[str, float | str] = field(default_factory=dict)
    for_installer: str = ""
    for_client: str = ""
    action: str = ""
    causes: tuple[str, ...] = ()


Condition = Callable[[Facts], Evidence | None]


@dataclass(frozen=True)
class Rule:
    """One row of the diagnosis table.

    Attributes
    ----------
    id : str
        ``"D01"`` and so on, stable.
    title : str
        What it is called in a list.
    pattern : str
        Code of what is seen.
    step : str
        One of `STEPS`; rules are worked through in that order.
    condition : callable
        Facts -> `Evidence`, or None when the pattern is not there or cannot be judged.
    causes : tuple of str
        Codes of the likely causes, the likeliest first.
    confirm, action, caution : str
        What settles it, what to do, what to mind.
    source : str
        Where the threshold is from.
    for_installer, for_client : str
        The finding in a sentence.
    """

    id: str
    title: str
    pattern: str
    step: str
    condition: Condition
    causes: tuple[str, ...]
    confirm: str
    action: str
    caution: str
    source: str
    for_installer: str
    for_client: str
