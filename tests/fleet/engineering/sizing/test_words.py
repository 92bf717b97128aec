"""What sizing tells, case by case, and in whichever language is spoken."""

from dataclasses import replace

import pytest

from accounts.language import speak
from fleet.engineering.limits import HOUSE
from fleet.engineering.sizing import Offer, Promise, commissioning_checks
from fleet.engineering.sizing.words import commissioning, comparison, connections, fittings, parts, quantities, remarks
from tests.fleet.engineering.sizing.test_sizing import CATALOGUE, DEGAS, LABEL, SOFT_WATER, offer
from tests.pseudo_language import PSEUDO, english_in

# Names, codes and units are facts, and the same in every language.
CODES = (*(item.code for item in CATALOGUE), DEGAS.code)
FACTS = ("EUR", "mL/min", "L/day", "mg/L as CaCO3", "mg/L", "degC", "bar", *CODES)


def told(made_offer: Offer) -> list[str]:
    """Every sentence of an offer."""
    rows = [*made_offer.missing, *made_offer.remarks]
    for entry in made_offer.alternatives:
        rows += [entry, *entry.parts, *entry.fittings, *entry.outlets, *entry.reasons, *entry.missing]
    sizes = [fitting.size for entry in made_offer.alternatives for fitting in entry.fittings]
    return [text for row in rows for text in (row.for_installer, row.for_client)] + [size for size in sizes if size]


HARD = replace(SOFT_WATER, hardness_mg_per_l_as_caco3=300.0, alkalinity_mg_per_l_as_caco3=250.0, iron_mg_per_l=0.4)
CASES = {
    "a tee": lambda: offer(SOFT_WATER, ("reef", 140.0), ("coffee", 100.0), ("drinking", 40.0)),
    "a warm summer": lambda: offer(
        replace(HARD, highest_temperature_degc=30.0, highest_static_pressure_kpa=900.0), ("fish", 140.0)
    ),
    "an espresso bar": lambda: offer(
        replace(HARD, alkalinity_mg_per_l_as_caco3=120.0, ph=6.8, feed_tds_mg_per_l=300.0), ("coffee", 200.0)
    ),
    "an own well": lambda: offer(replace(SOFT_WATER, is_own_well=True, disinfectant="none"), ("drinking", 70.0)),
    "a tested well": lambda: offer(replace(SOFT_WATER, is_own_well=True, bacteria_test="none_found"), ("reef", 70.0)),
    "a bad well": lambda: offer(
        replace(SOFT_WATER, is_own_well=True, bacteria_test="found", disinfectant="none"), ("drinking", 70.0)
    ),
    "a reserve": lambda: offer(SOFT_WATER, ("reef", 140.0), ("drinking", 40.0), reserve_days=3.0),
    "hard and cold": lambda: offer(
        replace(HARD, lowest_temperature_degc=6.0, disinfectant="chloramine", peak_draw_l=30.0), ("laboratory", 300.0)
    ),
    "nothing known": lambda: offer(
        replace(
            SOFT_WATER, hardness_mg_per_l_as_caco3=None, ph=None, silica_mg_per_l=None, total_chlorine_mg_per_l=None
        ),
        ("planted", 70.0),
        coldest_is_known=False,
    ),
    "no room": lambda: offer(SOFT_WATER, ("reef", 140.0), most_cartridges=2),
    "no second": lambda: offer(
        replace(SOFT_WATER, disinfectant="chloramine"), ("reef", 140.0), most_cartridges=4, largest_tank_l=1.0
    ),
    "too much": lambda: offer(SOFT_WATER, ("reef", 90000.0), has_power=False),
    "a strong line": lambda: offer(replace(SOFT_WATER, lowest_line_pressure_kpa=900.0), ("drinking", 70.0)),
}


@pytest.mark.parametrize("case", CASES)
def test_an_offer_is_told_in_the_language_that_is_spoken(case: str) -> None:
    with speak(PSEUDO):
        sentences = told(CASES[case]())
    assert sentences
    assert not [(text, left) for text in sentences if (left := english_in(text, *FACTS))]


def test_commissioning_is_told_in_the_language_that_is_spoken() -> None:
    reading = {"inlet_pressure_kpa": 100.0, "permeate_flow_l_per_day": 10.0, "concentrate_flow_l_per_day": 400.0}
    with speak(PSEUDO):
        promise = Promise(LABEL, 4.0, inlet_pressure_kpa=400.0, product_tds_mg_per_l=1.0)
        checks = commissioning_checks(promise, reading, limits=HOUSE)
    assert {check.verdict for check in checks} >= {"not_kept", "not_read"}
    sentences = [text for check in checks for text in (check.for_installer, check.for_client, check.if_not_kept)]
    assert not [(text, left) for text in sentences if (left := english_in(text, *FACTS))]


def test_one_and_many_have_their_plural_forms() -> None:
    assert parts.no_room(1, 3, 1, needs_resin=False)[0] == (
        "There is room for 1 cartridge; sediment, carbon and membrane need 3."
    )
    assert parts.no_room(3, 5, 2, needs_resin=True)[0] == (
        "There is room for 3 cartridges; sediment, carbon, 2 membranes and resin need 5."
    )
    assert "Lets 1 litre run" in fittings.flow_restrictor(1.0, is_scale_known=True, warmest="", is_metric=True)[1]
    assert "Lets 1.5 gallons run" in fittings.flow_restrictor(1.5, is_scale_known=True, warmest="", is_metric=False)[1]
    for window_h, words in ((1 / 60, "within 1 minute is"), (0.5, "within 30 minutes is")):
        assert words in connections.storage("5 L", window_h, 0.0, is_assumed=True, has_precharge=False)[0]
    assert "allows one configuration here" in comparison.few_alternatives(1)[0]
    assert "allows 2 configurations here" in comparison.few_alternatives(2)[0]
    assert [quantities.days_in_words(days) for days in (1.0, 2.0, 14.0, 75.0, 730.0)] == [
        "1 day", "2 days", "2 weeks", "2 months", "2 years",
    ]  # fmt: skip


@pytest.mark.parametrize(
    ("years", "when"),
    [
        (0.124, "paid back within six weeks."),
        (0.126, "paid back in about 2 months."),
        (1.99, "paid back in about 24 months."),
        (2.0, "paid back in about 2 years."),
        (15.0, "paid back in about 15 years."),
        (15.1, "not paid back within 15 years."),
    ],
)
def test_when_it_is_paid_back(years: float, when: str) -> None:
    assert all(text.endswith(when) for text in comparison.paid_back(2, 1, ("50 EUR", "25 EUR"), years, 15.0))


def test_what_is_assumed_of_the_water_is_named() -> None:
    told_all = remarks.water_not_known(["hardness", "silica"], "1 mg/L", is_scale_assumed=True, is_gas_assumed=True)
    assert told_all[0] == (
        "Not measured: hardness and silica. Assumed: scaling as in hard water; no silica; no load of carbon dioxide on "
        "the resin, so that resin may last much shorter. Have the water analysed."
    )
    nothing = remarks.water_not_known(["pH"], "1 mg/L", is_scale_assumed=False, is_gas_assumed=False)
    assert "Assumed: nothing that matters here." in nothing[0]


def test_the_limits_of_commissioning_are_those_that_are_judged_by() -> None:
    assert "more than 20 % off" in commissioning.permeate_flow(0.2)[0]
