"""What the intake tells of rows that it keeps, in whichever language is spoken."""

import pytest

from accounts.language import speak
from fleet.intake import words
from fleet.intake.rows import Sent
from tests.pseudo_language import PSEUDO, english_in

VALUE, OTHER = Sent("12.5", "psi"), Sent("9", "psi")


def test_every_doubt_is_told_in_the_language_that_is_spoken() -> None:
    with speak(PSEUDO):
        texts = [
            words.unusual("feed_ph", "7"),
            words.read_before_settled(3.0, 5.0),
            words.static_with_flow(),
            words.flowing_without_flow(),
            words.outlet_above_line(VALUE, OTHER),
            words.inlet_above_line(VALUE),
            words.concentrate_below_feed(VALUE, OTHER),
            words.permeate_and_feed_exchanged(VALUE, OTHER),
            words.permeate_above_feed(VALUE, OTHER),
            *(words.digit_slip("feed_tds_mg_per_l", VALUE, factor) for factor in (10.0, 0.1, 100.0, 0.01)),
            words.unit_slip("inlet_pressure_kpa", VALUE, "kPa", "psi"),
            words.totaliser_backwards(VALUE, 800.0, "2026-02-20"),
            words.pure_water_compensation("product_tds_mg_per_l"),
            words.time_came_twice("2026-10-25 02:30", "Zone"),
            words.finding_units(),
            words.finding_sites(),
            words.converting_units(),
            words.looking_for_known(),
            words.comparing(),
            words.storing(),
            words.done(),
        ]
    assert not [text for text in texts if english_in(text, "psi", "kPa", "Zone")]


@pytest.mark.parametrize(
    ("minutes", "told"), [(1.0, "Taken 1 minute after"), (1.5, "Taken 1.5 minutes after"), (0.0, "Taken 0 minutes")]
)
def test_one_minute_and_many(minutes: float, told: str) -> None:
    assert words.read_before_settled(minutes, 5.0).startswith(told)


def test_a_name_keeps_its_capitals_at_the_head_of_a_sentence() -> None:
    assert (
        words.unusual("permeate_tds_mg_per_l", "90 mg/L is unusual here.") == "Permeate TDS: 90 mg/L is unusual here."
    )


def test_a_slip_of_unit_says_nothing_of_the_unit_that_was_meant() -> None:
    """7 psi where 48 psi is usual: nobody noted kPa, whatever the factor is."""
    told = words.unit_slip("inlet_pressure_kpa", Sent("7", "psi"), "psi", "kPa")
    assert told == (
        "The inlet pressure, 7 psi, differs from this unit's recent readings by the factor between psi and kPa; check "
        "the unit."
    )
