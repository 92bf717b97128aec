"""What is known of a date: drawn, shifted, and known to lie beyond a day."""

import numpy as np
import pytest

from scheduling.planning.errors import PlanningError
from scheduling.planning.needs.need import DISTRIBUTION_LEVELS, QUANTILE_LEVELS, median_days
from scheduling.planning.outlook.lives import Dates, FreshLife

# even from day 0 to day 100
EVEN = Dates.of(tuple(100.0 * level for level in QUANTILE_LEVELS))


def test_a_draw_follows_the_stored_quantiles() -> None:
    assert [EVEN.at(p) for p in (0.0, 0.1, 0.5, 1.0)] == pytest.approx([0.0, 10.0, 50.0, 100.0])
    assert EVEN.later(7.0).at(0.5) == pytest.approx(57.0)


def test_who_is_known_to_last_on_day_sixty_lasts_evenly_from_sixty_to_a_hundred() -> None:
    quantiles = EVEN.quantiles_from(60.0, alive_on=60.0)
    assert quantiles == pytest.approx([40.0 * level for level in DISTRIBUTION_LEVELS])
    assert median_days(EVEN.quantiles_from(60.0)) == pytest.approx(-10.0)
    # beyond all that was thought possible it lasts no longer than it was seen to
    assert set(EVEN.quantiles_from(130.0, alive_on=120.0)) == {-10.0}


def test_a_fresh_life_keeps_its_three_quantiles() -> None:
    life = FreshLife(120.0, 180.0, 270.0)
    assert [life.dates.at(p) for p in (0.1, 0.5, 0.9)] == pytest.approx([120.0, 180.0, 270.0])
    around = FreshLife.around(200.0)
    assert (around.p10, around.p50, around.p90) == pytest.approx((130.0, 200.0, 280.0))
    draws = np.array([life.dates.at(p) for p in np.linspace(0, 1, 101)])
    assert np.all(np.diff(draws) >= 0.0)


@pytest.mark.parametrize("life", [(0.0, 1.0, 2.0), (2.0, 1.0, 3.0), (1.0, 3.0, 2.0)])
def test_a_life_that_cannot_be_is_refused(life: tuple[float, float, float]) -> None:
    with pytest.raises(PlanningError, match="rising"):
        FreshLife(*life)


def test_beyond_its_quantiles_a_fresh_life_goes_on_as_steeply_and_is_no_shorter_than_a_week() -> None:
    """From p50 to p90 it gains 90 days in four tenths, so 11.25 in the next half tenth, and the line goes on; from p10
    down it loses 7.5 in half a tenth."""
    life = FreshLife(120.0, 180.0, 270.0)
    assert [life.dates.at(p) for p in (0.05, 0.95)] == pytest.approx([112.5, 281.25])
    assert [life.dates.at(p) for p in (0.0, 1.0)] == pytest.approx([105.0, 292.5])
    assert [life.dates.at(p) for p in (0.25, 0.75)] == pytest.approx([142.5, 236.25])
    assert FreshLife(2.0, 4.0, 300.0).dates.at(0.3) == 7.0
    assert FreshLife(0.5, 0.75, 1.0).dates.at(0.9) == 7.0
    assert FreshLife.around(0.5).p50 == 0.5
    with pytest.raises(PlanningError, match="above 0"):
        FreshLife.around(0.0)


def test_what_was_alive_before_the_first_possible_day_says_nothing() -> None:
    assert EVEN.quantiles_from(0.0, alive_on=-20.0) == pytest.approx(EVEN.quantiles_from(0.0))
    # known to last on day 20, asked about on day 50
    assert median_days(EVEN.quantiles_from(50.0, alive_on=20.0)) == pytest.approx(10.0)
