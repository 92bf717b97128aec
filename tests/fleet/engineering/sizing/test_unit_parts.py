"""Which part of the catalogue fits one unit, by hand."""

from dataclasses import replace

import pytest

from fleet.engineering.formulas.expected_flow import MembraneRating
from fleet.engineering.sizing.offer import Item
from fleet.engineering.sizing.pumps import fitting_pump
from fleet.engineering.sizing.unit_parts import UnitCondition, fitting_part

KPA_PER_PSI = 6.894757293168361
LABEL = MembraneRating(284.0, 414.0, 25.0, 250.0, 0.15, 0.97)
# At the conditions of the label it gives about what the label says: 284 L/day, so that 4 to 1 sends 1136 L/day to
# drain, which is 1136000 / 1440 = 789 mL/min.
UNIT = UnitCondition(4.0, LABEL, inlet_pressure_kpa=414.0, temperature_degc=25.0, feed_tds_mg_per_l=250.0)


def restrictor(size: float, pressure_kpa: float | None = 414.0) -> Item:
    return Item(f"R{size:g}", "", "accessory", 4.6, purpose="flow_restrictor", rated_flow_l_per_day=size * 1.44,
                rated_pressure_kpa=pressure_kpa)  # fmt: skip


def pump(code: str, price: float, flow: float | None, pressure_kpa: float | None) -> Item:
    return Item(code, "", "accessory", price, purpose="booster_pump", rated_flow_l_per_day=flow,
                rated_pressure_kpa=pressure_kpa)  # fmt: skip


SIZES = [restrictor(size) for size in (300, 450, 600, 800, 1000, 1500)]


def chosen(purpose: str, unit: UnitCondition, stock: list[Item]) -> str | None:
    item = fitting_part(purpose, unit, stock).item
    return item.code if item is not None else None


@pytest.mark.parametrize(
    ("unit", "code"),
    [
        (UNIT, "R800"),
        # half the waste, half the restrictor: 394 mL/min
        (replace(UNIT, waste_ratio=2.0), "R450"),
        # two membranes side by side: 1578 mL/min
        (replace(UNIT, membranes=2), "R1500"),
        # at 10 degC a membrane gives about 0.6 of its flow at 25 degC (3 % a degree, from memory): about 470 mL/min
        (replace(UNIT, temperature_degc=10.0), "R450"),
        # at half the pressure it gives about half, 395, while an orifice passes 1 / sqrt(2) of its label: 395 / 0.71
        # asks for one of 560
        (replace(UNIT, inlet_pressure_kpa=207.0), "R600"),
    ],
)
def test_a_restrictor_follows_from_the_flow_of_the_membrane_and_the_ratio(unit: UnitCondition, code: str) -> None:
    assert chosen("flow_restrictor", unit, SIZES) == code


def test_where_no_restrictor_is_near_it_is_said_what_to_missing_part() -> None:
    """20 % on either side of 789 mL/min: 631 to 947."""
    choice = fitting_part("flow_restrictor", UNIT, [restrictor(600), restrictor(1000)], unit_system="us")
    assert choice.item is None
    assert (
        choice.missing_part == "No flow restrictor of the catalogue fits: look for one of about 790 mL/min at 60 psi."
    )


def test_without_readings_the_restrictor_is_as_the_one_before() -> None:
    unread = replace(UNIT, inlet_pressure_kpa=None, restrictor_flow_l_per_day=650.0, restrictor_pressure_kpa=414.0)
    assert chosen("flow_restrictor", unread, SIZES) == "R450"
    unknown = fitting_part("flow_restrictor", replace(unread, restrictor_flow_l_per_day=None), SIZES)
    assert (unknown.item, unknown.missing_part) == (None, "")


def test_a_pump_moves_the_feed_at_the_pressure_it_is_to_give() -> None:
    """At 80 psi, 552 kPa, the membrane gives about 284 x 552 / 414 = 379 L/day; with 4 to 1 the feed is 1893 L/day."""
    weak, low, strong = pump("A", 50.0, 1800.0, 600.0), pump("B", 60.0, 2500.0, 500.0), pump("C", 90.0, 2000.0, 600.0)
    assert chosen("booster_pump", UNIT, [weak, low, strong]) == "C"
    choice = fitting_part("booster_pump", UNIT, [weak, low], unit_system="metric")
    assert choice.item is None
    assert choice.missing_part.startswith("No booster pump of the catalogue fits: look for one that moves 19")
    assert choice.missing_part.endswith(" L/day or more at 5.5 bar.")


@pytest.mark.parametrize(
    ("feed", "pressure", "does"), [(2000.0, 600.0, True), (2000.1, 600.0, False), (1.0, 600.1, False)]
)
def test_a_pump_does_up_to_its_rating(feed: float, pressure: float, does: bool) -> None:
    assert (fitting_pump([pump("C", 90.0, 2000.0, 600.0)], feed, pressure) is not None) is does


def test_a_pump_that_states_nothing_is_the_last_choice() -> None:
    stock = [pump("A", 10.0, None, None), pump("C", 90.0, 2000.0, 600.0)]
    assert [chosen("booster_pump", UNIT, items) for items in (stock, stock[:1])] == ["C", "A"]


def test_other_fittings_need_no_more_than_their_purpose() -> None:
    stock = [Item("V", "", "accessory", 9.8, purpose="check_valve"), Item("W", "", "accessory", 3.4, purpose="tee")]
    assert chosen("check_valve", UNIT, stock) == "V"
    assert chosen("float_valve", UNIT, stock) is None


@pytest.mark.parametrize("field", ["rating", "temperature_degc", "feed_tds_mg_per_l"])
def test_what_is_not_known_of_a_unit_chooses_no_pump(field: str) -> None:
    assert chosen("booster_pump", replace(UNIT, **{field: None}), [pump("C", 90.0, 20000.0, 900.0)]) is None


def test_no_driving_pressure_chooses_nothing() -> None:
    assert chosen("flow_restrictor", replace(UNIT, inlet_pressure_kpa=5.0), SIZES) is None
