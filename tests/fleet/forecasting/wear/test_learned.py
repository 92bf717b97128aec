"""What a fleet taught is stored and read back, and holds a part of the fleet to it."""

import json

import numpy as np
import pytest

from fleet.forecasting import Learned, forecast
from fleet.forecasting.wear.learned import FORM, Pool
from tests.fleet.forecasting.wear.recorded import recorded_fleet

ONE = np.zeros(3, dtype=np.int64)


def test_what_was_stored_as_json_says_the_same():
    taught = forecast(recorded_fleet("recorded badly")).learned
    stored = json.loads(json.dumps(taught.to_dict()))
    again = Learned.from_dict(stored)
    assert again.to_dict() == stored
    assert set(again.hypers) == {"sediment", "carbon", "resin", "membrane_flow", "membrane_salt"}
    assert again.means == pytest.approx(dict(taught.means))


@pytest.mark.parametrize(
    "stored", [{}, {"hypers": {}}, {"hypers": {"resin": 3.0}, "means": {}}, {"hypers": [], "means": {}}]
)
def test_anything_else_is_refused_in_words(stored):
    with pytest.raises(ValueError, match="this is not what a fleet has taught"):
        Learned.from_dict({"form": FORM, **stored})


def test_a_number_that_is_known_is_kept():
    pool = Pool({"bias": 0.2})
    assert (pool.number("bias", 0.9), pool.number("other", 0.7)) == (0.2, 0.7)
    assert pool.means == {"bias": 0.2, "other": 0.7}


def test_a_mean_that_is_known_does_not_yield_to_the_readings_at_hand():
    def mean(held_means, parents=("a", "a")):
        pool = Pool(held_means)
        parent = np.array(parents, dtype=object)
        values = pool.mean("level", ONE, np.full(3, 5.0), parent, default=1.0, noise=1.0, spread=1.0)
        return values, pool.means

    (read, unread), found = mean({})
    assert unread < read < 5.0
    # the guess counts as a tenth of a supply of variance 4; three readings as 1/(4 + (1/3 + 1)):
    weight = 1.0 / (4.0 + 4.0 / 3.0)
    assert found["level"] == pytest.approx((5.0 * weight + 1.0 * 0.025) / (weight + 0.025))
    assert found["level of 'a'"] == pytest.approx(unread)
    again, held = mean(found)
    assert again == pytest.approx([read, unread])
    assert held == pytest.approx(found)
    # The supply that was taught is held to, and of another one the whole is all that is known.
    (elsewhere, beside), _ = mean({"level": 1.0, "level of 'a'": 2.0}, ("b", "a"))
    assert (elsewhere, beside) == pytest.approx(((3.0 * 5.0 + 1.0) / 4.0, 2.0))


def test_a_swing_that_is_known_is_held_to():
    day = np.arange(0.0, 365.0, 5.0)
    value = 10.0 + 4.0 * np.cos(2 * np.pi * day / 365.25)

    def swing(held_means):
        pool = Pool(held_means)
        terms = pool.swing("t", np.zeros(len(day), dtype=np.int64), day, value, 1, np.zeros(3), np.full(3, 2.0), 1.0)
        return terms[0], [pool.means[f"t_{term}"] for term in ("constant", "cosine", "sine")]

    own, common = swing({})
    assert own == pytest.approx([10.0, 4.0, 0.0], abs=0.15)
    assert common == pytest.approx([10.0, 4.0, 0.0], abs=0.3)
    held_terms = {"t_constant": 0.0, "t_cosine": 0.0, "t_sine": 0.0}
    followed, held = swing(held_terms)
    assert held == [0.0, 0.0, 0.0]
    assert followed == pytest.approx(own, abs=0.2)
    _, partly = swing({"t_constant": 0.0})
    assert partly == pytest.approx(common)


@pytest.mark.parametrize("name", ["recorded well", "recorded badly"])
def test_a_unit_alone_is_forecast_as_among_all_of_its_fleet(name):
    """To a tenth of an hour: what a unit's cartridges are said to last must not hang on whichever others had news."""
    fleet = recorded_fleet(name)
    whole = forecast(fleet)
    taught = Learned.from_dict(json.loads(json.dumps(whole.learned.to_dict())))
    for unit in range(len(fleet.units)):
        alone = forecast(fleet.only_units([unit]), learned=taught)
        among = whole.grid_day[fleet.positions.unit_index == unit]
        np.testing.assert_allclose(alone.grid_day - fleet.as_of_day, among - fleet.as_of_day, rtol=2e-4, atol=0.005)
