"""What a finding tells, in whichever language is spoken when it is made."""

import pytest

from accounts.language import speak
from fleet.engineering.diagnosis import Match, diagnose
from fleet.engineering.diagnosis.facts import Fact
from tests.fleet.engineering.diagnosis.test_rules import HEALTHY, PATTERNS
from tests.pseudo_language import PSEUDO, english_in

RESIN = {"permeate_tds_mg_per_l": 10.0, "interstage_tds_mg_per_l": 9.8, "product_tds_mg_per_l": 0.0}
CASES: dict[str, dict[str, Fact]] = {
    "lag holds": RESIN,
    "lag was not read": {**RESIN, "product_tds_mg_per_l": None},
    "lag begins to fail": {**RESIN, "product_tds_mg_per_l": 1.5},
    "lag is exhausted by its forecast": {**RESIN, "lag_resin_is_exhausted": True},
    "both": {**RESIN, "product_tds_mg_per_l": 3.0},
    "one resin": {"permeate_tds_mg_per_l": 10.0, "product_tds_mg_per_l": 9.9, "has_lag_resin": False},
    "one resin past its limit": {"permeate_tds_mg_per_l": 10.0, "product_tds_mg_per_l": 4.0, "has_lag_resin": False},
    "last resin": {"permeate_tds_mg_per_l": 10.0, "product_tds_mg_per_l": 4.0},
    "only the product": {"permeate_tds_mg_per_l": 10.0, "product_tds_mg_per_l": 10.0},
    "low pressure": {**HEALTHY, "permeate_flow_l_per_day": 140.0, "inlet_pressure_kpa": 300.0,
                     "line_pressure_kpa": None, "prefilter_outlet_pressure_kpa": None},
    "low line": {**HEALTHY, "line_pressure_kpa": 300.0, "prefilter_outlet_pressure_kpa": None,
                 "inlet_pressure_kpa": None},
}  # fmt: skip


def texts(match: Match) -> list[str]:
    """All that a match tells."""
    of_the_match = [match.title, match.confirming_check, match.action, match.caution, match.limit_source]
    return [*of_the_match, match.for_installer, match.for_client]


@pytest.mark.parametrize(("rule", "changes"), [(rule, changes) for rule, changes, _ in PATTERNS])
def test_each_rule_is_told_in_the_language_that_is_spoken(rule: str, changes: dict[str, Fact]) -> None:
    with speak(PSEUDO):
        told = [text for match in diagnose({**HEALTHY, **changes}) if match.id == rule for text in texts(match)]
    assert told
    assert not [text for text in told if english_in(text)]


@pytest.mark.parametrize("case", CASES)
def test_what_the_numbers_say_is_told_in_the_language_that_is_spoken(case: str) -> None:
    with speak(PSEUDO):
        told = [text for match in diagnose(CASES[case]) for text in texts(match)]
    assert told
    assert not [text for text in told if english_in(text)]
