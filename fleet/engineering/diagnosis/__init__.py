"""From one unit's readings, baselines and facts to the likely causes, each with the check that would confirm it."""

from fleet.engineering.diagnosis.context import context_of
from fleet.engineering.diagnosis.engine import Match, diagnose
from fleet.engineering.diagnosis.facts import CONTEXT_KEYS, Thresholds
from fleet.engineering.diagnosis.record import Rule
from fleet.engineering.diagnosis.rules import RULES, TITLES
from fleet.engineering.diagnosis.suppose import Supposition, suppose

__all__ = [
    "CONTEXT_KEYS",
    "RULES",
    "TITLES",
    "Match",
    "Rule",
    "Supposition",
    "Thresholds",
    "context_of",
    "diagnose",
    "suppose",
]
