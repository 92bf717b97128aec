"""What goes through a unit, by hand: volumes, chlorine, salt and carbon dioxide, and when a load has passed."""

from dataclasses import replace

import numpy as np
import pytest

from fleet.engineering.formulas.temperature_correction import inverse_temperature_per_kelvin
from fleet.forecasting import build_fleet
from fleet.forecasting.inputs import vocabulary as words
from fleet.forecasting.inputs.screen import screen
from fleet.forecasting.wear.conditions import build_conditions
from tests.fleet.forecasting.fleets import NOW, columns, readings

DAYS = NOW - np.arange(200.0, -1.0, -10.0)


def conditions_of(fleet_columns):
    fleet, faults = build_fleet(**fleet_columns)
    assert faults == []
    return build_conditions(fleet, screen(fleet).readings)


def rate(conditions, stage, first=NOW - 150.0, last=NOW - 10.0):
    """Mean load a day of the only unit."""
    unit = np.array([0])
    start, end = (conditions.at(stage, unit, np.array([day]))[0] for day in (first, last))
    return (end - start) / (last - first)


def now(conditions, values):
    return values[0, conditions.timeline.step_of(np.array([NOW - 5.0]))[0]]


def test_told_demand_and_recovery_give_the_volumes():
    """70 L a week are 10 L a day of product; at a recovery of a quarter 40 L of feed."""
    conditions = conditions_of(columns(weekly_demand_l=70.0))
    assert now(conditions, conditions.product_l_per_day) == pytest.approx(10.0)
    # design recovery holds at 15 degC, and where nothing was read the year is taken to swing about that
    assert rate(conditions, words.SEDIMENT, NOW - 365.25, NOW) == pytest.approx(40.0, rel=0.02)
    assert rate(conditions, words.MEMBRANE) == pytest.approx(1.0, rel=0.01)
    assert not conditions.is_idle[0]
    assert not conditions.is_metered[0]


@pytest.mark.parametrize(
    ("stream", "product"), [("feed", 10.0), ("permeate", 40.0), ("product", 40.0), ("concentrate", 40.0 / 3.0)]
)
def test_a_counter_of_40_litres_a_day_counts_more_than_what_was_told(stream, product):
    fleet_columns = columns(placed=NOW - 250.0, weekly_demand_l=7.0, totaliser=stream)
    fleet_columns["readings"] = readings(DAYS, totaliser_l=list(40.0 * (DAYS - DAYS[0])), temperature_degc=15.0)
    conditions = conditions_of(fleet_columns)
    assert conditions.is_metered[0]
    assert rate(conditions, words.SEDIMENT) == pytest.approx(4.0 * product, rel=0.01)
    assert now(conditions, conditions.product_l_per_day) == pytest.approx(product, rel=0.02)


def test_between_two_counts_the_mean_rate_is_known_exactly():
    fleet_columns = columns(placed=NOW - 250.0, weekly_demand_l=700.0, totaliser="product")
    counts = np.where(DAYS < NOW - 100.0, 5.0 * (DAYS - DAYS[0]), 500.0 + 20.0 * (DAYS - NOW + 100.0))
    fleet_columns["readings"] = readings(DAYS, totaliser_l=list(counts), temperature_degc=15.0)
    conditions = conditions_of(fleet_columns)
    unit = np.array([0])
    passed = [conditions.at(words.RESIN, unit, np.array([NOW - day]))[0] for day in (190.0, 110.0, 90.0, 10.0)]
    early, late = (passed[1] - passed[0]) / 80.0, (passed[3] - passed[2]) / 80.0
    assert late / early == pytest.approx(4.0, rel=0.05)


@pytest.mark.parametrize("weekly", [70.0, 0.0])
def test_a_counter_that_stands_still_shows_that_nothing_is_drawn(weekly):
    fleet_columns = columns(placed=NOW - 250.0, weekly_demand_l=weekly, totaliser="product")
    fleet_columns["readings"] = readings(DAYS, totaliser_l=1234.0)
    conditions = conditions_of(fleet_columns)
    assert conditions.is_idle[0]
    assert conditions.day_when(words.RESIN, np.array([0]), np.array([[1e9]]))[0, 0] == np.inf


def test_a_counter_that_runs_says_so_where_no_demand_was_told():
    fleet_columns = columns(placed=NOW - 250.0, weekly_demand_l=0.0, totaliser="product")
    fleet_columns["readings"] = readings(DAYS, totaliser_l=list(6.0 * (DAYS - DAYS[0])))
    conditions = conditions_of(fleet_columns)
    assert not conditions.is_idle[0]
    assert now(conditions, conditions.product_l_per_day) == pytest.approx(6.0, rel=0.02)


def test_loads_of_carbon_and_resin_by_hand():
    """40 L of feed a day with 2 mg/L of chlorine bring 80 mg. 10 L of permeate with 11.6886 mg/L as NaCl bring
    10 x 11.6886/58.443 = 2 meq, and x mg/L of carbon dioxide 10 x/44.01 more."""
    fleet_columns = columns(placed=NOW - 250.0, weekly_demand_l=70.0)
    fleet_columns["readings"] = readings(
        DAYS, temperature_degc=15.0, feed_total_chlorine_mg_per_l=2.0, feed_tds_mg_per_l=250.0,
        permeate_tds_mg_per_l=11.6886, permeate_flow_l_per_day=200.0, concentrate_flow_l_per_day=600.0,
    )  # fmt: skip
    conditions = conditions_of(fleet_columns)
    assert now(conditions, conditions.temperature_degc) == pytest.approx(15.0, abs=0.6)
    assert now(conditions, conditions.feed_tds_mg_per_l) == pytest.approx(250.0, rel=0.01)
    assert now(conditions, conditions.recovery) == pytest.approx(0.25, abs=0.006)
    assert rate(conditions, words.CARBON) == pytest.approx(80.0, rel=0.06)
    gas = now(conditions, conditions.co2_mg_per_l)
    assert rate(conditions, words.RESIN) == pytest.approx(2.0 + 10.0 * gas / 44.01, rel=0.05)


def test_a_restrictor_and_a_label_stand_for_flows_that_nobody_read():
    """The label's 284 L/day give 0.65 x 284 = 184.6 in service; with 553.8 to the drain that is a quarter."""
    conditions = conditions_of(columns(recovery_fraction=None, restrictor_flow_l_per_day=553.8))
    year = conditions.recovery[0, : int(365.25 / 14)]
    assert year.mean() == pytest.approx(0.25, abs=0.005)


def test_warm_water_passes_more_permeate_and_hardly_more_concentrate():
    """2800 K: from 15 to 25 degC the permeate rises by exp(2800 x 0.000116397) = 1.385, so odds of 1:3 become 0.4618
    and a recovery of 0.25 becomes 0.316."""
    assert float(inverse_temperature_per_kelvin(15.0)) == pytest.approx(-1.16397e-4, rel=1e-4)
    fleet_columns = columns(placed=NOW - 250.0)
    fleet_columns["readings"] = readings(DAYS, temperature_degc=25.0)
    conditions = conditions_of(fleet_columns)
    assert now(conditions, conditions.temperature_degc) == pytest.approx(25.0, abs=0.8)
    warmth = conditions.temperature_degc[0]
    expected = 1.0 / (1.0 + 3.0 * np.exp(-2800.0 * (inverse_temperature_per_kelvin(warmth) + 1.16397e-4)))
    assert conditions.recovery[0] == pytest.approx(expected, rel=1e-3)


def test_a_report_of_the_water_counts_like_a_reading():
    fleet_columns = columns(weekly_demand_l=70.0)
    fleet_columns["feed_water"] = {
        "site_id": ["s-u0"] * 8,
        "day": list(NOW - np.arange(8.0)),
        "tds_mg_per_l": [500.0] * 8,
        "ph": [6.5] * 8,
        "alkalinity_mg_per_l_as_caco3": [200.0] * 8,
        "total_chlorine_mg_per_l": [3.0] * 8,
    }
    conditions = conditions_of(fleet_columns)
    assert now(conditions, conditions.feed_tds_mg_per_l) == pytest.approx(500.0, rel=0.12)
    assert now(conditions, conditions.chlorine_mg_per_l) == pytest.approx(3.0, rel=0.25)
    plain = conditions_of(columns(weekly_demand_l=70.0))
    # pH 6.5 and twice the alkalinity: pH 7.6 would have 12.6 times less carbon dioxide for each mg/L of alkalinity
    assert now(conditions, conditions.co2_mg_per_l) > 10.0 * now(plain, plain.co2_mg_per_l)


@pytest.mark.parametrize("source", ["feed_water", "readings"])
def test_chlorine_that_no_kit_shows_counts_as_the_least_that_one_shows(source):
    """0.02 mg/L, of readings and of reports alike: none at all would be a logarithm without an end."""

    def level(chlorine):
        fleet_columns, days = columns(weekly_demand_l=70.0), NOW - np.arange(8.0)
        if source == "readings":
            fleet_columns["readings"] = readings(days, feed_total_chlorine_mg_per_l=chlorine)
        else:
            report = {"tds_mg_per_l": 200.0, "ph": 7.5, "alkalinity_mg_per_l_as_caco3": 100.0}
            report["total_chlorine_mg_per_l"] = chlorine
            fleet_columns["feed_water"] = {
                "site_id": ["s-u0"] * 8, "day": list(days), **{name: [value] * 8 for name, value in report.items()}
            }  # fmt: skip
        conditions = conditions_of(fleet_columns)
        return now(conditions, conditions.chlorine_mg_per_l)

    assert level(0.0) == pytest.approx(level(0.02)) == pytest.approx(level(0.015))
    assert level(0.025) > 1.05 * level(0.02)


def test_loads_go_on_beyond_both_ends_and_come_back_as_days():
    conditions = conditions_of(columns(units=2, weekly_demand_l=70.0))
    line = conditions.timeline
    unit = np.array([0, 1])
    end = line.start + line.step_days * line.count
    far = np.array([end + 1000.0, end + 2000.0])
    load = conditions.at(words.SEDIMENT, unit, far)
    last_year = conditions.at(words.SEDIMENT, unit, np.full(2, end)) - conditions.at(
        words.SEDIMENT, unit, np.full(2, end - 26 * 14.0)
    )
    assert load[1] - load[0] == pytest.approx(last_year[0] / (26 * 14.0) * 1000.0, rel=1e-6)
    assert conditions.day_when(words.SEDIMENT, unit, load[:, None])[:, 0] == pytest.approx(far)
    assert (conditions.at(words.SEDIMENT, unit, np.full(2, line.start - 50.0)) == 0.0).all()
    assert conditions.day_when(words.SEDIMENT, unit, np.zeros((2, 1)))[:, 0] == pytest.approx(line.start)


def test_nothing_drawn_reaches_no_load_and_has_none():
    conditions = conditions_of(columns(weekly_demand_l=0.0))
    assert conditions.is_idle[0]
    answer = conditions.day_when(words.SEDIMENT, np.array([0]), np.array([[0.0, 1.0]]))[0]
    assert np.isfinite(answer[0])
    assert answer[1] == np.inf
    assert rate(conditions, words.MEMBRANE) == 0.0


def test_the_timeline_starts_before_the_first_cartridge_and_a_clock_error_does_not_stretch_it():
    old = conditions_of(columns(placed=NOW - 3000.0)).timeline
    assert old.start == pytest.approx(NOW - 3000.0 - 14.0)
    wrong = conditions_of(columns(placed=NOW - 19_000.0)).timeline
    assert wrong.start == pytest.approx(NOW - 15 * 365.25 - 14.0)
    young = conditions_of(columns(placed=NOW - 10.0)).timeline
    assert young.start == pytest.approx(NOW - 365.25 - 14.0)
    for line in (old, wrong, young):
        assert NOW + 2.5 * 365.25 <= line.edges[-1] < NOW + 2.5 * 365.25 + 14.0


def test_where_nothing_says_it_recovery_is_the_usual_one():
    """22 % as at 15 degC, about which the year is taken to swing."""
    conditions = conditions_of(columns(recovery_fraction=None))
    assert conditions.recovery[0, : int(365.25 / 14)].mean() == pytest.approx(0.22, abs=0.004)


@pytest.mark.parametrize(("restrictor", "odds"), [(1.0, np.exp(0.5)), (80_000.0, np.exp(-3.5)), (184.6, 1.0)])
def test_no_restrictor_makes_a_recovery_that_no_unit_has(restrictor, odds):
    """From 3 % to 62 %, whatever the restrictor is said to be."""
    conditions = conditions_of(columns(recovery_fraction=None, restrictor_flow_l_per_day=restrictor))
    assert conditions.recovery[0, : int(365.25 / 14)].mean() == pytest.approx(odds / (1.0 + odds), rel=0.03)


@pytest.mark.parametrize(("number", "is_heard"), [(20, False), (21, True)])
def test_a_unit_that_was_not_read_follows_the_fleet_from_21_recoveries_on(number, is_heard):
    fleet_columns = columns(units=2, placed=NOW - 250.0, recovery_fraction=None)
    fleet_columns["readings"] = readings(
        NOW - np.linspace(200.0, 1.0, number), temperature_degc=15.0, permeate_flow_l_per_day=200.0,
        concentrate_flow_l_per_day=200.0,
    )  # fmt: skip
    conditions = conditions_of(fleet_columns)
    # few of them are heard as those of one unit, and still pulled to what is usual
    assert (conditions.recovery[1].mean() > 0.498) == is_heard


def test_flows_of_the_fleet_tell_how_far_a_designed_recovery_is_to_be_trusted():
    """Eleven units, all designed for 25 %, at 15 degC. The flows of ten make their odds half of that. Of three
    they count for nothing: the prior is worth five units, so the middle of all is the design."""
    half = 0.5 * 0.25 / 0.75

    def unread(read):
        fleet_columns = columns(units=read + 1, placed=NOW - 250.0)
        parts = [
            readings(DAYS, unit=f"u{k}", temperature_degc=15.0, permeate_flow_l_per_day=half * 600.0,
                     concentrate_flow_l_per_day=600.0) for k in range(read)
        ]  # fmt: skip
        fleet_columns["readings"] = {name: [v for part in parts for v in part[name]] for name in parts[0]}
        conditions = conditions_of(fleet_columns)
        return np.exp(conditions.pool.means["recovery_odds_over_design"]), now(conditions, conditions.recovery[-1:])

    correction, recovery = unread(10)
    assert correction == pytest.approx(0.5, rel=0.1)
    assert recovery == pytest.approx(half / (1.0 + half), rel=0.1)
    correction, recovery = unread(3)
    assert correction == 1.0
    assert recovery == pytest.approx(0.25, rel=0.02)


def permeate_of(permeate, feed=250.0, **more):
    fleet_columns = columns(placed=NOW - 250.0, weekly_demand_l=70.0)
    fleet_columns["readings"] = readings(
        DAYS, temperature_degc=15.0, feed_tds_mg_per_l=feed, permeate_tds_mg_per_l=permeate, **more
    )
    return conditions_of(fleet_columns)


def test_a_permeate_below_what_meters_show_counts_as_half_a_step():
    """0.5 mg/L: none at all would be a logarithm without an end."""
    half = permeate_of(0.5)
    for permeate in (0.0, 0.3):
        assert permeate_of(permeate).permeate_tds_mg_per_l == pytest.approx(half.permeate_tds_mg_per_l)
    assert now(half, half.permeate_tds_mg_per_l) == pytest.approx(0.5, rel=0.25)
    more = permeate_of(0.7)
    assert now(more, more.permeate_tds_mg_per_l) > 1.2 * now(half, half.permeate_tds_mg_per_l)


def test_the_passage_of_a_reading_is_that_of_the_feed_read_with_it():
    """The feed doubles every other time, and the permeate with it: a passage of 4 % that never changes."""
    feed = np.where(np.arange(len(DAYS)) % 2, 400.0, 200.0)
    conditions = permeate_of(list(0.04 * feed), list(feed))
    steps = conditions.timeline.step_of(DAYS)
    passage = (conditions.permeate_tds_mg_per_l / conditions.feed_tds_mg_per_l)[0, steps]
    assert passage == pytest.approx(np.full(len(DAYS), 0.04), rel=0.06)
    assert np.ptp(passage) < 0.001


def test_what_is_cleaner_than_any_permeate_loads_resin_as_the_cleanest_does():
    """Of a permeate of 0.1 mg/L 0.3 count: 10 x 0.3/58.4428 meq a day, beside the carbon dioxide."""
    fleet_columns = columns(placed=NOW - 250.0, weekly_demand_l=70.0)
    fleet_columns["readings"] = readings(DAYS, temperature_degc=15.0, feed_tds_mg_per_l=2.5)
    conditions = conditions_of(fleet_columns)
    step = conditions.timeline.step_of(np.array([NOW - 5.0]))[0]
    assert conditions.permeate_tds_mg_per_l[0, step] < 0.28
    total = conditions.cumulative[words.RESIN][0]
    ions = (total[step + 1] - total[step]) / 14.0 - 10.0 * conditions.co2_mg_per_l[0, step] / 44.01
    assert ions == pytest.approx(10.0 * 0.3 / 58.4428, rel=0.01)


def test_a_water_without_alkalinity_counts_as_one_of_2():
    def gas(alkalinity):
        fleet_columns = columns(weekly_demand_l=70.0)
        report = {"tds_mg_per_l": 200.0, "ph": 7.0, "alkalinity_mg_per_l_as_caco3": alkalinity}
        fleet_columns["feed_water"] = {
            "site_id": ["s-u0"] * 30, "day": list(NOW - 5.0 * np.arange(30.0)),
            **{name: [value] * 30 for name, value in report.items()},
        }  # fmt: skip
        conditions = conditions_of(fleet_columns)
        return conditions.co2_mg_per_l[0].mean()

    assert gas(0.0) == pytest.approx(gas(2.0)) == pytest.approx(gas(1.0))
    assert gas(12.0) > 1.5 * gas(6.0) > 1.2 * gas(2.0)


def counted(days, litres, weekly_demand_l=70.0):
    """Conditions of a unit whose counter of product showed so many litres on so many days before now."""
    fleet_columns = columns(placed=NOW - 400.0, weekly_demand_l=weekly_demand_l, totaliser="product")
    fleet_columns["readings"] = readings(NOW - np.array(days, dtype=float), totaliser_l=list(litres))
    return conditions_of(fleet_columns)


@pytest.mark.parametrize(("days", "is_metered"), [(41.5, False), (42.5, True)])
def test_a_counter_counts_from_six_weeks_on(days, is_metered):
    conditions = counted([100.0 + days, 100.0 + days / 2, 100.0], [0.0, 5.0 * days, 10.0 * days])
    assert conditions.is_metered.tolist() == [is_metered]


@pytest.mark.parametrize(("days", "is_idle"), [(29.0, False), (31.0, True)])
def test_a_counter_must_stand_for_a_month_to_show_that_nothing_is_drawn(days, is_idle):
    assert counted([days, days / 2, 0.0], [500.0] * 3).is_idle.tolist() == [is_idle]


@pytest.mark.parametrize(("litres", "is_idle"), [(0.005, True), (0.05, False)])
def test_what_a_counter_moves_by_itself_is_no_use(litres, is_idle):
    # the last two steps of two months begin some days before them
    assert counted([200.0, 100.0, 0.0], [0.0, 0.0, litres * 100.0 / 70.0]).is_idle.tolist() == [is_idle]


@pytest.mark.parametrize(("litres_per_day", "is_idle"), [(0.4, True), (0.6, False)])
def test_a_unit_that_stands_is_idle_where_it_never_drew_a_twentieth_of_what_was_told(litres_per_day, is_idle):
    """Told are 10 L a day. In 300 counted days so much a day on the mean, all of it before the last hundred."""
    total = 300.0 * litres_per_day
    assert counted([300.0, 100.0, 50.0, 0.0], [0.0, total, total, total]).is_idle.tolist() == [is_idle]


@pytest.mark.parametrize("told", [0.0, 70.0])
def test_what_ran_and_stands_is_idle_only_where_no_demand_was_told(told):
    conditions = counted([300.0, 200.0, 100.0, 50.0, 0.0], [0.0, 800.0, 1600.0, 1600.0, 1600.0], told)
    assert conditions.is_idle.tolist() == [told == 0.0]
    running = counted([300.0, 200.0, 100.0, 50.0, 0.0], [0.0, 800.0, 1600.0, 2000.0, 2400.0], told)
    assert running.is_idle.tolist() == [False]


@pytest.mark.parametrize(("share", "moves"), [(0.015, False), (0.03, True)])
def test_a_counter_that_hardly_moves_says_nothing_of_what_clients_are_told(share, moves):
    """A second unit, told 10 L a day like the first, is taken to draw less only where the counters move: of one
    counter and five that are right by assumption the median is 0; of seven counters it is theirs."""
    units = 8
    fleet_columns = columns(units=units, placed=NOW - 400.0, weekly_demand_l=70.0, totaliser="product")
    days = np.array([300.0, 200.0, 100.0, 0.0])
    parts = [
        readings(NOW - days, unit=f"u{k}", totaliser_l=list(10.0 * share * (300.0 - days))) for k in range(units - 1)
    ]
    fleet_columns["readings"] = {name: [v for part in parts for v in part[name]] for name in parts[0]}
    conditions = conditions_of(fleet_columns)
    told = conditions.product_l_per_day[-1].mean()
    assert told == pytest.approx(10.0 * share if moves else 10.0, rel=0.05)
    alone = conditions_of({**fleet_columns, "readings": parts[0]})
    assert alone.product_l_per_day[-1].mean() == pytest.approx(10.0, rel=0.05)


@pytest.mark.parametrize(("apart", "days"), [(0.15, 0.0), (0.25, 100.25)])
def test_two_counts_of_one_visit_are_no_rate(apart, days):
    """A meter that is read twice within five hours moved by chance; what lies between counts of days is counted."""
    conditions = counted([100.0 + apart, 100.0], [0.0, 40.0])
    assert conditions.product_l_per_day[0].max() < (20.0 if not days else 1e9)
    step = conditions.timeline.step_of(np.array([NOW - 100.1]))[0]
    assert (conditions.product_l_per_day[0, step] > 10.5) == bool(days)


def test_the_timeline_passes_over_one_clock_error_in_five_hundred():
    """Of 1000 placements the third earliest decides: two that were fitted 'in 1990' do not make it longer."""
    fleet_columns = columns(units=250, placed=NOW - 500.0)
    placed = fleet_columns["placements"]["placed_day"]
    placed[10], placed[500] = NOW - 5000.0, NOW - 5200.0
    start = conditions_of(fleet_columns).timeline.start
    assert NOW - 550.0 < start <= NOW - 500.0 - 14.0
    placed[700] = placed[701] = NOW - 5100.0
    assert conditions_of(fleet_columns).timeline.start < NOW - 4500.0


def test_a_load_beyond_the_last_year_follows_its_mean():
    """Where the last year of the timeline draws nothing no load beyond it is ever reached."""
    conditions = conditions_of(columns(weekly_demand_l=70.0))
    total = conditions.cumulative[words.RESIN]
    full = total[:, -1:]
    total[0, -27:] = full[0]
    unit = np.array([0])
    assert conditions.day_when(words.RESIN, unit, full + 1.0)[0, 0] == np.inf
    assert np.isfinite(conditions.day_when(words.RESIN, unit, np.array([[0.0, full[0, 0]]]))).all()
    assert conditions.day_when(words.RESIN, unit, full - 1e-3)[0, 0] < NOW + 600.0


@pytest.mark.parametrize(("weekly", "is_idle"), [(0.0, True), (0.7, False), (7.0, False)])
def test_who_is_told_to_draw_a_little_draws_it(weekly, is_idle):
    conditions = conditions_of(columns(weekly_demand_l=weekly))
    assert conditions.is_idle.tolist() == [is_idle]
    assert now(conditions, conditions.product_l_per_day) == pytest.approx(weekly / 7.0)


@pytest.mark.parametrize(("litres", "is_idle"), [(0.009, True), (0.011, False)])
def test_a_hundredth_of_a_litre_in_two_months_is_no_use(litres, is_idle):
    """All of it in the last thirty days, before which the counter stood."""
    assert counted([200.0, 30.0, 0.0], [0.0, 0.0, litres]).is_idle.tolist() == [is_idle]


def test_a_running_load_is_a_straight_line_within_each_step_and_its_inverse_finds_the_day_again():
    """Against linear interpolation, for loads that differ from step to step and units that differ from each other."""
    conditions = conditions_of(columns(units=3, weekly_demand_l=70.0))
    line, random = conditions.timeline, np.random.default_rng(11)
    steps = random.uniform(1.0, 90.0, size=(3, line.count))
    running = np.concatenate([np.zeros((3, 1)), np.cumsum(steps, axis=1)], axis=1) + np.array([[0.0], [50.0], [7.0]])
    conditions = replace(conditions, cumulative=(running,) * 4)
    ends = [line.start, line.start + 3.0, line.edges[-1] - 3.0, line.edges[-1]]
    days = np.concatenate([ends, random.uniform(line.start, line.edges[-1], 200)])
    for unit in range(3):
        load = conditions.at(words.RESIN, np.full(len(days), unit), days)
        np.testing.assert_allclose(load, np.interp(days, line.edges, running[unit]), rtol=1e-12)
    units = np.arange(3)
    loads = np.stack([np.interp(days, line.edges, running[unit]) for unit in units])
    np.testing.assert_allclose(conditions.day_when(words.RESIN, units, loads), np.tile(days, (3, 1)), atol=1e-6)
    # what had passed before the timeline began had passed when it began
    assert conditions.day_when(words.RESIN, units, running[:, :1] - 5.0)[:, 0] == pytest.approx(line.start)
    before = np.full(3, line.start - 100.0)
    assert conditions.at(words.RESIN, units, before) == pytest.approx(running[:, 0])


@pytest.mark.parametrize(("read", "level"), [(0.3, 1.0), (1.4, 1.4), (39.5, 39.5), (44.0, 40.0)])
def test_water_is_no_colder_than_one_degree_and_no_warmer_than_forty(read, level):
    fleet_columns = columns(placed=NOW - 250.0)
    fleet_columns["readings"] = readings(NOW - np.arange(200.0, -1.0, -1.0), temperature_degc=read)
    conditions = conditions_of(fleet_columns)
    assert now(conditions, conditions.temperature_degc) == pytest.approx(level, abs=0.25)
    assert conditions.temperature_degc.min() >= 1.0
    assert conditions.temperature_degc.max() <= 40.0
    if level in {1.0, 40.0}:
        assert now(conditions, conditions.temperature_degc) == level


def test_one_reading_of_both_flows_says_more_of_a_unit_than_its_design():
    """Equal flows are a recovery of a half where the design has a quarter; far from the reading too."""
    fleet_columns = columns(placed=NOW - 250.0)
    fleet_columns["readings"] = readings(
        [NOW - 200.0], temperature_degc=15.0, permeate_flow_l_per_day=200.0, concentrate_flow_l_per_day=200.0
    )
    assert conditions_of(fleet_columns).recovery[0].mean() == pytest.approx(0.5, abs=0.05)


@pytest.mark.parametrize(("permeate", "concentrate"), [(0.0, 600.0), (200.0, 0.0), (0.0, 0.0)])
def test_a_flow_of_nothing_says_nothing_of_the_recovery(permeate, concentrate):
    fleet_columns = columns(placed=NOW - 250.0)
    fleet_columns["readings"] = readings(
        DAYS, temperature_degc=15.0, permeate_flow_l_per_day=permeate, concentrate_flow_l_per_day=concentrate
    )
    shut = conditions_of(fleet_columns).recovery
    fleet_columns["readings"] = readings(DAYS, temperature_degc=15.0)
    np.testing.assert_allclose(shut, conditions_of(fleet_columns).recovery, rtol=1e-9)


@pytest.mark.parametrize(("removed", "stands"), [(0.0, False), (-1.0, False), (1.0, True)])
def test_the_label_of_the_membrane_that_stands_counts_in_whichever_row_its_item_is(removed, stands):
    """Half of 284 L/day to the drain, about 0.65 x 284 as permeate: 0.565. Of a membrane that left nothing is known."""
    fleet_columns = columns(recovery_fraction=None, restrictor_flow_l_per_day=142.0)
    for values in fleet_columns["items"].values():
        values.insert(0, values.pop(2))
    placements = fleet_columns["placements"]
    row = placements["position_id"].index("u0/membrane/single")
    placements["removed_day"][row], placements["reason"][row] = NOW + removed, "routine"
    recovery = conditions_of(fleet_columns).recovery[0, : int(365.25 / 14)].mean()
    assert recovery == pytest.approx(0.65 / 1.15 if stands else 0.22, abs=0.006)


@pytest.mark.parametrize(("litres_per_day", "is_idle"), [(0.015, True), (0.03, False)])
def test_of_who_was_told_to_draw_nothing_a_fiftieth_of_a_litre_a_day_is_use(litres_per_day, is_idle):
    """And of who was told to draw less than a litre a day."""
    days = np.array([300.0, 200.0, 100.0, 50.0, 0.0])
    assert counted(days, litres_per_day * (300.0 - days), 0.0).is_idle.tolist() == [is_idle]


@pytest.mark.parametrize(("litres_per_day", "is_idle"), [(0.04, True), (0.06, False)])
def test_a_unit_told_half_a_litre_that_stands_is_idle_where_it_drew_a_twentieth_of_a_litre(litres_per_day, is_idle):
    total = 300.0 * litres_per_day
    assert counted([300.0, 100.0, 50.0, 0.0], [0.0, total, total, total], 3.5).is_idle.tolist() == [is_idle]


def test_who_stands_for_six_weeks_and_ran_before_is_not_idle():
    """Two months count: of a holiday nobody knows whether it ends."""
    assert not counted([300.0, 200.0, 100.0, 46.0, 0.0], [0.0, 800.0, 1600.0, 2032.0, 2032.0], 0.0).is_idle[0]
    assert counted([300.0, 200.0, 100.0, 76.0, 0.0], [0.0, 800.0, 1600.0, 1792.0, 1792.0], 0.0).is_idle[0]


def test_two_counts_are_enough_for_a_rate_and_one_is_none():
    conditions = counted([100.0, 0.0], [0.0, 2500.0])
    assert conditions.is_metered[0]
    assert now(conditions, conditions.product_l_per_day) == pytest.approx(25.0)
    alone = counted([100.0], [700.0])
    assert not alone.is_metered[0]
    assert now(alone, alone.product_l_per_day) == pytest.approx(10.0)


def test_a_counter_that_is_in_no_stream_counts_nothing():
    fleet_columns = columns(placed=NOW - 400.0, weekly_demand_l=70.0)
    fleet_columns["readings"] = readings(DAYS, totaliser_l=list(40.0 * (DAYS - DAYS[0])))
    conditions = conditions_of(fleet_columns)
    assert not conditions.is_metered[0]
    assert now(conditions, conditions.product_l_per_day) == pytest.approx(10.0)


def test_counts_of_any_distance_share_their_volume_among_the_steps_they_span():
    """Every step draws what the counter, taken to run evenly between two counts, rose by in it: counts apart by half a
    day, a day and half a year."""
    days = np.array([301.5, 300.5, 299.9, 120.25, 119.0, 3.0])
    rates = np.array([4.0, 30.0, 2.0, 8.0, 12.0])
    counts = np.concatenate([[0.0], np.cumsum(rates * -np.diff(days))])
    conditions = counted(days, counts)
    line = conditions.timeline
    within = np.flatnonzero((line.edges[:-1] >= NOW - 301.5) & (line.edges[1:] <= NOW - 3.0))
    drawn = np.diff(np.interp(line.edges, NOW - days, counts))[within] / 14.0
    assert len(np.unique(drawn.round(6))) >= 3
    np.testing.assert_allclose(conditions.product_l_per_day[0, within], drawn, rtol=1e-6)


def test_a_counter_that_creeps_counts_as_a_twentieth_of_what_was_told():
    """For what is to come, of a unit that ran before and after: told are 10 L a day, so 0.5 where it stood."""

    def ahead(creep, told=70.0):
        days = [300.0, 200.0, 100.0, 0.0]
        return counted(days, np.cumsum([0.0, 800.0, 100.0 * creep, 800.0]), told).product_l_per_day[0, -1]

    # the mean over all days moves with what it crept, by 30 L of 1600
    assert ahead(0.0) == pytest.approx(ahead(0.3), rel=0.03)
    assert ahead(0.75) > 1.15 * ahead(0.3)
    # of who was told nothing a twentieth of a tenth of a litre
    assert ahead(0.0, 0.0) == pytest.approx(ahead(0.004, 0.0), rel=0.002)
    assert ahead(0.0075, 0.0) > 1.02 * ahead(0.004, 0.0)


def test_counters_of_units_that_were_told_nothing_say_nothing_of_what_others_are_told():
    units = 8
    fleet_columns = columns(units=units, placed=NOW - 400.0, totaliser="product")
    fleet_columns["units"]["weekly_demand_l"] = [0.0] * (units - 1) + [70.0]
    days = np.array([300.0, 200.0, 100.0, 0.0])
    parts = [readings(NOW - days, unit=f"u{k}", totaliser_l=list(30.0 * (300.0 - days))) for k in range(units - 1)]
    fleet_columns["readings"] = {name: [v for part in parts for v in part[name]] for name in parts[0]}
    conditions = conditions_of(fleet_columns)
    assert conditions.pool.means["told_demand_bias"] == 0.0
    season = conditions.product_l_per_day[-1]
    assert season.mean() == pytest.approx(10.0, rel=0.02)
