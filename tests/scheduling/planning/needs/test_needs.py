from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.integrate import quad

from scheduling.planning.errors import PlanningError
from scheduling.planning.needs.need import (
    DISTRIBUTION_LEVELS,
    QUANTILE_LEVELS,
    Need,
    NeedKind,
    cost_curves,
    exhausted_probability,
    expected_days_exhausted,
    expected_share_left,
    median_days,
    quantile_knots,
    quantile_table,
)

rising = st.lists(st.floats(-50.0, 400.0), min_size=7, max_size=7).map(sorted)


def draw(quantiles: np.ndarray, n: int = 200_001) -> np.ndarray:
    """The distribution behind the quantiles, by inverting its quantile function on a fine grid of probabilities."""
    levels = np.array(QUANTILE_LEVELS)
    p = (np.arange(n) + 0.5) / n
    first = quantiles[0] - (quantiles[1] - quantiles[0]) / (levels[1] - levels[0]) * levels[0]
    first = max(first, 0.0) if quantiles[0] >= 0.0 else first
    last = quantiles[-1] + (quantiles[-1] - quantiles[-2]) / (levels[-1] - levels[-2]) * (1.0 - levels[-1])
    return np.interp(p, [0.0, *levels, 1.0], [first, *quantiles, last])


def test_the_quantiles_come_back() -> None:
    quantiles = [3.0, 7.0, 20.0, 41.0, 60.0, 95.0, 120.0]
    assert exhausted_probability([quantiles], quantiles)[0] == pytest.approx(QUANTILE_LEVELS)


def test_what_stands_was_not_exhausted_in_the_past() -> None:
    assert exhausted_probability([[10.0, 40.0, 80.0, 120.0, 150.0, 170.0, 180.0]], [0.0, 10.0])[0] == pytest.approx(
        [0.0, 0.05]
    )


@given(rising, st.floats(0.0, 300.0))
def test_days_exhausted_are_the_integral_of_the_probability(quantiles: list[float], day: float) -> None:
    knots = [q for q in quantiles if 0.0 < q < day]
    ours = expected_days_exhausted([quantiles], [day])[0, 0]
    numeric, error = quad(
        lambda s: float(exhausted_probability([quantiles], [s])[0, 0]), 0.0, day, points=knots or None, limit=200
    )
    assert ours == pytest.approx(numeric, abs=max(1e-6, 10 * error, 1e-4 * day))


@given(rising, st.floats(0.0, 1.0), st.floats(0.0, 90.0), st.floats(0.0, 40.0))
def test_curves_against_drawn_dates(quantiles: list[float], share: float, price: float, rate: float) -> None:
    days = np.array([0.0, 10.0, 45.0, 200.0])
    curves = cost_curves([quantiles], remaining_share=[share], price=[price], late_cost_per_day=[rate], days=days)
    drawn = draw(np.array(quantiles))
    late = [rate * np.mean(np.maximum(day - np.maximum(drawn, 0.0), 0.0)) for day in days]
    assert curves.late[0] == pytest.approx(late, abs=0.02 + 1e-3 * rate)
    ahead = np.mean(np.maximum(drawn, 0.0))
    if ahead > 1.0:
        wasted = [price * share * np.mean(np.maximum(drawn - day, 0.0)) / ahead for day in days]
        assert curves.waste[0] == pytest.approx(wasted, abs=0.02 + 0.005 * price)


@given(rising)
def test_the_total_has_one_valley(quantiles: list[float]) -> None:
    total = cost_curves(
        [quantiles], remaining_share=[0.7], price=[60.0], late_cost_per_day=[5.0], days=np.arange(0.0, 400.0)
    ).total[0]
    assert np.all(np.diff(total, 2) > -1e-8)  # convex


def test_an_exhausted_cartridge_wastes_nothing_and_is_late_at_once() -> None:
    curves = cost_curves(
        [[-9.0] * 7], remaining_share=[0.0], price=[30.0], late_cost_per_day=[4.0], days=[0.0, 1.0, 10.0]
    )
    assert curves.waste.tolist() == [[0.0, 0.0, 0.0]]
    assert curves.late.tolist() == [[0.0, 4.0, 40.0]]
    assert curves.probability.tolist() == [[1.0, 1.0, 1.0]]


def test_without_a_date_it_is_never_late_and_always_waste() -> None:
    curves = cost_curves(
        [[float("nan")] * 7], remaining_share=[float("nan")], price=[30.0], late_cost_per_day=[4.0], days=[0.0, 99.0]
    )
    assert curves.waste.tolist() == [[30.0, 30.0]]
    assert curves.late.tolist() == [[0.0, 0.0]]
    assert curves.probability.tolist() == [[0.0, 0.0]]


def test_a_lead_wastes_nothing_between_its_own_date_and_that_of_its_lag() -> None:
    curves = cost_curves(
        [[60.0] * 7],
        remaining_share=[0.5],
        price=[40.0],
        late_cost_per_day=[6.0],
        exhausted_quantile_days=[[20.0] * 7],
        exhausted_cost_per_day=[0.5],
        days=[0.0, 10.0, 20.0, 50.0, 60.0, 70.0],
    )
    assert curves.waste[0] == pytest.approx([20.0, 10.0, 0.0, 0.0, 0.0, 0.0])
    # half a unit of money a day while the lag holds, six from its date on
    assert curves.late[0] == pytest.approx([0.0, 0.0, 0.0, 15.0, 20.0, 80.0])
    assert curves.exhausted_probability[0].tolist() == [0.0, 0.0, 1.0, 1.0, 1.0, 1.0]
    assert curves.probability[0].tolist() == [0.0, 0.0, 0.0, 0.0, 1.0, 1.0]


def test_rows_do_not_touch_one_another() -> None:
    rng = np.random.default_rng(3)
    quantiles = np.sort(rng.uniform(-20, 300, (50, 7)), axis=1)
    share, price, rate = rng.uniform(0, 1, 50), rng.uniform(0, 90, 50), rng.uniform(0, 20, 50)
    days = np.arange(0.0, 190.0, 9.0)
    together = cost_curves(quantiles, remaining_share=share, price=price, late_cost_per_day=rate, days=days)
    for k in (0, 17, 49):
        alone = cost_curves(
            quantiles[[k]], remaining_share=share[[k]], price=price[[k]], late_cost_per_day=rate[[k]], days=days
        )
        assert np.array_equal(alone.total[0], together.total[k])


@pytest.mark.parametrize(
    ("changes", "field"),
    [
        ({"quantile_days": [[1.0, 2.0]]}, "quantile_days"),
        ({"remaining_share": [1.5]}, "remaining_share"),
        ({"remaining_share": [0.5, 0.5]}, "remaining_share"),
        ({"price": [-1.0]}, "price"),
        ({"late_cost_per_day": [float("nan")]}, "late_cost_per_day"),
        ({"days": [-1.0]}, "days"),
        ({"levels": (0.5, 0.1, 0.2, 0.3, 0.4, 0.6, 0.7)}, "levels"),
    ],
)
def test_a_wrong_array_is_named(changes: dict[str, object], field: str) -> None:
    arguments: dict[str, object] = {
        "quantile_days": [[1.0] * 7],
        "remaining_share": [0.5],
        "price": [1.0],
        "late_cost_per_day": [1.0],
        "days": [0.0],
    }
    arguments.update(changes)
    with pytest.raises(PlanningError) as caught:
        cost_curves(arguments.pop("quantile_days"), **arguments)  # type: ignore[arg-type]
    assert caught.value.field == field


def test_a_wrong_need_is_named() -> None:
    with pytest.raises(PlanningError, match=r"n1\.deadline_day.*day 3.*day 5"):
        Need("n1", "s", "u", NeedKind.INSPECT, not_before_day=5, deadline_day=3)
    with pytest.raises(PlanningError, match=r"n1\.quantile_days"):
        Need("n1", "s", "u", NeedKind.REPLACE, quantile_days=(1.0, 2.0))
    with pytest.raises(PlanningError, match=r"n1\.price"):
        Need("n1", "s", "u", NeedKind.REPLACE, price=-2.0)


def test_a_whole_distribution_and_its_short_row_cost_the_same_where_they_are_the_same() -> None:
    """Between quantiles lie straight lines; a whole distribution with the same lines costs the same."""
    short = (1.0, 2.0, 5.0, 10.0, 15.0, 18.0, 19.0)
    whole_table = quantile_table([short, (0.0,) * len(DISTRIBUTION_LEVELS)])[:1]
    assert whole_table.shape == (1, len(DISTRIBUTION_LEVELS))
    arguments = {"remaining_share": [0.5], "price": [30.0], "late_cost_per_day": [4.0], "days": np.arange(30.0)}
    ours, theirs = cost_curves(whole_table, **arguments), cost_curves([short], **arguments)
    assert ours.total == pytest.approx(theirs.total)
    assert ours.probability == pytest.approx(theirs.probability)
    assert median_days(tuple(whole_table[0])) == pytest.approx(median_days(short)) == 10.0


def test_a_thin_early_tail_does_not_bring_work_forward() -> None:
    """Below 5 % the line between the lowest levels goes on, whatever else the forecast keeps there."""
    assert DISTRIBUTION_LEVELS[0] == pytest.approx(0.05)
    days = 100.0 + 200.0 * np.array(DISTRIBUTION_LEVELS)
    assert exhausted_probability([days], [99.0])[0, 0] == pytest.approx(0.0, abs=1e-9)
    assert exhausted_probability([days], [200.0])[0, 0] == pytest.approx(0.5)


def test_a_need_of_which_nothing_more_is_said_costs_nothing_and_takes_nothing() -> None:
    need = Need("n1", "a", "unit", NeedKind.INSPECT)
    assert (need.minutes, need.price, need.late_cost_per_day, need.exhausted_cost_per_day) == (0.0, 0.0, 0.0, 0.0)
    assert (need.urgent, need.not_before_day, need.deadline_day, dict(need.parts)) == (False, None, None, {})
    assert np.isnan([need.remaining_share, need.fresh_life_days]).all()


@pytest.mark.parametrize("name", ["minutes", "price", "late_cost_per_day", "exhausted_cost_per_day"])
def test_no_amount_of_a_need_is_below_nothing(name: str) -> None:
    assert getattr(Need("n1", "a", "unit", NeedKind.REPLACE, **{name: 0.0}), name) == 0.0
    for wrong in (-0.001, float("nan"), float("inf")):
        with pytest.raises(PlanningError) as caught:
            Need("n1", "a", "unit", NeedKind.REPLACE, **{name: wrong})
        assert caught.value.field == f"n1.{name}"


def test_a_deadline_on_the_first_allowed_day_leaves_one_day() -> None:
    need = Need("n1", "a", "unit", NeedKind.COMMISSION, not_before_day=5, deadline_day=5)
    assert need.deadline_day == 5
    with pytest.raises(PlanningError):
        Need("n1", "a", "unit", NeedKind.COMMISSION, not_before_day=5, deadline_day=4)


@pytest.mark.parametrize("width", [len(QUANTILE_LEVELS), len(DISTRIBUTION_LEVELS)])
def test_a_row_of_quantiles_has_one_of_two_widths(width: int) -> None:
    for name in ("quantile_days", "exhausted_quantile_days"):
        assert len(getattr(Need("n1", "a", "unit", NeedKind.REPLACE, **{name: (1.0,) * width}), name)) == width
        for wrong in (width - 1, width + 1):
            with pytest.raises(PlanningError) as caught:
                Need("n1", "a", "unit", NeedKind.REPLACE, **{name: (1.0,) * wrong})
            assert caught.value.field == f"n1.{name}"


@pytest.mark.parametrize(
    ("changes", "field"),
    [
        ({"remaining_share": [1.001]}, "remaining_share"),
        ({"remaining_share": [-0.001]}, "remaining_share"),
        ({"price": [-0.001]}, "price"),
        ({"price": [float("inf")]}, "price"),
        ({"late_cost_per_day": [-0.001]}, "late_cost_per_day"),
        ({"exhausted_cost_per_day": [-0.001]}, "exhausted_cost_per_day"),
        ({"days": [-0.001]}, "days"),
        ({"days": [[1.0]]}, "days"),
        ({"days": [float("nan")]}, "days"),
        ({"price": [1.0, 2.0]}, "price"),
        ({"quantile_days": [[1.0] * 6]}, "quantile_days"),
        ({"levels": [0.5, 0.5, 0.6, 0.7, 0.8, 0.9, 0.95]}, "levels"),
        ({"levels": [0.0, 0.1, 0.25, 0.5, 0.75, 0.9, 0.95]}, "levels"),
        ({"levels": [0.05, 0.1, 0.25, 0.5, 0.75, 0.9, 1.0]}, "levels"),
    ],
)
def test_curves_of_what_cannot_be_are_refused(changes: dict, field: str) -> None:
    arguments = {
        "quantile_days": [[10.0] * 7], "remaining_share": [1.0], "price": [40.0], "late_cost_per_day": [3.0],
        "days": [0.0, 5.0], "exhausted_quantile_days": [[5.0] * 7], "exhausted_cost_per_day": [0.0],
    }  # fmt: skip
    curves = cost_curves(arguments.pop("quantile_days"), **arguments)
    assert curves.waste.shape == (1, 2)
    arguments = {"quantile_days": [[10.0] * 7], **arguments, **changes}
    with pytest.raises(PlanningError) as caught:
        cost_curves(arguments.pop("quantile_days"), **arguments)
    assert caught.value.field == field


def test_a_lead_exhausted_before_its_lag_by_hand() -> None:
    """Used up for certain on day 10, its lag exhausted on day 30; 0.5 a day between the two, 4 a day after."""
    curves = cost_curves(
        [[30.0] * 7], remaining_share=[0.5], price=[40.0], late_cost_per_day=[4.0], days=[0, 5, 10, 20, 30, 32],
        exhausted_quantile_days=[[10.0] * 7], exhausted_cost_per_day=[0.5],
    )  # fmt: skip
    # half of 40 is left today, and is gone by day 10
    assert curves.waste[0] == pytest.approx([20.0, 10.0, 0.0, 0.0, 0.0, 0.0])
    assert curves.late[0] == pytest.approx([0.0, 0.0, 0.0, 5.0, 10.0, 10.0 + 8.0])
    assert curves.exhausted_probability[0].tolist() == [0.0, 0.0, 1.0, 1.0, 1.0, 1.0]
    assert curves.probability[0].tolist() == [0.0, 0.0, 0.0, 0.0, 1.0, 1.0]
    assert curves.total[0] == pytest.approx(curves.waste[0] + curves.late[0])


def test_two_levels_make_a_distribution_and_one_does_not() -> None:
    assert exhausted_probability([[10.0, 20.0]], [10.0, 15.0, 20.0], levels=(0.25, 0.75))[0] == pytest.approx(
        [0.25, 0.5, 0.75]
    )
    for levels in ((0.5,), (), (0.0, 0.5), (0.5, 1.0), (0.5, 0.5)):
        with pytest.raises(PlanningError) as caught:
            exhausted_probability([[10.0] * len(levels)], [10.0], levels=levels)
        assert caught.value.field == "levels"


@pytest.mark.parametrize("name", ["minutes", "price", "late_cost_per_day", "exhausted_cost_per_day"])
def test_a_need_costs_nothing_or_more(name: str) -> None:
    assert getattr(Need("n", "a", "u", NeedKind.REPLACE, **{name: 0.0}), name) == 0.0  # type: ignore[arg-type]
    for wrong in (-0.01, float("inf"), float("nan")):
        with pytest.raises(PlanningError) as caught:
            Need("n", "a", "u", NeedKind.REPLACE, **{name: wrong})  # type: ignore[arg-type]
        assert caught.value.field == f"n.{name}"


def test_a_deadline_may_be_the_first_allowed_day() -> None:
    assert Need("n", "a", "u", NeedKind.INSPECT, not_before_day=3, deadline_day=3).deadline_day == 3
    with pytest.raises(PlanningError, match="day 2, before the first allowed day 3"):
        Need("n", "a", "u", NeedKind.INSPECT, not_before_day=3, deadline_day=2)


@pytest.mark.parametrize(("days", "share"), [(30.0, 1.0), (-5.0, 0.0)])
def test_of_a_cartridge_fitted_today_all_is_left_unless_it_is_exhausted_already(days: float, share: float) -> None:
    assert expected_share_left([[days] * 7], [0.0])[0] == pytest.approx(share)
    # evenly within 90 days: x / (x + 0) is 1 whatever x is
    evenly = [[90.0 * level for level in QUANTILE_LEVELS]]
    assert expected_share_left(evenly, [0.0])[0] == pytest.approx(1.0)
    for wrong in (-0.1, math.nan, math.inf):
        with pytest.raises(PlanningError) as caught:
            expected_share_left(evenly, [wrong])
        assert caught.value.field == "used_days"


@pytest.mark.parametrize(("days", "share"), [(0.5, 0.25), (1.0, 0.4), (1.5, 0.5), (0.0, 0.0)])
def test_a_date_that_is_certain_leaves_its_part_of_the_whole_life_to_the_hour(days: float, share: float) -> None:
    assert expected_share_left([[days] * 7], [1.5])[0] == pytest.approx(share)


@pytest.mark.parametrize(
    ("first", "second", "knot"),
    # the outer line goes on by as much again to probability 0, and into the past only from there
    [
        (5.0, 7.0, 3.0),
        (5.0, 15.0, 0.0),
        (0.0, 10.0, 0.0),
        (-10.0, 0.0, -20.0),
        (-10.0, 10.0, -30.0),
        (-4.0, -3.0, -5.0),
    ],
)
def test_the_line_before_the_first_quantile(first: float, second: float, knot: float) -> None:
    days, probabilities = quantile_knots((first, second, 20.0, 30.0, 40.0, 60.0, 70.0))
    assert (days[0], probabilities[0]) == (pytest.approx(knot), 0.0)
    # and behind the last one
    assert (days[-1], probabilities[-1]) == (pytest.approx(80.0), 1.0)
    assert days[1:-1] == pytest.approx([first, second, 20.0, 30.0, 40.0, 60.0, 70.0])
