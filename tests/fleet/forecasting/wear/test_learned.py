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


def test_a_mean_that_is_known_yields_less_to_three_readings_than_a_guess():
    def mean(held_means):
        pool = Pool(held_means)
        values = pool.mean(
            "level", ONE, np.full(3, 5.0), np.zeros(2, dtype=np.int64), 2, default=1.0, noise=1.0, spread=1.0
        )
        return values, pool.means["level"]

    (read, unread), whole = mean({})
    assert unread < read < 5.0
    # the guess counts as a tenth of a supply of variance 4; three readings as 1/(4 + (1/3 + 1)):
    weight = 1.0 / (4.0 + 4.0 / 3.0)
    assert whole == pytest.approx((5.0 * weight + 1.0 * 0.025) / (weight + 0.025))
    (held, _), whole_held = mean({"level": 1.0})
    assert whole_held == pytest.approx((5.0 * weight + 1.0 * 12.5) / (weight + 12.5))
    assert held < read


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
    _, held = swing(held_terms)
    assert abs(held[0]) < 0.7 * common[0]
    _, partly = swing({"t_constant": 0.0})
    assert partly == pytest.approx(common)
