"""Every rule of the diagnosis, in the order of work; one file a step.

Limits stand in `PatternLimits` and `Limits`; they are common practice without a source unless a rule says otherwise.
"""

from collections.abc import Mapping
from typing import Final

from fleet.engineering.diagnosis.record import Rule
from fleet.engineering.diagnosis.rules.carbon import CARBON
from fleet.engineering.diagnosis.rules.care import CARE
from fleet.engineering.diagnosis.rules.finishing import FINISHING_RULES
from fleet.engineering.diagnosis.rules.first_weeks import FIRST_WEEKS
from fleet.engineering.diagnosis.rules.flows import FLOWS
from fleet.engineering.diagnosis.rules.membrane import MEMBRANE
from fleet.engineering.diagnosis.rules.meters import METERS
from fleet.engineering.diagnosis.rules.pressures import PRESSURES
from fleet.engineering.diagnosis.rules.resin import RESIN
from fleet.engineering.diagnosis.rules.seen import SEEN, SEEN_AT_ONCE, SEEN_FLOWS
from fleet.engineering.diagnosis.work import Cause
from fleet.engineering.observations import OBSERVATION_MEANINGS

RULES: Final[tuple[Rule, ...]] = (
    *SEEN_AT_ONCE,
    *METERS,
    *PRESSURES,
    *FLOWS,
    *FIRST_WEEKS,
    *SEEN_FLOWS,
    *MEMBRANE,
    *RESIN,
    *CARBON,
    *CARE,
    *FINISHING_RULES,
    *SEEN,
)

TITLES: Final[Mapping[str, str]] = {rule.id: rule.title for rule in RULES}
"""Id of a rule -> what it is called in a list."""

BAD_WATER: Final = frozenset(rule.id for rule in RULES if rule.water_is_bad)
"""Rules by which the water that people use is not as it should be."""

SEEN_BY_PEOPLE: Final = frozenset(
    rule.id for rule in RULES if any(name in OBSERVATION_MEANINGS for ask in rule.asks for name in ask)
)
"""Rules that what a person saw, heard or tasted can answer."""

CAUSES: Final[Mapping[str, Cause]] = {cause.code: cause for rule in RULES for cause in rule.causes}
"""Code of a cause -> the cause with the work it calls for."""
