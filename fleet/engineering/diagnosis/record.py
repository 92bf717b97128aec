"""What one rule of the diagnosis is, and what it answers when it applies."""

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from typing import Final, Literal, get_args

from fleet.engineering.diagnosis.facts import Facts
from fleet.engineering.diagnosis.places import Place, StageName
from fleet.engineering.diagnosis.work import Cause

Step = Literal["state", "meters", "pressures", "flows", "membrane", "resin", "carbon", "care"]

# Order of work: is the reading valid, are the meters plausible, then pressures, flows, membrane, resin, carbon, care.
STEPS: Final[tuple[Step, ...]] = get_args(Step)


@dataclass(frozen=True)
class Evidence:
    """That a pattern is there: how surely (0 to 1), and the numbers it rests on.

    Where the numbers say more than the rule can, `for_installer`, `for_client` and `action` (of `words`) take the place
    of its own. The causes are always those of the rule: a finding is confirmed, and its work chosen, by them.
    `is_clear`: so far past its limit that one visit is proof, also of a rule that must be seen twice. `tells_client`:
    no where another finding tells the client why.
    """

    confidence: float
    numbers: Mapping[str, float | str] = field(default_factory=dict)
    for_installer: str = ""
    for_client: str = ""
    action: str = ""
    is_clear: bool = False
    tells_client: bool = True


Condition = Callable[[Facts], Evidence | None]

Asks = tuple[tuple[str, ...], ...]
"""Alternatives, each the names of the quantities that together are enough."""

NO_STORED_READING: Final[Asks] = ()
"""Asked of a person, of a second meter, or of a reading on its way in: no stored reading answers it."""


@dataclass(frozen=True, kw_only=True, eq=False)
class Rule:
    """One rule, with all that follows from it. Its texts are translated where a `Match` tells them.

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
    asks : tuple of tuple of str
        What a stored reading must hold to say yes or no, one of the alternatives; a reading without it leaves the
        verdict to an older one. `NO_STORED_READING`: none can.
    asks_behind_lag : tuple of tuple of str
        The same at a unit with a lag resin, where that differs.
    is_judged_by_newest_product : bool
        Whether the newest product TDS decides, also where it was read later and without the rest.
    can_rest_on_product_alone : bool
        Whether the newest product TDS is judged by itself where no reading holds what is asked.
    is_of_whole_unit : bool
        Whether it is about how long nobody read the unit, and not about a reading.
    must_be_seen_twice : bool
        Whether one visit is no proof, unless its evidence is clear: a reading of the visit before must show it too.
    water_is_bad : bool
        Whether the water that people use is not as it should be while the pattern lasts.
    passes_with_season : bool
        Whether what explained a reading a month ago explains nothing today.
    doubts : tuple of str
        Steps whose verdicts are less sure while this pattern is there, because the reading itself is in doubt.
    place : Place or None
        The position it is about; None: the unit as a whole.
    outdated_by : tuple of str
        A cartridge of these stages placed after a reading makes what it showed history.
    causes : tuple of Cause
        The likely causes with the work each calls for, the likeliest first.
    confirm, action : str
        What settles it, what to do.
    cautions : tuple of str
        What to mind.
    source : str
        Where the limit is from.
    for_installer, for_client : str
        The finding in a sentence; a client's ends with what happens next or what to do.
    """

    id: str
    title: str
    pattern: str
    step: Step
    condition: Condition
    asks: Asks
    asks_behind_lag: Asks = ()
    is_judged_by_newest_product: bool = False
    water_is_bad: bool = False
    can_rest_on_product_alone: bool = False
    is_of_whole_unit: bool = False
    must_be_seen_twice: bool = False
    passes_with_season: bool = False
    doubts: tuple[Step, ...] = ()
    place: Place | None
    outdated_by: tuple[StageName, ...]
    causes: tuple[Cause, ...]
    confirm: str
    action: str
    cautions: tuple[str, ...]
    source: str
    for_installer: str
    for_client: str
