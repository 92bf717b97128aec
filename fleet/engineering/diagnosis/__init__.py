"""From one unit's readings, baselines and facts to the likely causes, each with the check that would confirm it."""

from fleet.engineering.diagnosis.context import context_of
from fleet.engineering.diagnosis.engine import Match, diagnose
from fleet.engineering.diagnosis.facts import CONTEXT_KEYS, PatternLimits
from fleet.engineering.diagnosis.record import Rule
from fleet.engineering.diagnosis.rules import BAD_WATER, CAUSES, RULES, SEEN_BY_PEOPLE, TITLES
from fleet.engineering.diagnosis.suppose import Supposition, suppose
from fleet.engineering.diagnosis.work import Cause, NoWork, Work, WorkKind

__all__ = [
    "BAD_WATER",
    "CAUSES",
    "CONTEXT_KEYS",
    "RULES",
    "SEEN_BY_PEOPLE",
    "TITLES",
    "Cause",
    "Match",
    "NoWork",
    "PatternLimits",
    "Rule",
    "Supposition",
    "Work",
    "WorkKind",
    "context_of",
    "diagnose",
    "suppose",
]
