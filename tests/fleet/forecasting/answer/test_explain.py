"""Sentences: what, when, how sure, on what evidence, and why it moved."""

import re

import pytest

from fleet.forecasting import build_fleet, forecast, sentence_for_client, sentence_for_installer
from fleet.forecasting.answer.gauges import Gauges
from fleet.forecasting.answer.reasons import explain_exhaustion
from fleet.forecasting.inputs import vocabulary as words
from fleet.forecasting.inputs.limits import limits_of_fleet
from tests.fleet.forecasting.fleets import NOW, columns, readings, row_of


def run(fleet_columns):
    fleet, faults = build_fleet(**fleet_columns)
    assert faults == []
    return fleet, forecast(fleet)


def test_installer_reads_date_interval_and_evidence():
    fleet_columns = columns()
    fleet_columns["readings"] = readings([NOW - 12.0], product_tds_mg_per_l=0.0, permeate_tds_mg_per_l=9.0)
    fleet, answer = run(fleet_columns)
    sentence = sentence_for_installer(fleet, answer, row_of(fleet, "resin"))
    assert re.match(r"Resin: breakthrough will reach the limit around \d+ [A-Z][a-z]{2} 20\d\d \(", sentence)
    assert "8 in 10:" in sentence
    assert "1 reading, 12 days old" in sentence


@pytest.mark.parametrize(
    ("ages", "words"),
    [
        ([1.2, 9.0], "2 readings, the newest 1 day old"),
        ([0.3, 9.0], "2 readings, the newest less than a day old"),
        ([0.75], "1 reading, less than a day old"),
        ([2.0], "1 reading, 2 days old"),
    ],
)
def test_ages_are_said_as_people_say_them(ages, words):
    fleet_columns = columns()
    fleet_columns["readings"] = readings(
        [NOW - age for age in ages], product_tds_mg_per_l=0.0, permeate_tds_mg_per_l=9.0
    )
    fleet, answer = run(fleet_columns)
    assert words in sentence_for_installer(fleet, answer, row_of(fleet, "resin"))


def test_nominal_only_is_said():
    fleet, answer = run(columns())
    assert "no reading of this cartridge" in sentence_for_installer(fleet, answer, row_of(fleet, "sediment"))


def test_a_forecast_without_a_reading_says_so_beside_earlier_cartridges():
    fleet_columns = columns()
    resin = fleet_columns["placements"]["position_id"].index("u0/resin/single")
    for column in fleet_columns["placements"].values():
        column.append(column[resin])
    for name, value in (
        ("placement_id", "earlier"),
        ("placed_day", NOW - 240.0),
        ("removed_day", NOW - 120.0),
        ("reason", "exhausted"),
    ):
        fleet_columns["placements"][name][-1] = value
    fleet, answer = run(fleet_columns)
    sentence = sentence_for_installer(fleet, answer, row_of(fleet, "resin"))
    assert "no reading of this cartridge; 1 earlier cartridge here" in sentence
    assert "only its label and load" in sentence_for_installer(fleet, answer, row_of(fleet, "carbon"))


def test_client_is_told_plainly():
    fleet, answer = run(columns())
    assert sentence_for_client(fleet, answer, row_of(fleet, "membrane")).startswith("Your membrane should be replaced")
    idle, idle_answer = run(columns(weekly_demand_l=0.0))
    assert "not in use" in sentence_for_client(idle, idle_answer, row_of(idle, "resin"))


def test_a_reading_that_shows_exhaustion_is_told_in_plain_digits():
    fleet_columns = columns()
    fleet_columns["readings"] = readings(
        [NOW - 2.0, NOW - 1.0],
        line_pressure_kpa=412.0,
        prefilter_outlet_pressure_kpa=270.0,
        permeate_flow_l_per_day=200.0,
    )
    fleet, answer = run(fleet_columns)
    gauges = Gauges(fleet, answer.exclusions, limits_of_fleet(fleet))
    why = explain_exhaustion(fleet, answer, gauges, row_of(fleet, "sediment"), limits_of_fleet(fleet))
    assert why.code == "reading"
    assert "shows differential pressure over the filter of 140 kPa, past the limit" in why.sentence


def test_what_only_its_load_says_is_told_as_likely_with_the_forecasts_own_number():
    fleet_columns = columns(weekly_demand_l=500.0)
    fleet, answer = run(fleet_columns)
    row = row_of(fleet, "sediment")
    why = explain_exhaustion(
        fleet, answer, Gauges(fleet, answer.exclusions, limits_of_fleet(fleet)), row, limits_of_fleet(fleet)
    )
    assert why.code == "load"
    chance = answer.probability_exhausted_by(answer.as_of_day)[row]
    assert 0.5 <= chance < 0.99
    assert f"makes it {100 * chance:.0f} % likely" in why.sentence
    sentence = sentence_for_installer(fleet, answer, row, why.sentence, is_certain=why.is_certain)
    assert sentence.startswith("Sediment filter: probably exhausted by now, because its load alone")


@pytest.mark.parametrize(
    ("stage", "values", "expected"),
    [
        ("sediment", {"line_pressure_kpa": 412.0, "prefilter_outlet_pressure_kpa": 270.0}, "clogged"),
        ("resin", {"product_tds_mg_per_l": 9.0, "permeate_tds_mg_per_l": 9.0}, "no longer holds back"),
    ],
)
def test_a_client_is_told_what_such_a_cartridge_does_when_it_is_exhausted(stage, values, expected):
    """A full sediment filter holds back as much as ever; it lets less water through."""
    fleet_columns = columns()
    fleet_columns["readings"] = readings([NOW - 2.0, NOW - 1.0], permeate_flow_l_per_day=200.0, **values)
    fleet, answer = run(fleet_columns)
    row = row_of(fleet, stage)
    why = explain_exhaustion(
        fleet, answer, Gauges(fleet, answer.exclusions, limits_of_fleet(fleet)), row, limits_of_fleet(fleet)
    )
    assert why.code == "reading"
    assert expected in why.client_sentence
    assert (stage == "sediment") == ("holds back" not in why.client_sentence)


def test_an_exhausted_lead_before_a_lag_that_holds_need_not_be_replaced_now():
    """The plan lets it wait for a visit, so its client is not told that it has to be replaced now."""
    fleet_columns = columns(kind="pair")
    exhausted_lead = {"interstage_tds_mg_per_l": 9.0, "permeate_tds_mg_per_l": 9.0}
    fleet_columns["readings"] = readings([NOW - 2.0, NOW - 1.0], product_tds_mg_per_l=0.0, **exhausted_lead)
    fleet, answer = run(fleet_columns)
    lead, lag = (row_of(fleet, "resin", role) for role in ("lead", "lag"))
    assert words.STATES[answer.state[lead]] == "exhausted"
    assert words.STATES[answer.state[lag]] == "installed"
    sentence = sentence_for_client(fleet, answer, lead, "of a reading")
    assert sentence == (
        "Your first resin cartridge is exhausted, because of a reading; by our estimate the one after it still works."
    )
    assert sentence_for_installer(fleet, answer, lead).endswith("; rotate it at the next visit.")
    answer.state[lag] = words.EXHAUSTED_NOW
    assert sentence_for_client(fleet, answer, lead) == (
        "Your first resin cartridge is exhausted; it should be replaced now."
    )
    assert sentence_for_installer(fleet, answer, lead).endswith("; replace it at the next visit.")


def test_what_is_only_likely_is_told_to_the_client_as_likely_too():
    fleet, answer = run(columns())
    row = row_of(fleet, "carbon")
    answer.state[row] = words.EXHAUSTED_NOW
    assert "probably exhausted by now" in sentence_for_installer(fleet, answer, row, is_certain=False)
    sentence = sentence_for_client(fleet, answer, row, "of how much water has passed through it", is_certain=False)
    assert sentence == (
        "Your carbon filter is probably exhausted, because of how much water has passed through it; it should be "
        "replaced now."
    )


def test_what_to_do_about_a_membrane_that_reads_badly_is_left_to_the_findings():
    """Feed that leaks past its seals reads as a worn membrane, and chlorine wears it: the forecast cannot tell them."""
    fleet_columns = columns()
    salty = {"feed_tds_mg_per_l": 250.0, "permeate_tds_mg_per_l": 60.0, "permeate_flow_l_per_day": 200.0}
    fleet_columns["readings"] = readings([NOW - 2.0, NOW - 1.0], temperature_degc=15.0, **salty)
    fleet, answer = run(fleet_columns)
    row = row_of(fleet, "membrane")
    assert words.STATES[answer.state[row]] == "exhausted"
    sentence = sentence_for_installer(fleet, answer, row)
    assert sentence.startswith("Membrane: exhausted by now (")
    assert sentence.endswith(").")
    assert sentence_for_client(fleet, answer, row) == "Your membrane is exhausted; we will see to it."
    # By its years alone no seal is in question.
    old = sentence_for_installer(fleet, answer, row, is_at_its_term=True)
    assert old.endswith("; replace it at the next visit.")
    assert sentence_for_client(fleet, answer, row, is_at_its_term=True).endswith("; it should be replaced now.")
