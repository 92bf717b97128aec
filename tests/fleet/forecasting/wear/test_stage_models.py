"""Beds and filters by their published curves: how long until the limit, and what a reading is worth."""

from dataclasses import replace

import numpy as np
import pytest
from scipy.stats import t

from fleet.engineering.formulas import resin
from fleet.engineering.limits import HOUSE
from fleet.forecasting.wear.stage_models import CARBON, RESIN, SEDIMENT, StageReadings, student

FULL = np.ones((1, 3, 1))


def bed(transfer_units):
    return replace(RESIN, transfer_units=np.array(transfer_units, dtype=float))


# Engineering reference 9.5: throughput of a single bed to 1 %, and of the first lead to 95 %, in capacities.
def test_a_lead_is_run_to_95_percent_and_a_single_bed_to_its_own_limit():
    resin = bed([8, 10, 20])
    single = resin.until_exhausted(FULL, np.array([0.01]))[0, :, 0]
    assert single == pytest.approx([0.426, 0.540, 0.770], abs=0.001)
    lead = resin.until_exhausted(FULL, np.array([HOUSE.lead_resin_fraction]))[0, :, 0]
    assert lead == pytest.approx([1.368, 1.294, 1.147], abs=0.001)


def test_a_lead_carbon_is_run_until_half_of_its_feed_passes():
    # Half of its feed passes a lead carbon whose capacity has just gone through: exp(-N R) = 1/2 at R = ln 2 / N,
    # and a bed of N = 10 that was full gets there after 1 + ln(1 - exp(-10))/10 - 0, so after 1.0000 capacities.
    carbon = replace(CARBON, transfer_units=np.array([10.0]))
    assert carbon.until_exhausted(np.ones((1, 1, 1)), np.array([HOUSE.lead_carbon_fraction]))[0, 0, 0] == pytest.approx(
        1.0, abs=1e-4
    )


@pytest.mark.parametrize("model", [RESIN, CARBON], ids=["resin", "carbon"])
def test_curves_of_a_fleet_stay_in_single_precision(model):
    left = np.linspace(0.1, 2.0, 12, dtype=np.float32).reshape(1, 1, 12)
    assert model.until_exhausted(left, np.array([0.2])).dtype == np.float32
    assert model.remaining_after(left, np.full_like(left, 0.4)).dtype == np.float32


@pytest.mark.parametrize("share", [0.02, 0.5, 0.95])
def test_the_curve_of_a_fleet_is_the_published_one(share):
    """Until breakthrough, and the water that leaves on the way there, by the closed form that is held to its source."""
    full = np.array([0.6, 1.0, 2.0])
    until = RESIN.until_exhausted(full[None, None], np.array([share]))[0]
    units = np.broadcast_to(RESIN.transfer_units[:, None], until.shape)
    passed = np.maximum(until, 0.0)
    np.testing.assert_allclose(resin.outlet_fraction(units, passed, full)[until > 0], share, rtol=1e-9)
    np.testing.assert_allclose(
        np.exp(-units * RESIN.remaining_after(full[None, None], passed[None])[0])[until > 0], share, rtol=1e-9
    )
    assert (until > 0).sum() >= 9


@pytest.mark.parametrize("spread", [0.5, 3.0])
def test_a_residual_is_as_likely_as_by_students_t(spread):
    """With four degrees of freedom; a reading in a hundred is a slip and may lie anywhere in its range."""
    off = np.linspace(-4.0, 4.0, 9) * spread
    density = student(off, np.full(9, spread**2), np.full(9, 1e6))
    expected = t.logpdf(off, 4, scale=spread)
    assert density - density[4] == pytest.approx(expected - expected[4])
    assert density[4] == pytest.approx(-np.log(spread))
    assert student(np.array(1e9), np.array(1.0), np.array(20.0)) == pytest.approx(np.log(0.01 / 20.0))


def filters(power, other_share=0.0, factor=1.0):
    return replace(
        SEDIMENT, powers=np.array([power]), other_share=np.array([other_share]), limit_factor=np.array([factor])
    )


CLEAN, LIMIT = np.array([20.0]), np.array([80.0])


def differential(model, *used):
    return model.differential_kpa(np.array(used)[None, None, :], CLEAN, LIMIT)[0, 0]


@pytest.mark.parametrize(
    ("power", "middle"),
    # cake: the mean; intermediate: the geometric mean; standard and complete blocking: means of inverse powers
    [(1.0, 50.0), (0.0, 40.0), (-1.0, 32.0), (-0.5, 4.0 / (20.0**-0.5 + 80.0**-0.5) ** 2)],
)
def test_a_filter_clogs_from_clean_to_its_limit_by_its_law(power, middle):
    assert differential(filters(power), 0.0, 0.5, 1.0) == pytest.approx([20.0, middle, 80.0])
    assert differential(filters(power), -3.0)[0] == pytest.approx(20.0), "no cleaner than clean"


def test_a_filter_clogs_on_beyond_its_limit_and_is_not_followed_for_ever():
    """Cake: 60 kPa more with each capacity, to half a capacity beyond; others rise without end, to four limits."""
    assert differential(filters(1.0), 1.25, 1.5, 2.0, 9.0) == pytest.approx([95.0, 110.0, 110.0, 110.0])
    assert differential(filters(-1.0), 1.5)[0] == pytest.approx(320.0)


def test_what_other_parts_take_does_not_clog():
    """Of 20 kPa 12 are fittings and carbon; 8 rise to the limit, which is thought to be 0.7 of 80."""
    model = filters(1.0, other_share=0.6, factor=0.7)
    assert differential(model, 0.0, 0.5, 1.0) == pytest.approx([20.0, 12.0 + 32.0, 12.0 + 56.0])


def test_a_filter_whose_limit_lies_at_its_clean_differential_still_clogs():
    model = filters(1.0)
    shown = model.differential_kpa(np.array([[[0.0, 1.0]]]), np.array([20.0]), np.array([10.0]))[0, 0]
    assert shown == pytest.approx([20.0, 23.0])


def bed_readings(between, after, entering=20.0, resolution=1.0):
    return StageReadings(*(np.array([value]) for value in (between, after, entering, resolution)))


def test_what_readings_of_one_meter_share_is_its_zero():
    """A step of 1 mg/L, squared, over what each reading has alone: 0.4 of a step, 12 % of half of 20, and 0.25."""
    share, level = RESIN.shared_error(bed_readings(3.0, 0.0))
    assert share[0] == pytest.approx(1.0 / (0.4**2 + 1.2**2 + 0.25**2))
    assert [RESIN.shared_error(bed_readings(value, np.nan))[1][0] for value in (0.0, 1.9, 2.1, 4.1)] == [0, 0, 1, 2]
    assert level[0] == 1.0
    assert RESIN.shared_error(bed_readings(np.nan, 7.0, resolution=0.5))[1][0] == 7.0
    nothing, _ = SEDIMENT.shared_error(bed_readings(3.0, 0.0))
    assert nothing[0] == 0.0


def test_how_probably_a_reading_was_taken_past_the_limit():
    """Allowed are 2 of 20 mg/L, and the meter shows that to root(0.4^2 + 0.24^2 + 0.25^2) = 0.529."""
    limit = np.array([0.1])

    def past(value):
        return RESIN.probability_past(bed_readings(np.nan, value), limit)[0]

    assert [past(value) for value in (2.0, 2.529, 1.471)] == pytest.approx([0.5, 0.8413, 0.1587], abs=2e-3)
    assert np.isnan(past(np.nan))
    # of a filter: 90 kPa read to 10 where 80 are the limit
    shown = StageReadings(np.array([90.0]), np.array([10.0]), np.array([20.0]), np.array([80.0]))
    assert SEDIMENT.probability_past(shown, limit)[0] == pytest.approx(0.8413, abs=1e-4)


def test_outlets_are_likeliest_where_the_curve_passes_them_and_as_wide_as_the_meter():
    """A bed of N = 10 with R capacities left lets exp(-N R) through. Its likelihood is Student's t about that, with a
    spread of 12 % of what is expected, beside 0.4 of a step, a step of the zero and 0.25."""
    model = bed([10.0])
    left = np.array([0.05, 0.1, 0.3])
    state = model.state(left[None, None, :])
    expected = 20.0 * np.exp(-10.0 * left)
    square = (0.12 * expected) ** 2 + 0.4**2 + 1.0 + 0.25**2
    for read in (7.0, 12.0, 0.0):
        shown = model.log_likelihood(state, state, np.zeros((1, 1, 3)), bed_readings(read, np.nan))[0, 0]
        by_hand = t.logpdf((read - expected) / np.sqrt(square), 4) - t.logpdf(0.0, 4) - 0.5 * np.log(square)
        assert shown == pytest.approx(np.maximum(by_hand, np.log(0.01 / 20.0)))
        # the same of the last outlet, and both together
        last = model.log_likelihood(state, state, np.zeros((1, 1, 3)), bed_readings(np.nan, read))[0, 0]
        both = model.log_likelihood(state, state, np.zeros((1, 1, 3)), bed_readings(read, read))[0, 0]
        assert (last, both) == (pytest.approx(shown), pytest.approx(2.0 * shown))
    # what passes wears it: after a throughput the water stands where the bed that is left lets it
    throughput = np.full((1, 1, 3), 0.4)
    later = model.state(model.remaining_after(left[None, None, :], throughput))
    assert model.log_likelihood(state, state, throughput, bed_readings(7.0, np.nan)) == pytest.approx(
        model.log_likelihood(later, later, np.zeros((1, 1, 3)), bed_readings(7.0, np.nan)), abs=1e-6
    )


def test_differentials_are_likeliest_where_the_law_puts_them():
    """40 kPa read to 6, and the law known to 15 %."""
    model = filters(1.0)
    used = np.array([0.0, 1.0 / 3.0, 1.0])[None, None, :]
    shown = StageReadings(np.array([40.0]), np.array([6.0]), CLEAN, LIMIT)
    expected = np.array([20.0, 40.0, 80.0])
    square = 36.0 + (0.15 * expected) ** 2
    by_hand = t.logpdf((40.0 - expected) / np.sqrt(square), 4) - t.logpdf(0.0, 4) - 0.5 * np.log(square)
    likelihood = model.log_likelihood(used, used, np.zeros((1, 1, 3)), shown)[0, 0]
    assert likelihood == pytest.approx(np.maximum(by_hand, np.log(0.01 / 160.0)))
    assert model.log_likelihood(0.0 * used, used, used, shown)[0, 0] == pytest.approx(likelihood)


def test_what_is_left_of_a_filter_is_what_was_there_less_what_passed():
    left = SEDIMENT.remaining_after(np.array([1.0, 0.4, 0.1]), np.array([0.25, 0.4, 0.3]))
    assert left == pytest.approx([0.75, 0.0, -0.2])
    assert SEDIMENT.until_exhausted(left, np.array([7.0, 8.0, 9.0])).tolist() == left.tolist()
    assert SEDIMENT.state(left) == pytest.approx([0.25, 1.0, 1.2])
