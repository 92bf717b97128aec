"""Units at the border: what is accepted, what is refused by name, and that the digits sent come back."""

import math

import numpy as np
import pint
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from fleet.engineering import units
from fleet.engineering.errors import EngineeringError

# NIST SP 811 and the definitions of the units; German degree 10 mg/L CaO, French degree 10 mg/L CaCO3.
ACCEPTED = [
    ("60 psi", "pressure", 413.6854376),
    ("60psi", "pressure", 413.6854376),
    ("60 PSI", "pressure", 413.6854376),
    ("4.1 bar", "pressure", 410.0),
    ("4100 mbar", "pressure", 410.0),
    ("0.41 MPa", "pressure", 410.0),
    ("410 kPa", "pressure", 410.0),
    ("1 inHg", "pressure", 3.386389),
    ("15 degC", "temperature", 15.0),
    ("59 °F", "temperature", 15.0),
    ("288.15 K", "temperature", 15.0),
    ("9 delta_degF", "temperature_difference", 5.0),
    ("75 gpd", "flow", 283.9058838),
    ("75 US gpd", "flow", 283.9058838),
    ("75 imperial gpd", "flow", 340.95675),
    ("197.156864 mL/min", "flow", 283.905884),
    ("12 L/h", "flow", 288.0),
    ("0.2 L/min", "flow", 288.0),
    ("700 L/week", "flow", 100.0),
    ("1 US gal", "volume", 3.785411784),
    ("1 imperial gal", "volume", 4.54609),
    ("1 gpg", "hardness", 17.1180610),
    ("1 Clark", "hardness", 14.2537675),
    ("1 dH", "hardness", 17.847992),
    ("1 fH", "hardness", 10.0),
    ("1 mmol/L", "hardness", 100.0869),
    ("2 meq/L", "alkalinity", 100.0869),
    ("100 ppm as CaCO3", "alkalinity", 100.0),
    ("100 PPM AS NACL", "tds", 100.0),
    ("420 uS/cm", "tds", 210.0),
    ("420 µS/cm", "tds", 210.0),
    ("0.42 mS/cm", "tds", 210.0),
    ("42 mS/m", "tds", 210.0),
    ("210 ppm", "tds", 210.0),
    ("0.5 ppm", "chlorine", 0.5),
    ("0.5 mg/L as Cl2", "chlorine", 0.5),
    ("200 ug/L", "concentration", 0.2),
    ("7.4", "ph", 7.4),
    ("7.4 pH", "ph", 7.4),
    ("0.4 FNU", "turbidity", 0.4),
    ("5 micron", "micron", 5.0),
    ("96 %", "fraction", 0.96),
    ("10 kgr/ft3", "exchange_capacity", 0.457273),
    ("26 weeks", "duration", 182.0),
    ("-5 °C", "temperature", -5.0),
]


@pytest.mark.parametrize(("text", "kind", "expected"), ACCEPTED)
def test_accepted_forms(text: str, kind: str, expected: float) -> None:
    assert units.parse_quantity(text, kind, field="x") == pytest.approx(expected, rel=2e-7)


@pytest.mark.parametrize(
    ("given_value", "kind", "says"),
    [
        ("60", "pressure", "'60 psi'"),
        (60, "pressure", "'60 psi'"),
        (60.0, "flow", "'75 US gpd'"),
        ("5 gal", "volume", "'US gal' or 'imperial gal'"),
        ("5 gallons", "volume", "'US gal' or 'imperial gal'"),
        ("5 gal/day", "flow", "'US gal' or 'imperial gal'"),
        ("3 gpm", "flow", "'US gpm'"),
        ("300 ppm", "hardness", "'mg/L as CaCO3'"),
        ("300 mg/L", "hardness", "'mg/L as CaCO3'"),
        ("120 ppm", "alkalinity", "'ppm as CaCO3'"),
        ("2 mmol/L", "alkalinity", "'meq/L'"),
        ("5 delta_degF", "temperature", "difference is not a temperature"),
        ("5 delta_degC", "temperature", "difference is not a temperature"),
        ("5 degC", "temperature_difference", "'delta_degC'"),
        ("60 mpa", "pressure", "'MPa'"),
        ("60 psia", "pressure", "gauge"),
        ("60,5 kPa", "pressure", "point for decimals"),
        ("1,234 kPa", "pressure", "point for decimals"),
        ("sixty psi", "pressure", "not a number"),
        ("", "pressure", "not a number"),
        ("nan psi", "pressure", "not a number"),
        (("nan", "psi"), "pressure", "not a number"),
        ((math.nan, "psi"), "pressure", "finite"),
        ((math.inf, "psi"), "pressure", "finite"),
        ("1e999 psi", "pressure", "finite"),
        ((True, "psi"), "pressure", "not a number"),
        ((None, "psi"), "pressure", "not a number"),
        (None, "pressure", "not a number"),
        ((10**400, "psi"), "pressure", "not a usable number"),
        ({"value": 60}, "pressure", "does not say its unit"),
        ({"unit": "psi"}, "pressure", "'value' and 'unit'"),
        ({"value": 60, "unit": "psi", "note": "x"}, "pressure", "'value' and 'unit'"),
        ({"value": 60, "unit": 5}, "pressure", "must be text"),
        ([60], "pressure", "a value and a unit"),
        ("5 furlong", "pressure", "not a unit"),
        ("5 kg", "pressure", "not a unit"),
        ("60 psi**99999", "pressure", "not a unit"),
        ("-5 gpd", "flow", "cannot be below 0"),
        ("200 psi", "line_pressure_kpa", "0 to 150 psi"),
        ("80 degC", "temperature_degc", "0 to 45 degC"),
        ("15 pH", "product_ph", "3 to 12"),
        ("96", "fraction", "'96 %'"),
        ("120 %", "rejection_fraction", "outside"),
        ("6 months", "duration", "'26 weeks'"),
    ],
)
def test_refused_by_name(given_value: object, kind: str, says: str) -> None:
    with pytest.raises(EngineeringError) as caught:
        units.parse_quantity(given_value, kind, field="some_field")
    assert caught.value.field == "some_field"
    assert says in caught.value.sentence


@pytest.mark.parametrize("factor", [0.39, 1.01, math.nan])
def test_a_meter_factor_that_no_meter_has_is_refused(factor: float) -> None:
    with pytest.raises(EngineeringError, match="tds_factor"):
        units.parse_quantity("200 ppm", "tds", field="feed_tds", tds_factor=factor)


def test_a_tds_is_brought_to_the_house_scale_and_a_conductivity_needs_no_factor() -> None:
    assert units.parse_quantity("140 ppm", "tds", field="x", tds_factor=0.7) == pytest.approx(100.0)
    assert units.parse_quantity("200 uS/cm", "tds", field="x", tds_factor=0.7) == pytest.approx(100.0)
    assert units.parse_quantity("100 mg/L as NaCl", "tds", field="x", tds_factor=0.7) == pytest.approx(100.0)


@pytest.mark.parametrize("name", sorted(units.QUANTITY_KINDS))
@pytest.mark.parametrize("system", units.SYSTEMS)
def test_every_quantity_shows_in_both_systems_and_reads_its_own_answer_back(name: str, system: str) -> None:
    kind = units.QUANTITY_KINDS[name]
    low = kind.low if np.isfinite(kind.low) else 0.0
    high = kind.high if np.isfinite(kind.high) else 1.0e4
    for share in (0.0, 0.31, 1.0):
        value = low + share * (high - low)
        shown, unit = units.to_display(value, kind, system)
        back = units.convert_number(shown, unit, kind, field=name)
        assert back == pytest.approx(value, rel=1e-8, abs=1e-8)


SPELLINGS = [
    (name, spelling)
    for name, kind in units.KINDS.items()
    for spelling in kind.spellings
    if spelling and name != "alkalinity"
]


@settings(max_examples=150, deadline=None)
@given(
    digits=st.integers(min_value=1, max_value=999_999_999),
    places=st.integers(min_value=0, max_value=9),
    which=st.sampled_from(SPELLINGS),
)
def test_the_digits_sent_come_back(digits: int, places: int, which: tuple[str, str]) -> None:
    """Up to nine significant digits survive the way to the stored float and back in the same unit."""
    name, unit = which
    kind = units.KINDS[name].within(-math.inf, math.inf)
    sent = digits / 10.0**places
    if name == "temperature":
        # A temperature keeps its digits where temperatures are: an offset eats digits near absolute zero or far above.
        sent = round(sent % 300.0, 5)
    stored = units.convert_number(sent, unit, kind, field="x")
    assert units.to_unit(stored, unit, kind) == pytest.approx(
        sent, rel=1.01e-9, abs=1e-7 if name == "temperature" else 0
    )
    if name != "temperature":
        assert units.to_unit(stored, unit, kind) == float(f"{sent:.9g}")


@settings(max_examples=60, deadline=None)
@given(value=st.floats(min_value=-1e6, max_value=1e6), which=st.sampled_from(SPELLINGS))
def test_a_column_converts_as_its_numbers_do(value: float, which: tuple[str, str]) -> None:
    name, unit = which
    kind = units.KINDS[name].within(-math.inf, math.inf)
    column = units.convert_column(np.array([value, np.nan]), unit, kind, field="x")
    assert column[0] == units.convert_number(value, unit, kind, field="x")
    assert np.isnan(column[1])


@settings(max_examples=100, deadline=None)
@given(text=st.text(max_size=30), kind=st.sampled_from(sorted(units.KINDS)))
def test_no_text_does_anything_but_convert_or_refuse(text: str, kind: str) -> None:
    for given_value in (text, f"5 {text}", (5, text), {"value": text, "unit": text}):
        try:
            value = units.parse_quantity(given_value, kind, field="x")
        except EngineeringError:
            continue
        assert math.isfinite(value)


def test_the_registry_agrees_with_a_fresh_registry_of_the_library() -> None:
    """pint's own definitions, untouched by ours, as the second route."""
    fresh = pint.UnitRegistry()
    pairs = [("psi", "kPa", "pressure"), ("bar", "kPa", "pressure"), ("US gpd", "L/day", "flow")]
    for unit, target, kind in pairs:
        theirs = fresh.Quantity(1.0, unit.replace("US gpd", "gallon/day")).to(target.replace("L/", "liter/"))
        assert units.convert_number(1.0, unit, kind, field="x") == pytest.approx(theirs.magnitude, rel=1e-12)


def test_limits_hold_in_whatever_unit_they_are_reached() -> None:
    assert units.parse_quantity("150 psi", "line_pressure_kpa", field="x") == pytest.approx(1034.2136)
    assert units.parse_quantity("113 degF", "temperature_degc", field="x") == 45.0
    mask = units.outside_limits(np.array([0.0, 1034.3, -0.1, np.nan]), "line_pressure_kpa")
    assert mask.tolist() == [False, True, True, False]


def test_an_unusual_value_is_kept_and_flagged() -> None:
    assert units.plausibility(90 * 6.894757, "line_pressure_kpa").startswith("620.528 kPa is unusual here")
    assert units.plausibility(60 * 6.894757, "line_pressure_kpa") == ""
    assert units.plausibility(math.nan, "line_pressure_kpa") == ""


@pytest.mark.parametrize(
    ("header", "expected"),
    [
        ("inlet pressure [psi]", ("inlet_pressure", "psi")),
        ("  Feed TDS [ppm] ", ("feed_tds", "ppm")),
        ("feed pH", ("feed_ph", "")),
        ("flow [US gal/day]", ("flow", "US gal/day")),
        ("temp [°C]", ("temp", "°C")),
    ],
)
def test_headers(header: str, expected: tuple[str, str]) -> None:
    assert units.parse_header(header) == expected


@pytest.mark.parametrize("header", ["", "   ", "[psi]", "inlet [psi", "a [b] c"])
def test_headers_refused(header: str) -> None:
    with pytest.raises(EngineeringError, match="header"):
        units.parse_header(header)


def test_an_unknown_kind_or_system_is_refused_by_name() -> None:
    with pytest.raises(EngineeringError, match="kind"):
        units.parse_quantity("5 psi", "presure", field="x")
    with pytest.raises(EngineeringError, match="unit_system"):
        units.to_display(1.0, "pressure", "imperial")


def test_limits_are_told_in_plain_digits() -> None:
    # 50000 L/day / (3.785411784 L per US gallon, NIST SP 811) = 13208.6 US gpd
    from fleet.engineering.units.limits import outside_sentence
    from fleet.engineering.units.quantities import find_kind

    sentence = outside_sentence(-345.0, find_kind("permeate_flow_l_per_day"), "-345 L/day")
    assert "0 to 50000 L/day (0 to 13210 US gpd)" in sentence
