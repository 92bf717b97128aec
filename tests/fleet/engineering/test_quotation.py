"""Quotations: the right train for the water and the use, the smallest membrane that serves, and honest notes."""

import math
from dataclasses import replace

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from fleet.engineering import scaling
from fleet.engineering.errors import EngineeringError
from fleet.engineering.expected_flow import MembraneRating, expected_permeate_flow_l_per_day
from fleet.engineering.mass_balance import concentrate_tds_mg_per_l
from fleet.engineering.sizing import MembraneOption, Quotation, QuotationPolicy, SiteSurvey, quote

# An invented catalogue; the labels are typical: 50 to 400 US gpd at 50 psi (60 psi), 25 degC, 250 mg/L (500), 15 %.
CATALOGUE = [
    MembraneOption("M50", MembraneRating(189.0, 345.0, 25.0, 250.0, 0.15, 0.97)),
    MembraneOption("M75", MembraneRating(284.0, 345.0, 25.0, 250.0, 0.15, 0.97)),
    MembraneOption("M100", MembraneRating(379.0, 345.0, 25.0, 250.0, 0.15, 0.97)),
    MembraneOption("M400", MembraneRating(1514.0, 414.0, 25.0, 500.0, 0.15, 0.96)),
]
SOFT = SiteSurvey(
    "reef",
    140.0,
    420.0,
    8.0,
    14.0,
    120.0,
    hardness_mg_per_l_as_caco3=60.0,
    alkalinity_mg_per_l_as_caco3=50.0,
    ph=8.0,
    silica_mg_per_l=8.0,
    total_chlorine_mg_per_l=0.6,
    disinfectant="chlorine",
)


def roles(offer: Quotation) -> list[tuple[str, str]]:
    return [(position.stage, position.role) for position in offer.positions]


def codes(offer: Quotation) -> set[str]:
    return {note.code for note in offer.notes}


def test_a_reef_on_soft_water() -> None:
    offer = quote(SOFT, CATALOGUE)
    assert offer.kind == "ro_di"
    assert roles(offer) == [
        ("sediment", "single"), ("carbon", "single"), ("membrane", "single"), ("resin", "lead"), ("resin", "lag"),
    ]  # fmt: skip
    assert not offer.has_booster_pump
    assert offer.waste_ratio == 2.0
    assert offer.winter_run_hours_per_day <= 8.0
    assert offer.feed_l_per_week == pytest.approx(140.0 + offer.waste_l_per_week)
    assert codes(offer) == {"air_gap"}


def test_the_numbers_by_hand() -> None:
    """The offer for soft water worked through with the single formulas."""
    offer = quote(SOFT, CATALOGUE)
    inlet = 420.0 - 8 * 6.894757293168361
    assert offer.inlet_pressure_kpa == pytest.approx(inlet)
    chosen = next(option for option in CATALOGUE if option.code == offer.membrane)
    usual = expected_permeate_flow_l_per_day(
        chosen.rating, pressure_kpa=inlet, temperature_degc=14.0, tds_mg_per_l=120.0, recovery_fraction=1 / 3
    )
    assert offer.usual_permeate_flow_l_per_day == pytest.approx(usual)
    assert offer.restrictor_ml_per_min == pytest.approx(2.0 * usual * 1000.0 / 1440.0)
    assert offer.winter_run_hours_per_day == pytest.approx(20.0 / offer.winter_permeate_flow_l_per_day * 24.0)


def test_hard_water_gets_more_waste_and_very_hard_water_a_softener() -> None:
    hard = replace(
        SOFT, hardness_mg_per_l_as_caco3=180.0, alkalinity_mg_per_l_as_caco3=140.0, feed_tds_mg_per_l=250.0, ph=7.5
    )
    very_hard = replace(
        SOFT, hardness_mg_per_l_as_caco3=450.0, alkalinity_mg_per_l_as_caco3=350.0, feed_tds_mg_per_l=600.0, ph=7.8
    )
    offer, strict = quote(hard, CATALOGUE), quote(very_hard, CATALOGUE)
    assert offer.waste_ratio > 2.0
    assert offer.concentrate_langelier_index is not None
    assert offer.concentrate_langelier_index <= 0.5
    assert "soften_feed" in codes(strict)
    assert strict.waste_ratio == 5.0


def test_silica_holds_the_recovery_down() -> None:
    offer = quote(replace(SOFT, silica_mg_per_l=65.0), CATALOGUE)
    limit = scaling.max_recovery_by_silica_fraction(65.0, 8.0)
    assert offer.recovery_fraction <= limit < 1 / 3


def test_carbon_dioxide_shortens_the_resin_and_is_named() -> None:
    acid = replace(SOFT, ph=6.6)
    unknown = replace(SOFT, ph=None)
    plenty, little, blind = quote(acid, CATALOGUE), quote(SOFT, CATALOGUE), quote(unknown, CATALOGUE)
    assert plenty.resin_service_volume_l is not None
    assert little.resin_service_volume_l is not None
    assert blind.resin_service_volume_l is not None
    assert plenty.resin_service_volume_l < 0.5 * little.resin_service_volume_l
    assert "degas_before_resin" in codes(plenty)
    assert {"carbon_dioxide_not_known", "scaling_not_known"} <= codes(blind)
    assert blind.resin_service_volume_l > little.resin_service_volume_l, "a lower bound of the load, and said so"


@pytest.mark.parametrize(
    ("changes", "expected"),
    [
        ({"disinfectant": "chloramine"}, [("carbon", "lead"), ("carbon", "lag")]),
        ({"total_chlorine_mg_per_l": 2.5}, [("carbon", "lead"), ("carbon", "lag")]),
        ({}, [("carbon", "single")]),
    ],
)
def test_carbon_positions(changes: dict[str, object], expected: list[tuple[str, str]]) -> None:
    offer = quote(replace(SOFT, **changes), CATALOGUE)  # type: ignore[arg-type]
    assert [role for role in roles(offer) if role[0] == "carbon"] == expected


@pytest.mark.parametrize(
    ("use", "kind", "resin"),
    [
        ("reef", "ro_di", 2), ("laboratory", "ro_di", 2), ("planted", "ro", 0), ("drinking", "ro", 0),
        ("coffee", "ro", 0),
    ],
)  # fmt: skip
def test_kind_by_use(use: str, kind: str, resin: int) -> None:
    offer = quote(replace(SOFT, use=use), CATALOGUE)
    assert offer.kind == kind
    assert sum(position.stage == "resin" for position in offer.positions) == resin
    assert (offer.resin_service_volume_l is None) == (resin == 0)


@pytest.mark.parametrize(
    ("changes", "says"),
    [
        ({"lowest_line_pressure_kpa": 250.0}, "line is weak"),
        ({"feed_tds_mg_per_l": 1500.0, "hardness_mg_per_l_as_caco3": None}, "feed is salty"),
        ({"demand_l_per_week": 1000.0}, "winter flow"),
    ],
)
def test_a_pump_is_offered_with_its_reason(changes: dict[str, object], says: str) -> None:
    catalogue = CATALOGUE if "demand_l_per_week" not in changes else CATALOGUE[:3]
    changed = replace(SOFT, lowest_line_pressure_kpa=410.0)
    offer = quote(replace(changed, **changes), catalogue, QuotationPolicy(run_hours_per_day=16.0))  # type: ignore[arg-type]
    assert offer.has_booster_pump
    assert any(note.code == "booster_pump" and says in note.sentence for note in offer.notes)


def test_notes_that_matter() -> None:
    drinker = quote(replace(SOFT, has_drinking_outlet=True), CATALOGUE)
    assert "drink_before_resin" in codes(drinker)
    rusty = quote(replace(SOFT, iron_mg_per_l=0.3), CATALOGUE)
    assert "iron_or_manganese" in codes(rusty)
    untested = quote(replace(SOFT, total_chlorine_mg_per_l=None), CATALOGUE)
    assert "chlorine_not_known" in codes(untested)
    idle = quote(replace(SOFT, demand_l_per_week=10.0), CATALOGUE)
    assert "runs_little" in codes(idle)
    coffee = quote(replace(SOFT, use="coffee"), CATALOGUE)
    assert "add_minerals" in codes(coffee)


@settings(max_examples=60)
@given(
    demand=st.floats(10.0, 900.0),
    pressure=st.floats(200.0, 700.0),
    winter=st.floats(2.0, 15.0),
    warmer=st.floats(0.0, 10.0),
    tds=st.floats(20.0, 1500.0),
)
def test_the_offer_serves_and_is_the_smallest_that_does(
    demand: float, pressure: float, winter: float, warmer: float, tds: float
) -> None:
    survey = replace(
        SOFT,
        demand_l_per_week=demand,
        lowest_line_pressure_kpa=pressure,
        lowest_temperature_degc=winter,
        usual_temperature_degc=winter + warmer,
        feed_tds_mg_per_l=tds,
    )
    offer = quote(survey, CATALOGUE)
    assert offer.winter_run_hours_per_day <= 8.0 * (1 + 1e-9)
    assert offer.usual_permeate_flow_l_per_day >= offer.winter_permeate_flow_l_per_day
    smaller = [option for option in CATALOGUE if option.rating.flow_l_per_day < _rated(offer)]
    for option in smaller:
        winter_flow = 0.85 * expected_permeate_flow_l_per_day(
            option.rating,
            pressure_kpa=offer.inlet_pressure_kpa,
            temperature_degc=winter,
            tds_mg_per_l=tds,
            recovery_fraction=offer.recovery_fraction,
        )
        assert demand / 7.0 > winter_flow * 8.0 / 24.0, "a smaller membrane would have served"
    # What is offered adds up: the salt of the feed is in permeate and concentrate.
    concentrate = concentrate_tds_mg_per_l(tds, offer.permeate_tds_mg_per_l, offer.recovery_fraction)
    inside = offer.recovery_fraction * offer.permeate_tds_mg_per_l + (1 - offer.recovery_fraction) * concentrate
    assert inside == pytest.approx(tds)


def _rated(offer: Quotation) -> float:
    return next(float(option.rating.flow_l_per_day) for option in CATALOGUE if option.code == offer.membrane)


def test_what_cannot_be_quoted_says_why() -> None:
    with pytest.raises(EngineeringError, match="no membrane in the catalogue"):
        quote(SOFT, [])
    with pytest.raises(EngineeringError, match="even with a pump"):
        quote(replace(SOFT, demand_l_per_week=20_000.0), CATALOGUE)


@pytest.mark.parametrize(
    ("field", "value"),
    [
        ("use", "swimming"),
        ("disinfectant", "ozone"),
        ("demand_l_per_week", 0.0),
        ("demand_l_per_week", math.nan),
        ("lowest_temperature_degc", 0.0),
        ("usual_temperature_degc", 3.0),
        ("feed_tds_mg_per_l", -1.0),
        ("ph", 12.0),
        ("draw_window_h", -1.0),
        ("silica_mg_per_l", math.inf),
    ],
)
def test_a_survey_that_cannot_be_true_is_refused_by_name(field: str, value: object) -> None:
    with pytest.raises(EngineeringError) as caught:
        replace(SOFT, **{field: value})  # type: ignore[arg-type]
    assert caught.value.field == field
