"""Beds and filters by their published curves: how long until the limit, and what a reading is worth."""

from dataclasses import replace

import numpy as np
import pytest

from fleet.engineering.formulas import resin
from fleet.engineering.limits import HOUSE
from fleet.forecasting.wear.stage_models import CARBON, RESIN

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
