"""What is ten times what it was is a slip of the pen once, and so when it is read again."""

import pytest

from accounts.models import Company
from fleet.models import Reading
from tests.fleet.services.findings.test_flow_as_read import causes_on, new_unit, read

AS_EVER = {"temperature_degc": 15.0, "concentrate_flow_l_per_day": 900.0}


@pytest.mark.parametrize(("again", "is_said"), [(48.0, True), (5.0, False), (500.0, False)])
def test_salt_that_rose_tenfold_is_believed_when_the_next_look_says_so_too(
    company: Company, again: float, is_said: bool
) -> None:
    """50 of 250 mg/L instead of 5."""
    unit = new_unit(company)
    for month in range(3):
        read(unit, 5 + 30 * month, 250.0, 5.0, **AS_EVER)
    for days, permeate in ((95, 50.0), (125, again)):
        read(unit, days, 250.0, permeate, **AS_EVER)
        doubt = {"field": "permeate_tds_mg_per_l", "code": "factor_of_ten", "sentence": "Ten times what it was."}
        if permeate > 5.0:
            newest = Reading.objects.order_by("-taken_at").first()
            assert newest is not None
            newest.flags = [doubt]
            newest.save(update_fields=["flags"])
        if days == 95:
            assert "membrane_rejection_low" not in causes_on(unit, days), "once it is a doubt"
    assert ("membrane_rejection_low" in causes_on(unit, 125)) is is_said


@pytest.mark.parametrize(("days", "is_said"), [((20, 70), True), ((20, 20.2), False), ((20, 130), False)])
def test_a_membrane_that_leaks_since_it_was_fitted_is_told_at_the_second_look_of_who_looks_seldom(
    company: Company, days: tuple[float, float], is_said: bool
) -> None:
    """35 of 250 mg/L is 3.5 times the 4 % of its label, at two visits of the first season."""
    unit = new_unit(company)
    for day in days:
        read(unit, day, 250.0, 36.0)  # type: ignore[arg-type]
    assert ("o_ring_leak" in causes_on(unit, int(days[1]) + 1)) is is_said


def test_what_chlorine_made_of_a_membrane_in_its_first_season_is_no_leak_since_it_was_fitted(company: Company) -> None:
    """It passed what its label says at the first look, and four times that at the second."""
    unit = new_unit(company)
    for day, permeate in ((20, 9.0), (110, 41.0)):
        read(unit, day, 250.0, permeate)
    assert "o_ring_leak" not in causes_on(unit, 111)
