"""Why a task is on a visit, in sentences."""

from __future__ import annotations

import math
from dataclasses import replace

import pytest

from scheduling.planning.needs.need import Need, NeedKind
from scheduling.planning.visits.proposal import NeedChoice
from scheduling.planning.visits.sentences import explain, pace, summary

RESIN = Need("n", "a", "u", NeedKind.REPLACE, label="resin", quantile_days=(30.0,) * 7, fresh_life_days=100.0)
CHOICE = NeedChoice(
    need="n", best_day=10, cost_on_visit=0.0, waste_on_visit=2.5, cost_of_waiting=7.0, saving=4.0,
    exhausted_probability=0.25, sentence="",
)  # fmt: skip


def sentence_of(need: Need, *, visit_day: int = 10, lead_exhausted: float = 0.5, choice: NeedChoice = CHOICE) -> str:
    return explain(need, choice, visit_day=visit_day, lead_exhausted=lead_exhausted, currency="EUR")


@pytest.mark.parametrize(
    ("visit_day", "told"), [(10, ""), (7, "would be 3 days later"), (11, "would be 1 day sooner"), (0, "10 days later")]
)
def test_its_own_cheapest_day_is_told_by_its_distance_from_the_visit(visit_day: int, told: str) -> None:
    sentence = sentence_of(RESIN, visit_day=visit_day)
    assert told in sentence
    assert ("by itself" in sentence) == bool(told)


def test_how_likely_it_is_exhausted_or_due() -> None:
    assert "25 % likely to be exhausted by the visit" in sentence_of(RESIN)
    assert "25 % likely to be exhausted by the visit" in sentence_of(replace(RESIN, kind=NeedKind.ROTATE))
    assert "25 % likely to be due by the visit" in sentence_of(replace(RESIN, kind=NeedKind.SANITISE))
    lead = sentence_of(replace(RESIN, exhausted_quantile_days=(5.0,) * 7))
    assert lead.index("50 %") < lead.index("25 %")
    for none in ((), (math.nan,) * 7):
        assert "likely" not in sentence_of(replace(RESIN, quantile_days=none))


def test_what_it_is_called() -> None:
    assert sentence_of(RESIN).startswith("Resin")
    assert sentence_of(replace(RESIN, label="", position="lead resin")).startswith("Lead resin")
    assert sentence_of(replace(RESIN, label="", kind=NeedKind.TAKE_READING)).startswith("Take reading")


def test_a_visit_adds_up_what_waiting_costs() -> None:
    assert "four weeks later would cost 14.00 EUR more" in summary((CHOICE, CHOICE), 20.0, 3, "EUR")
    thrifty = replace(CHOICE, cost_of_waiting=-9.0)
    assert "four weeks later would save 2.00 EUR in waste" in summary((CHOICE, thrifty), 20.0, 3, "EUR")


def test_the_pace_is_told_from_one_visit_a_year_that_is_saved() -> None:
    """365/100 visits a year become 365/200: 1.825 saved. Of a life of 182.5 days exactly one is saved."""
    assert "would save about 2 visits a year, 36.50 EUR" in pace([RESIN], 20.0, "EUR")
    assert "about 1 visit a year, 20.00 EUR" in pace([replace(RESIN, fresh_life_days=182.5)], 20.0, "EUR")
    assert pace([replace(RESIN, fresh_life_days=182.6)], 20.0, "EUR") == ""
    beside = replace(RESIN, kind=NeedKind.ROTATE, fresh_life_days=125.0)
    assert pace([RESIN, beside], 20.0, "EUR") == ""
    assert pace([RESIN, replace(beside, fresh_life_days=150.0)], 20.0, "EUR") != ""
    assert pace([RESIN, replace(beside, kind=NeedKind.SANITISE)], 20.0, "EUR") != ""
    assert pace([RESIN, replace(beside, fresh_life_days=math.nan)], 20.0, "EUR") == ""
    assert pace([], 20.0, "EUR") == ""
