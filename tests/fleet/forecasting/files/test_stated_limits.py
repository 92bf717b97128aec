"""Limits that are stated for a fleet of files, and what is said of those that cannot be meant."""

import pytest

from fleet.engineering.limits import HOUSE
from fleet.forecasting.files.stated_limits import limits_from


def test_what_is_not_stated_is_the_houses() -> None:
    limits = limits_from(["membrane_flow_fraction=0.8", " carbon_maximum_service_time_days = 270 "])
    assert limits is not None
    assert (limits.membrane_flow_fraction, limits.carbon_maximum_service_time_days) == (0.8, 270.0)
    assert limits.lead_resin_fraction == HOUSE.lead_resin_fraction


def test_nothing_stated_leaves_the_limits_to_the_house() -> None:
    assert limits_from([]) is None


@pytest.mark.parametrize(
    ("stated", "told"),
    [
        (["membrane_flow=0.8"], "did you mean membrane_flow_fraction?"),
        (["x"], "write one of product_tds_mg_per_l, lead_resin_fraction"),
        (["membrane_flow_fraction"], "must be a number above 0 and no more than 1"),
        (["membrane_flow_fraction=80"], "must be a number above 0 and no more than 1"),
        (["chlorine_mg_per_l=nan"], "must be a number above 0"),
        (["chlorine_mg_per_l=0"], "must be a number above 0"),
        (["chlorine_mg_per_l=0.1", "chlorine_mg_per_l=0.2"], "stated twice"),
    ],
)
def test_what_cannot_be_meant_is_said(stated: list[str], told: str) -> None:
    with pytest.raises(ValueError, match=r"^'") as caught:
        limits_from(stated)
    assert told in str(caught.value)
