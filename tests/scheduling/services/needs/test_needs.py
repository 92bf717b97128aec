"""Needs: what forecasts, findings and the calendar call for."""

from datetime import timedelta

import numpy as np
import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from pytest_django import DjangoAssertNumQueries

from accounts.dates import calendar_day
from accounts.errors import Conflict, InvalidInput
from accounts.models import Membership
from fleet.forecasting import GRID_LEVELS
from fleet.models import CatalogueItem, Finding, Forecast, Position, Unit
from fleet.services.forecasts.groups import probability_exhausted_by
from fleet.services.forecasts.rows import TENTHS
from scheduling.models import Need
from scheduling.planning.needs.need import exhausted_probability
from scheduling.services.needs.costs import planning_need
from scheduling.services.needs.needs import add_need, drop_need, refresh_needs
from scheduling.services.needs.wanted import compute_needs
from scheduling.services.policy import read_policy
from tests import factories
from tests.scheduling.town import NOW, RO_DI_TRAIN, TODAY, Town


def _open(town: Town) -> dict[str, Need]:
    return {f"{n.kind} {n.label}": n for n in Need.objects.filter(company=town.company, state="open")}


def _all_columns() -> list[dict[str, object]]:
    return list(Need.objects.order_by("pk").values())


def test_a_cartridge_that_will_be_exhausted_within_the_weeks_is_replaced_by_its_like(town: Town) -> None:
    unit = town.unit()
    town.forecast(town.position(unit, "sediment"), 20)
    town.forecast(town.position(unit, "membrane"), 700)
    refresh_needs(company=town.company, now=NOW)
    need = _open(town)["replace sediment filter"]
    assert len(_open(town)) == 1
    assert need.item == town.item("sediment")
    assert need.price == 24.0
    assert need.source == "forecast"
    assert not need.is_urgent
    # waste falls and lateness rises, so the best day lies within the spread, which ends 4 days outside p05 and p95
    assert TODAY + timedelta(days=2) <= need.best_day <= TODAY + timedelta(days=38)
    assert need.cost_curve[0] > min(need.cost_curve) < need.cost_curve[-1]
    assert calendar_day(need.best_day) in need.reason
    assert "EUR" in need.reason


@pytest.mark.parametrize(
    ("seen_yesterday", "is_unread"),
    [
        ({"observations": {"unusual_noise": False}, "inlet_pressure_kpa": None}, True),
        ({"inlet_pressure_kpa": 400.0}, False),
    ],
)
def test_what_a_person_saw_is_no_reading_of_the_gauges(
    town: Town, seen_yesterday: dict[str, object], is_unread: bool
) -> None:
    unit = town.unit(commissioned_on=TODAY - timedelta(days=900))
    unit.readings.all().delete()
    factories.ReadingFactory(unit=unit, taken_at=NOW - timedelta(days=400))
    gauges = {"feed_tds_mg_per_l": None, "permeate_tds_mg_per_l": None}
    factories.ReadingFactory(unit=unit, taken_at=NOW - timedelta(days=1), **gauges, **seen_yesterday)
    refresh_needs(company=town.company, now=NOW)
    assert ("inspect unit" in _open(town)) is is_unread


def test_a_second_refresh_the_same_night_changes_nothing(town: Town) -> None:
    unit = town.unit(train=RO_DI_TRAIN, tank="pressurised", commissioned_on=TODAY - timedelta(days=300))
    town.forecast(town.position(unit, "resin", "lead"), 10)
    town.forecast(town.position(unit, "carbon"), 0)
    town.finding(unit, "probes_swapped")
    first = refresh_needs(company=town.company, now=NOW)
    rows = _all_columns()
    second = refresh_needs(company=town.company, now=NOW + timedelta(hours=1))
    assert first.opened == len(rows) == 4
    assert (second.opened, second.changed, second.dropped, second.unchanged) == (0, 0, 0, 4)
    assert _all_columns() == rows


def test_an_exhausted_lead_before_a_lag_that_holds_is_rotated_as_one_task(town: Town) -> None:
    unit = town.unit(train=RO_DI_TRAIN)
    town.forecast(town.position(unit, "resin", "lead"), 5)
    town.forecast(town.position(unit, "resin", "lag"), 120)
    refresh_needs(company=town.company, now=NOW)
    needs = _open(town)
    assert list(needs) == ["rotate lead resin"]
    assert needs["rotate lead resin"].item == town.item("resin")
    # late is when the lag is exhausted too, at 6.00 a day for resin at a reef tank; 3 % of it while the lag polishes
    need = needs["rotate lead resin"]
    assert (need.late_cost_per_day, need.exhausted_cost_per_day) == pytest.approx((6.0, 0.18))
    assert need.lag_forecast.position.role == "lag"
    assert not need.is_urgent


def test_an_exhausted_lead_waits_for_a_visit_as_long_as_its_lag_holds(town: Town) -> None:
    soon, late = town.unit(train=RO_DI_TRAIN), town.unit(train=RO_DI_TRAIN)
    for unit, lag in ((soon, 30), (late, 120)):
        town.forecast(town.position(unit, "resin", "lead"), 0)
        town.forecast(town.position(unit, "resin", "lag"), lag)
    refresh_needs(company=town.company, now=NOW)
    days = {need.unit_id: need for need in Need.objects.filter(kind="rotate")}
    # 100 days with the lead used up cost 18.00, which is what the policy says; without the lag they would cost 600.00
    assert days[late.pk].cost_curve[100] == pytest.approx(0.18 * 100, abs=1.0)
    assert days[soon.pk].cost_curve[100] == pytest.approx(0.18 * 30 + 6.0 * 70, abs=10.0)


def test_a_lag_that_ages_out_before_its_lead_is_exhausted_is_replaced_by_itself(town: Town) -> None:
    unit = town.unit(train=RO_DI_TRAIN)
    town.forecast(town.position(unit, "resin", "lead"), 90)
    town.forecast(town.position(unit, "resin", "lag"), 40, driver="maximum_service_time")
    refresh_needs(company=town.company, now=NOW)
    needs = _open(town)
    assert sorted(needs) == ["replace lag resin", "rotate lead resin"]
    assert needs["rotate lead resin"].lag_forecast is None
    assert needs["rotate lead resin"].late_cost_per_day == pytest.approx(0.18)


def _likely_exhausted(town: Town, position: Position, share: float) -> Forecast:
    """A forecast that gives a share of its probability to today, and the rest to the ten weeks after it."""
    grid = [9 if level <= share + 1e-9 else 9 + int(700 * (level - share) / (1.0 - share)) for level in GRID_LEVELS]
    shown = {name: grid[int(np.argmin(np.abs(GRID_LEVELS - level)))] // TENTHS for name, level in _NAMED.items()}
    dates = {name: TODAY + timedelta(days=days) for name, days in shown.items()}
    values = {"state": "exhausted" if share >= 0.5 else "installed", "remaining_share": 0.0, "date_grid": grid}
    return town.forecast(position, 0, **values, **dates)


_NAMED = {"p05": 0.05, "p10": 0.10, "p25": 0.25, "p50": 0.5, "p75": 0.75, "p90": 0.9, "p95": 0.95}


@pytest.mark.parametrize(("share", "urgent"), [(0.4, False), (0.5, False), (0.75, False), (0.85, True)])
def test_a_need_is_as_likely_exhausted_as_its_forecast_says(town: Town, share: float, urgent: bool) -> None:
    """Past its median a cartridge is likely exhausted, not certainly: cost, urgency and words carry the probability."""
    forecast = _likely_exhausted(town, town.position(town.unit(use="reef"), "carbon"), share)
    refresh_needs(company=town.company, now=NOW)
    need = _open(town)["replace carbon"]
    as_planned = planning_need(need, key="carbon", today=TODAY)
    days = [0, 10, 30]
    planned = exhausted_probability([as_planned.quantile_days], days)[0]
    told = [probability_exhausted_by(forecast, TODAY + timedelta(days=day)) for day in days]
    assert planned == pytest.approx(told, abs=1e-9)
    assert planned[0] == pytest.approx(share)
    # a first day of waiting costs that share of the price of a late day
    first_day = need.cost_curve[1] - need.cost_curve[0]
    assert first_day == pytest.approx(share * need.late_cost_per_day, rel=0.02)
    assert need.is_urgent is urgent


def test_a_day_later_the_need_still_says_what_the_stored_forecast_says(town: Town) -> None:
    forecast = _likely_exhausted(town, town.position(town.unit(use="reef"), "carbon"), 0.4)
    later = timedelta(days=12)
    refresh_needs(company=town.company, now=NOW + later)
    as_planned = planning_need(_open(town)["replace carbon"], key="carbon", today=TODAY + later)
    now = exhausted_probability([as_planned.quantile_days], [0.0])[0, 0]
    assert now == pytest.approx(probability_exhausted_by(forecast, TODAY + later))
    assert 0.4 < now < 0.6


@pytest.mark.parametrize(
    ("state", "share", "expected"), [("open", 0.75, 0.75), ("open", 0.3, 1.0), ("confirmed", 0.75, 1.0)]
)
def test_a_finding_outranks_only_a_forecast_of_more_life(town: Town, state: str, share: float, expected: float) -> None:
    unit = town.unit(use="reef")
    _likely_exhausted(town, town.position(unit, "sediment"), share)
    town.finding(unit, "prefilter_clogged", state=state)
    refresh_needs(company=town.company, now=NOW)
    as_planned = planning_need(_open(town)["replace sediment filter"], key="sediment", today=TODAY)
    assert exhausted_probability([as_planned.quantile_days], [0.0])[0, 0] == pytest.approx(expected)


def test_both_cartridges_are_replaced_when_the_lag_is_exhausted_as_well(town: Town) -> None:
    unit = town.unit(train=RO_DI_TRAIN)
    town.forecast(town.position(unit, "resin", "lead"), 0)
    town.forecast(town.position(unit, "resin", "lag"), 0)
    refresh_needs(company=town.company, now=NOW)
    assert sorted(_open(town)) == ["replace lag resin", "replace lead resin"]


def test_a_reading_that_sees_the_lead_and_a_forecast_that_sees_the_lag_make_one_job(town: Town) -> None:
    """The reading shows the lead exhausted, the forecast the lag; a rotation would put that lag in the lead."""
    unit = town.unit(train=RO_DI_TRAIN)
    town.forecast(town.position(unit, "resin", "lead"), 400)
    town.forecast(town.position(unit, "resin", "lag"), 0)
    town.finding(unit, "di_lead_exhausted")
    refresh_needs(company=town.company, now=NOW)
    assert sorted(_open(town)) == ["replace lag resin", "replace lead resin"]


def test_an_exhausted_carbon_at_a_reef_tank_is_urgent_and_at_a_drinking_tap_pressure_is_not(town: Town) -> None:
    reef, drinking = town.unit(use="reef"), town.unit(use="drinking")
    town.forecast(town.position(reef, "carbon"), 0)
    town.forecast(town.position(drinking, "sediment"), 0)
    refresh_needs(company=town.company, now=NOW)
    urgent = {need.unit_id: need.is_urgent for need in Need.objects.all()}
    assert urgent == {reef.pk: True, drinking.pk: False}


@pytest.mark.parametrize(
    ("cause", "expected"),
    [
        ("line_pressure_low", "fit_booster_pump booster pump"),
        ("shutoff_valve_fault", "repair automatic shut-off valve"),
        ("check_valve_fault", "repair check valve"),
        ("prefilter_clogged", "replace sediment filter"),
        ("membrane_oxidised_carbon_exhausted", "replace carbon"),
        ("restrictor_blocked", "replace_restrictor flow restrictor"),
        ("line_pressure_low_no_booster_pump", "fit_booster_pump booster pump"),
        ("probes_swapped", "inspect probes"),
        ("carbon_exhausted", "replace carbon"),
        ("tank_biofilm", "sanitise tank and housings"),
        ("something_new", "inspect unit"),
    ],
)
def test_a_finding_calls_for_its_work(town: Town, cause: str, expected: str) -> None:
    finding = town.finding(town.unit(), cause)
    refresh_needs(company=town.company, now=NOW)
    needs = _open(town)
    assert list(needs) == [expected]
    assert needs[expected].finding == finding
    assert needs[expected].reason.startswith(f"It looks like {cause}.")


def test_chlorine_past_the_last_carbon_spends_them_all(town: Town) -> None:
    unit = town.unit(train=(("sediment", "single"), ("carbon", "lead"), ("carbon", "lag"), ("membrane", "single")))
    town.forecast(town.position(unit, "carbon", "lead"), 5)
    town.forecast(town.position(unit, "carbon", "lag"), 90)
    town.finding(unit, "carbon_exhausted", position=town.position(unit, "carbon", "lag"))
    refresh_needs(company=town.company, now=NOW)
    assert {name: need.is_urgent for name, need in _open(town).items()} == {
        "replace lead carbon": True,
        "replace lag carbon": True,
    }


def test_low_line_pressure_with_a_pump_is_looked_at(town: Town) -> None:
    town.finding(town.unit(has_booster_pump=True), "line_pressure_low")
    refresh_needs(company=town.company, now=NOW)
    assert list(_open(town)) == ["inspect booster pump and line pressure"]


def test_cold_water_calls_for_nothing(town: Town) -> None:
    town.finding(town.unit(), "cold_water_not_a_fault")
    refresh_needs(company=town.company, now=NOW)
    assert not _open(town)


def test_a_finding_makes_the_forecasts_need_urgent_and_dates_it_today(town: Town) -> None:
    unit = town.unit()
    town.forecast(town.position(unit, "sediment"), 60)
    refresh_needs(company=town.company, now=NOW)
    before = _open(town)["replace sediment filter"]
    town.finding(unit, "prefilter_clogged")
    refresh_needs(company=town.company, now=NOW)
    after = _open(town)["replace sediment filter"]
    assert (before.pk, before.is_urgent, after.is_urgent) == (after.pk, False, True)
    assert after.best_day == TODAY < before.best_day


@pytest.mark.parametrize("state", ["dismissed", "closed"])
def test_a_need_is_dropped_when_its_finding_is_gone(town: Town, state: str) -> None:
    finding = town.finding(town.unit(), "shutoff_valve_fault")
    refresh_needs(company=town.company, now=NOW)
    Finding.objects.filter(pk=finding.pk).update(state=state)
    counts = refresh_needs(company=town.company, now=NOW)
    assert counts.dropped == 1
    need = Need.objects.get()
    assert (need.state, need.closed_at) == ("dropped", NOW)


def test_work_done_after_the_last_reading_is_not_asked_for_again_until_a_newer_reading(town: Town) -> None:
    unit = town.unit()
    reading = town.read(unit, NOW - timedelta(days=3))
    finding = town.finding(unit, "shutoff_valve_fault", reading=reading)
    refresh_needs(company=town.company, now=NOW)
    Need.objects.update(state="done", closed_at=NOW)
    refresh_needs(company=town.company, now=NOW + timedelta(days=1))
    assert not _open(town)
    finding.reading = town.read(unit, NOW + timedelta(days=1))
    finding.save()
    refresh_needs(company=town.company, now=NOW + timedelta(days=2))
    assert list(_open(town)) == ["repair automatic shut-off valve"]


def test_a_unit_nobody_reads_is_inspected(town: Town) -> None:
    unit = town.unit()
    unit.readings.all().delete()
    town.read(unit, NOW - timedelta(days=100))
    town.unit()
    refresh_needs(company=town.company, now=NOW)
    need = Need.objects.get(kind="inspect")
    assert (need.unit, need.source) == (unit, "calendar")
    assert Need.objects.exclude(pk=need.pk).get().reading_way == "ask_client", "the client can say what they see"
    assert "100 days" in need.reason


def test_a_pressurised_tank_is_sanitised_a_year_after_the_last_time(town: Town) -> None:
    unit = town.unit(tank="pressurised", commissioned_on=TODAY - timedelta(days=300))
    town.unit(tank="open", commissioned_on=TODAY - timedelta(days=300))
    refresh_needs(company=town.company, now=NOW)
    need = Need.objects.get()
    due = TODAY - timedelta(days=300) + timedelta(days=365)
    assert (need.unit, need.kind, need.due_on) == (unit, "sanitise", due)
    assert need.not_before <= need.best_day <= due
    assert need.cost_curve[(need.not_before - TODAY).days] == 0.0 < need.cost_curve[-1]
    need.state, need.closed_at = "done", NOW
    need.save()
    assert refresh_needs(company=town.company, now=NOW + timedelta(days=1)).opened == 0


def test_a_retired_unit_needs_nothing(town: Town) -> None:
    unit = town.unit(retired_on=TODAY - timedelta(days=1))
    town.forecast(town.position(unit, "sediment"), 0)
    refresh_needs(company=town.company, now=NOW)
    assert not Need.objects.exists()


def test_a_forecast_of_a_cartridge_that_has_left_is_not_followed(town: Town) -> None:
    unit = town.unit()
    position = town.position(unit, "carbon")
    town.forecast(position, 0)
    position.placements.update(removed_at=NOW, removal="exhausted")
    town.place(position, NOW)
    refresh_needs(company=town.company, now=NOW)
    assert not Need.objects.exists()


def test_an_empty_position_is_looked_at(town: Town) -> None:
    unit = town.unit()
    town.position(unit, "carbon").placements.update(removed_at=NOW, removal="damaged")
    refresh_needs(company=town.company, now=NOW)
    assert list(_open(town)) == ["inspect unit"]


def test_units_with_news_are_refreshed_without_the_others(town: Town) -> None:
    news, other = town.unit(), town.unit()
    for unit in (news, other):
        town.forecast(town.position(unit, "sediment"), 20)
    refresh_needs(company=town.company, now=NOW)
    Forecast.objects.update(is_latest=False)
    town.finding(news, "shutoff_valve_fault")
    town.finding(other, "shutoff_valve_fault")
    counts = refresh_needs(company=town.company, now=NOW + timedelta(hours=1), units=[news.pk])
    assert (counts.opened, counts.changed, counts.dropped, counts.unchanged) == (1, 0, 1, 0)
    open_now = Need.objects.filter(state="open").values_list("unit", "kind")
    assert sorted(open_now) == sorted([(news.pk, "repair"), (other.pk, "replace")])


def test_another_companys_units_are_left_alone(town: Town, rival: Membership) -> None:
    theirs = Town(rival.company)
    theirs.forecast(theirs.position(theirs.unit(), "carbon"), 0)
    refresh_needs(company=town.company, now=NOW)
    assert not Need.objects.exists()


def test_a_need_that_a_person_asks_for_stays_until_it_is_dropped(town: Town, office: Membership) -> None:
    unit = town.unit()
    need = add_need(by=office, unit=unit, kind="commission", reason="New aquarium.", now=NOW)
    counts = refresh_needs(company=town.company, now=NOW + timedelta(days=1))
    need.refresh_from_db()
    assert (counts.changed, need.state, need.reason) == (1, "open", "New aquarium.")
    drop_need(need=need, by=office, note="They moved away.", now=NOW)
    need.refresh_from_db()
    assert need.state == "dropped"
    with pytest.raises(Conflict):
        drop_need(need=need, by=office, note="", now=NOW)


def test_a_need_of_the_readings_is_not_dropped_by_hand(town: Town, office: Membership) -> None:
    town.finding(town.unit(), "shutoff_valve_fault")
    refresh_needs(company=town.company, now=NOW)
    with pytest.raises(Conflict, match="closes by itself"):
        drop_need(need=Need.objects.get(), by=office, note="", now=NOW)


def test_a_need_names_a_position_of_its_own_unit(town: Town, office: Membership) -> None:
    unit, other = town.unit(), town.unit()
    with pytest.raises(InvalidInput) as error:
        add_need(by=office, unit=unit, kind="replace", position=town.position(other, "carbon"), reason="", now=NOW)
    assert [fault.pointer for fault in error.value.faults] == ["/position"]
    assert not Need.objects.exists()


def test_a_fleet_is_read_in_as_many_queries_as_one_unit(
    town: Town, django_assert_num_queries: DjangoAssertNumQueries
) -> None:
    def busy_unit() -> None:
        unit = town.unit(train=RO_DI_TRAIN, tank="pressurised")
        town.forecast(town.position(unit, "resin", "lead"), 10)
        town.position(unit, "carbon").placements.update(removed_at=NOW, removal="damaged")
        town.finding(unit, "shutoff_valve_fault", reading=town.read(unit))

    busy_unit()
    policy = read_policy(company=town.company)
    with CaptureQueriesContext(connection) as one:
        assert compute_needs(company=town.company, policy=policy, today=TODAY)
    for _ in range(3):
        busy_unit()
    with django_assert_num_queries(len(one)):
        compute_needs(company=town.company, policy=policy, today=TODAY)


def _restrictor(town: Town, ml_per_min: int, **values: object) -> CatalogueItem:
    values = {"rated_flow_l_per_day": ml_per_min * 1.44, "rated_pressure_kpa": 414.0, **values}
    code = f"R{ml_per_min}"
    return CatalogueItem.objects.create(
        company=town.company, code=code, name=code, kind="accessory", purpose="flow_restrictor", price="4.60", **values
    )


def _read_at_label(town: Town, unit: Unit) -> None:
    """At the conditions of the label of its membrane, at which it gives 284 L/day."""
    town.read(unit, inlet_pressure_kpa=345.0, temperature_degc=25.0, feed_tds_mg_per_l=250.0, state="flowing")


def test_a_blocked_restrictor_is_replaced_by_the_one_that_fits_the_unit(town: Town) -> None:
    """4 to 1 of 284 L/day is 789 mL/min at 345 kPa: an orifice of 789 x sqrt(414 / 345) = 864 at 414 kPa."""
    _restrictor(town, 600), _restrictor(town, 1500), _restrictor(town, 850, is_active=False)
    fits = _restrictor(town, 900)
    unit = town.unit(design_recovery_fraction=0.2)
    _read_at_label(town, unit)
    town.finding(unit, "restrictor_blocked")
    refresh_needs(company=town.company, now=NOW)
    need = _open(town)["replace_restrictor flow restrictor"]
    assert (need.item, need.missing_part) == (fits, "")
    assert need.reason.startswith("It looks like restrictor_blocked.")
    assert refresh_needs(company=town.company, now=NOW + timedelta(hours=1)).changed == 0


def test_where_no_restrictor_fits_the_task_says_what_to_missing_part(town: Town) -> None:
    _restrictor(town, 300)
    unit = town.unit(design_recovery_fraction=0.2)
    _read_at_label(town, unit)
    town.finding(unit, "restrictor_blocked")
    refresh_needs(company=town.company, now=NOW)
    need = _open(town)["replace_restrictor flow restrictor"]
    assert need.item is None
    assert need.missing_part == "No flow restrictor of the catalogue fits: look for one of about 790 mL/min at 3.5 bar."
    assert need.missing_part in need.reason


def test_a_person_who_asks_for_a_restrictor_gets_the_one_that_fits(town: Town, owner: Membership) -> None:
    fits, other = _restrictor(town, 900), _restrictor(town, 300)
    unit = town.unit(design_recovery_fraction=0.2)
    _read_at_label(town, unit)
    need = {"by": owner, "unit": unit, "kind": "replace_restrictor", "reason": "Blocked.", "now": NOW}
    assert add_need(**need).item == fits
    assert add_need(**need, item=other).item == other


def _carbon_item(town: Town, code: str, price: str, **values: object) -> CatalogueItem:
    return CatalogueItem.objects.create(
        company=town.company, code=code, name=code, kind="carbon", price=price, carbon_kind="catalytic", **values
    )


@pytest.mark.parametrize(("chloraminated", "code"), [(True, "CAT-10"), (False, "carbon-1"), (None, "carbon-1")])
def test_carbon_is_replaced_by_one_that_suits_the_supply_and_fits(
    town: Town, chloraminated: bool | None, code: str
) -> None:
    unit = town.unit(town.site(chloraminated=chloraminated))
    CatalogueItem.objects.filter(kind="carbon").update(carbon_kind="block", cartridge_size="10_inch")
    _carbon_item(town, "CAT-20", "12.00", cartridge_size="20_inch")
    _carbon_item(town, "CAT-9", "10.00", cartridge_size="10_inch", is_active=False)
    _carbon_item(town, "CAT-10", "19.50", cartridge_size="10_inch")
    town.forecast(town.position(unit, "carbon"), 5)
    refresh_needs(company=town.company, now=NOW)
    need = _open(town)["replace carbon"]
    assert (need.item.code, need.missing_part) == (code, "")
    # what is thrown away is the old one
    assert need.price == 24.0


def test_where_no_catalytic_carbon_fits_it_is_said_and_the_work_goes_on(town: Town) -> None:
    unit = town.unit(town.site(chloraminated=True))
    CatalogueItem.objects.filter(kind="carbon").update(carbon_kind="block", cartridge_size="10_inch")
    _carbon_item(town, "CAT-20", "12.00", cartridge_size="20_inch")
    town.forecast(town.position(unit, "carbon"), 5)
    refresh_needs(company=town.company, now=NOW)
    need = _open(town)["replace carbon"]
    assert need.item.code == "carbon-1"
    assert "no catalytic carbon of the catalogue fits here" in need.missing_part
    assert need.missing_part in need.reason


def test_a_leaking_seat_takes_o_rings_and_no_membrane(town: Town) -> None:
    rings = CatalogueItem.objects.create(
        company=town.company, code="OR", name="O-rings", kind="small_part", purpose="membrane_seals", price="1.10"
    )
    unit = town.unit()
    town.finding(unit, "o_ring_leak", position=town.position(unit, "membrane"))
    refresh_needs(company=town.company, now=NOW)
    (need,) = _open(town).values()
    assert (need.kind, need.item) == ("repair", rings)


def test_open_needs_are_not_read_in_the_order_of_a_list(town: Town) -> None:
    """Of all units it would be a walk of the table by an index of days; the order is made here."""
    town.forecast(town.position(town.unit(), "sediment"), 20)
    refresh_needs(company=town.company, now=NOW)
    with CaptureQueriesContext(connection) as captured:
        refresh_needs(company=town.company, now=NOW)
    read = [q["sql"] for q in captured if 'SELECT "scheduling_need"."id"' in q["sql"] and '"cost_curve"' in q["sql"]]
    assert read
    assert not [sql for sql in read if sql.rpartition("ORDER BY")[1] and "best_day" in sql.rpartition("ORDER BY")[2]]
