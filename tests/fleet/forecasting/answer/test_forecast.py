"""What a forecast must do whatever the fleet: move at once, never be infinite, be honest about what it stands on."""

import numpy as np
import pytest

from fleet.forecasting import Learned, build_fleet, forecast
from fleet.forecasting.inputs import vocabulary as words
from fleet.forecasting.wear.learned import FORM
from tests.fleet.forecasting.fleets import NOW, columns, readings, row_of

MEDIAN = 3


def run(fleet_columns):
    fleet, faults = build_fleet(**fleet_columns)
    assert faults == []
    return fleet, forecast(fleet)


def median(fleet, answer, stage, role="single"):
    return answer.quantile_day[row_of(fleet, stage, role), MEDIAN]


def test_without_any_reading_the_forecast_says_so_and_is_wide():
    fleet, answer = run(columns())
    assert (answer.readings_used == 0).all()
    assert np.isnan(answer.newest_reading_age_days).all()
    assert (answer.priors == words.PRIORS.index("nominal")).all()
    quantiles = answer.quantile_day
    assert np.isfinite(quantiles).all()
    assert (np.diff(quantiles, axis=1) >= 0).all()
    assert (quantiles >= NOW).all()
    resin = quantiles[row_of(fleet, "resin")]
    assert (resin[5] - NOW) > 2.0 * (resin[1] - NOW)


def test_a_reading_that_proves_exhaustion_moves_the_forecast_at_once():
    fleet_columns = columns(placed=NOW - 30.0)
    before = median(*run(fleet_columns), "resin")
    # Product as high as the permeate: nothing is held back any more.
    fleet_columns["readings"] = readings([NOW - 1.0, NOW - 0.5], product_tds_mg_per_l=9.0, permeate_tds_mg_per_l=9.0)
    fleet, answer = run(fleet_columns)
    row = row_of(fleet, "resin")
    assert before > NOW + 30.0
    assert answer.state[row] == words.EXHAUSTED_NOW
    assert answer.quantile_day[row, MEDIAN] == NOW
    assert answer.readings_used[row] == 2


def test_product_at_zero_long_after_the_expected_date_moves_the_forecast_later():
    fleet_columns = columns(placed=NOW - 900.0)
    early = median(*run(fleet_columns), "resin")
    fleet_columns["readings"] = readings(
        NOW - np.array([200.0, 90.0, 2.0]), product_tds_mg_per_l=0.0, permeate_tds_mg_per_l=9.0
    )
    late = median(*run(fleet_columns), "resin")
    assert late > early + 30.0


def test_lead_outlet_at_a_third_of_permeate_places_the_lead_on_its_curve():
    fleet_columns = columns(kind="pair", placed=NOW - 200.0)
    fleet_columns["readings"] = readings(
        NOW - np.array([8.0, 4.0, 1.0]),
        interstage_tds_mg_per_l=3.0,
        product_tds_mg_per_l=0.0,
        permeate_tds_mg_per_l=9.0,
    )
    fleet, answer = run(fleet_columns)
    lead, lag = answer.quantile_day[row_of(fleet, "resin", "lead")], answer.quantile_day[row_of(fleet, "resin", "lag")]
    assert NOW < lead[MEDIAN] < NOW + 120.0
    assert lag[MEDIAN] > lead[MEDIAN]
    assert lead[5] - lead[1] < lag[5] - lag[1]


def test_a_differential_pressure_near_its_limit_brings_the_sediment_filter_forward():
    fleet_columns = columns(placed=NOW - 150.0)
    line = {"line_pressure_kpa": 410.0, "temperature_degc": 25.0}
    fleet_columns["readings"] = readings(
        NOW - np.array([149.0, 60.0, 2.0]), prefilter_outlet_pressure_kpa=[400.0, 398.0, 399.0], **line
    )
    clean = median(*run(fleet_columns), "sediment")
    fleet_columns["readings"] = readings(
        NOW - np.array([149.0, 60.0, 2.0]), prefilter_outlet_pressure_kpa=[400.0, 390.0, 358.0], **line
    )
    clogging = median(*run(fleet_columns), "sediment")
    assert clogging < clean - 60.0


def test_falling_normalised_flow_brings_the_membrane_forward_but_cold_water_does_not():
    days = NOW - np.linspace(700.0, 5.0, 24)
    steady = {"inlet_pressure_kpa": 414.0, "feed_tds_mg_per_l": 250.0, "permeate_tds_mg_per_l": 10.0}

    def date(flow, temperature):
        fleet_columns = columns(placed=NOW - 730.0)
        fleet_columns["readings"] = readings(days, permeate_flow_l_per_day=flow, temperature_degc=temperature, **steady)
        return median(*run(fleet_columns), "membrane")

    level = date([250.0] * 24, 25.0)
    falling = date(list(250.0 * np.exp(-0.14 * (days - days[0]) / 695.0)), 25.0)
    assert falling < NOW + 400.0 < level
    # The same water at 25 degC down to 10 degC: flow 41 % lower by temperature alone (engineering reference 4.2:
    # 0.585).
    chilled = np.linspace(25.0, 10.0, 24)
    cold = date(list(250.0 * np.exp(3020.0 * (1 / 298.15 - 1 / (chilled + 273.15)))), list(chilled))
    assert cold > falling + 200.0


def test_carbon_leaves_at_its_age_and_that_day_is_part_of_the_distribution():
    fleet, answer = run(columns(placed=NOW - 340.0))
    carbon = row_of(fleet, "carbon")
    assert answer.grid_day[carbon].max() == pytest.approx(NOW + 25.0)
    assert answer.driver[carbon] == words.MAXIMUM_SERVICE_TIME
    assert answer.probability_exhausted_by(NOW + 25.0)[carbon] == 1.0


def test_a_rotated_cartridge_brings_its_age_and_what_it_took_up():
    fleet_columns = columns(kind="pair", placed=NOW - 300.0)
    table = fleet_columns["placements"]
    names = table["position_id"]
    for stage in ("carbon", "resin"):
        lead, lag = names.index(f"u0/{stage}/lead"), names.index(f"u0/{stage}/lag")
        for row, reason in ((lead, "exhausted"), (lag, "rotated")):
            table["removed_day"][row], table["reason"][row] = NOW - 20.0, reason
        for position, source, first in ((f"u0/{stage}/lead", lag, NOW - 300.0), (f"u0/{stage}/lag", None, None)):
            table["placement_id"].append(len(table["placement_id"]))
            table["position_id"].append(position)
            table["item_id"].append(stage)
            table["placed_day"].append(NOW - 20.0)
            table["removed_day"].append(None)
            table["reason"].append(None)
            table["first_installed_day"].append(first)
            table["continued_from"].append(source)
    fleet, answer = run(fleet_columns)
    # 365 days from first installation, not from rotation.
    assert answer.grid_day[row_of(fleet, "carbon", "lead")].max() == pytest.approx(NOW + 65.0)
    assert answer.grid_day[row_of(fleet, "carbon", "lag")].max() == pytest.approx(NOW + 345.0)
    fresh, fresh_answer = run(columns(kind="pair", placed=NOW - 20.0))
    rotated = median(fleet, answer, "resin", "lead")
    assert rotated < median(fresh, fresh_answer, "resin", "lead") - 10.0


def test_early_removals_do_not_shorten_the_expected_life():
    def date(reason):
        fleet_columns = columns(units=12, placed=NOW - 10.0)
        table = fleet_columns["placements"]
        for unit in range(12):
            for life in range(4):
                table["placement_id"].append(len(table["placement_id"]))
                table["position_id"].append(f"u{unit}/sediment/single")
                table["item_id"].append("sediment")
                table["placed_day"].append(NOW - 10.0 - 60.0 * (life + 1))
                table["removed_day"].append(NOW - 10.0 - 60.0 * life)
                table["reason"].append(reason)
                table["first_installed_day"].append(None)
                table["continued_from"].append(None)
        fleet, answer = run(fleet_columns)
        return median(fleet, answer, "sediment") - NOW

    assert date("exhausted") < 75.0
    assert date("early") > 120.0


def test_no_consumption_gives_no_date_but_the_age_limit_stays():
    fleet, answer = run(columns(weekly_demand_l=0.0))
    resin, carbon = row_of(fleet, "resin"), row_of(fleet, "carbon")
    assert np.isnan(answer.grid_day[resin]).all()
    assert answer.state[resin] == words.NO_CONSUMPTION
    assert answer.no_date_reason[resin]
    assert answer.grid_day[carbon, 0] == pytest.approx(NOW + 245.0)
    assert answer.driver[carbon] == words.MAXIMUM_SERVICE_TIME


def test_an_empty_position_has_no_date():
    fleet_columns = columns()
    table = fleet_columns["placements"]
    row = table["position_id"].index("u0/resin/single")
    table["removed_day"][row], table["reason"][row] = NOW - 3.0, "exhausted"
    fleet, answer = run(fleet_columns)
    resin = row_of(fleet, "resin")
    assert answer.state[resin] == words.EMPTY
    assert np.isnan(answer.quantile_day[resin]).all()


def test_hidden_carbon_dioxide_shortens_resin_life():
    def date(ph):
        fleet_columns = columns(placed=NOW - 5.0)
        fleet_columns["feed_water"] = {
            "site_id": ["s-u0"], "day": [NOW - 4.0], "ph": [ph], "alkalinity_mg_per_l_as_caco3": [150.0],
        }  # fmt: skip
        fleet_columns["readings"] = readings(
            NOW - np.array([3.0, 1.0]), permeate_tds_mg_per_l=9.0, product_tds_mg_per_l=0.0
        )
        return median(*run(fleet_columns), "resin") - NOW

    # 150 mg/L alkalinity at 15 degC: about 100 mg/L CO2 at pH 6.5 and 3 at pH 8 (engineering reference 9.2, scaled).
    assert date(6.5) < 0.35 * date(8.0)


@pytest.mark.parametrize("slip", ["ten", "unflushed", "future"])
def test_one_bad_reading_hardly_moves_the_forecast_and_is_listed(slip):
    days = NOW - np.array([70.0, 60.0, 50.0, 40.0, 30.0, 20.0, 10.0])
    good = {"product_tds_mg_per_l": [0.0] * 7, "permeate_tds_mg_per_l": [9.0] * 7, "feed_tds_mg_per_l": [250.0] * 7}
    fleet_columns = columns(placed=NOW - 80.0)
    fleet_columns["readings"] = readings(days, minutes_since_start=[20.0] * 7, **good)
    _, clean = run(fleet_columns)
    bad = readings(days, minutes_since_start=[20.0] * 7, **{name: list(values) for name, values in good.items()})
    if slip == "ten":
        bad["permeate_tds_mg_per_l"][3] = 90.0
    elif slip == "unflushed":
        bad["product_tds_mg_per_l"][5], bad["minutes_since_start"][5] = 9.0, 1.0
    else:
        bad["day"][6], bad["product_tds_mg_per_l"][6] = NOW + 400.0, 9.0
    fleet_columns["readings"] = bad
    fleet, answer = run(fleet_columns)
    row = row_of(fleet, "resin")
    assert len(answer.exclusions) >= 1
    assert answer.readings_excluded[row] >= 1 or slip == "future"
    moved = answer.quantile_day[row, MEDIAN] - clean.quantile_day[row, MEDIAN]
    assert abs(moved) < 0.15 * (clean.quantile_day[row, MEDIAN] - NOW)


def test_unit_and_site_fail_no_later_than_their_first_position():
    _, answer = run(columns(units=3))
    medians = answer.quantile_day[:, MEDIAN].reshape(3, -1)
    assert (answer.units.quantile_day[:, MEDIAN] <= medians.min(axis=1) + 1e-6).all()
    assert (answer.units.first_position_index // medians.shape[1] == np.arange(3)).all()
    assert answer.sites.quantile_day == pytest.approx(answer.units.quantile_day)


def test_part_of_a_fleet_is_forecast_as_in_the_whole_with_what_it_taught():
    rng = np.random.default_rng(5)
    fleet_columns = columns(units=20, placed=NOW - 100.0)
    parts = [
        readings(NOW - rng.uniform(1, 99, 6), unit=f"u{unit}", feed_tds_mg_per_l=rng.normal(300, 10, 6),
                 permeate_tds_mg_per_l=rng.normal(12, 1, 6), product_tds_mg_per_l=0.0)
        for unit in range(20)
    ]  # fmt: skip
    fleet_columns["readings"] = {name: [v for part in parts for v in part[name]] for name in parts[0]}
    fleet, answer = run(fleet_columns)
    some = fleet.only_units([4, 11])
    learned = Learned.from_dict(answer.learned.to_dict())
    again = forecast(some, learned=learned)
    of_whole_fleet = answer.quantile_day[np.isin(fleet.positions.unit_index, [4, 11])]
    assert again.quantile_day - NOW == pytest.approx(of_whole_fleet - NOW, rel=0.05, abs=2.0)


def test_learned_refuses_what_it_did_not_write():
    with pytest.raises(ValueError, match="not what a fleet has taught"):
        Learned.from_dict({"form": FORM, "hypers": {"resin": {"mean": 1.0}}, "means": {}})
    with pytest.raises(ValueError, match="other models of wear"):
        Learned.from_dict({"hypers": {}, "means": {}})


def test_a_cartridge_counts_as_exhausted_on_the_day_itself_and_not_a_day_earlier():
    # carbon leaves after 365 days whatever it shows, and this one would last longer by its load
    for age, state in (
        (358.0, words.INSTALLED),
        (364.9, words.INSTALLED),
        (365.0, words.EXHAUSTED_NOW),
        (366.0, words.EXHAUSTED_NOW),
    ):
        fleet, answer = run(columns(placed=NOW - age, weekly_demand_l=10.0))
        row = row_of(fleet, "carbon")
        assert answer.grid_day[row].max() == pytest.approx(max(NOW, NOW + 365.0 - age))
        assert answer.state[row] == state, age
