"""Findings open, stay and close by what the newest readings show."""

from datetime import UTC, date, datetime, timedelta
from typing import Any

import pytest

from accounts.models import Company, Membership
from fleet.models import Finding, Position, Reading, Unit
from fleet.services.findings.facts import context_of_row, load_history
from fleet.services.findings.findings import RECENT, decide, refresh_findings
from fleet.services.findings.readings import readings_that_bear
from fleet.services.status import status_of
from fleet.services.units.placements import place
from tests import factories

NOW = datetime(2026, 3, 10, 12, tzinfo=UTC)
PSI = 6.894757293168361


@pytest.fixture
def unit(company: Company) -> Unit:
    """A reef unit with a lead and a lag resin, read while all was well."""
    unit = factories.UnitFactory(company=company, commissioned_on=date(2025, 6, 1), has_automatic_shutoff_valve=True)
    train = [("sediment", "single"), ("carbon", "single"), ("membrane", "single"), ("resin", "lead"), ("resin", "lag")]
    for stage, role in train:
        position = factories.PositionFactory(unit=unit, stage=stage, role=role)
        factories.PlacementFactory(position=position, placed_at=datetime(2025, 9, 1, tzinfo=UTC))
    for week in range(8):
        read(unit, NOW - timedelta(days=80 - 7 * week))
    return unit


def read(unit: Unit, at: datetime, **change: Any) -> Reading:
    values = {
        "line_pressure_kpa": 62 * PSI,
        "prefilter_outlet_pressure_kpa": 60 * PSI,
        "inlet_pressure_kpa": 60 * PSI,
        "temperature_degc": 15.0,
        "feed_tds_mg_per_l": 240.0,
        "permeate_tds_mg_per_l": 9.0,
        "interstage_tds_mg_per_l": 1.0,
        "product_tds_mg_per_l": 0.0,
        "permeate_flow_l_per_day": 180.0,
        "concentrate_flow_l_per_day": 720.0,
        "minutes_since_start": 20.0,
        "state": "flowing",
        **change,
    }
    return factories.ReadingFactory(unit=unit, taken_at=at, **values)


def causes(unit: Unit, *states: str) -> set[str]:
    return set(Finding.objects.filter(unit=unit, state__in=states or ["open"]).values_list("cause", flat=True))


def test_a_healthy_unit_has_no_finding(unit: Unit) -> None:
    counts = refresh_findings(company=unit.company, now=NOW)
    assert counts == {"units": 1, "opened": 0, "refreshed": 0, "closed": 0, "present": 0}


@pytest.mark.parametrize(
    ("change", "cause", "stage", "role"),
    [
        (
            {"prefilter_outlet_pressure_kpa": 40 * PSI, "inlet_pressure_kpa": 40 * PSI},
            "prefilter_clogged",
            "sediment",
            "single",
        ),
        ({"interstage_tds_mg_per_l": 9.0}, "di_lead_exhausted", "resin", "lead"),
        ({"interstage_tds_mg_per_l": 9.0, "product_tds_mg_per_l": 9.0}, "di_both_exhausted", "resin", "lead"),
        (
            {"carbon_outlet_total_chlorine_mg_per_l": 0.3, "feed_total_chlorine_mg_per_l": 1.0},
            "carbon_exhausted",
            "carbon",
            "single",
        ),
        (
            {"line_pressure_kpa": 30 * PSI, "prefilter_outlet_pressure_kpa": 28 * PSI, "inlet_pressure_kpa": 28 * PSI},
            "line_pressure_low",
            None,
            None,
        ),
        (
            {"tank_is_full": True, "tank_pressure_kpa": 45 * PSI, "concentrate_flow_l_per_day": 700.0},
            "shutoff_valve_fault",
            None,
            None,
        ),
    ],
)
def test_a_pattern_a_practitioner_knows_opens_a_finding_with_its_sentences(
    unit: Unit, change: dict[str, Any], cause: str, stage: str | None, role: str | None
) -> None:
    reading = read(unit, NOW - timedelta(days=1), **change)
    refresh_findings(company=unit.company, now=NOW)
    finding = Finding.objects.get(unit=unit, cause=cause)
    assert finding.state == "open"
    assert finding.reading == reading
    assert (finding.opened_at, finding.last_seen_at) == (NOW, reading.taken_at)
    assert 0.5 < finding.confidence <= 1
    assert finding.numbers
    for sentence in (finding.confirming_check, finding.action, finding.installer_sentence, finding.client_sentence):
        assert sentence
    place_of = None if finding.position is None else (finding.position.stage, finding.position.role)
    assert place_of == (None if stage is None else (stage, role))


def test_a_second_run_changes_nothing_and_a_later_reading_refreshes(unit: Unit) -> None:
    read(unit, NOW - timedelta(days=2), interstage_tds_mg_per_l=9.0)
    refresh_findings(company=unit.company, now=NOW)
    before = list(Finding.objects.order_by("pk").values())
    counts = refresh_findings(company=unit.company, now=NOW + timedelta(hours=2))
    assert (counts["opened"], counts["refreshed"], counts["closed"]) == (0, 0, 0)
    assert list(Finding.objects.order_by("pk").values()) == before
    newer = read(unit, NOW - timedelta(days=1), interstage_tds_mg_per_l=9.5)
    assert refresh_findings(company=unit.company, now=NOW)["refreshed"] == 1
    assert Finding.objects.get(cause="di_lead_exhausted").reading == newer


def test_a_finding_closes_when_the_pattern_is_gone_and_opens_anew_when_it_comes_back(unit: Unit) -> None:
    read(unit, NOW - timedelta(days=3), interstage_tds_mg_per_l=9.0)
    refresh_findings(company=unit.company, now=NOW - timedelta(days=3) + timedelta(hours=1))
    read(unit, NOW - timedelta(days=2))
    assert refresh_findings(company=unit.company, now=NOW)["closed"] == 1
    closed = Finding.objects.get(cause="di_lead_exhausted")
    assert (closed.state, closed.closed_at) == ("closed", NOW)
    read(unit, NOW - timedelta(days=1), interstage_tds_mg_per_l=9.0)
    refresh_findings(company=unit.company, now=NOW)
    assert causes(unit) == {"di_lead_exhausted"}
    assert Finding.objects.filter(cause="di_lead_exhausted").count() == 2


def test_a_reading_that_cannot_answer_leaves_the_verdict_to_the_one_before(unit: Unit) -> None:
    read(unit, NOW - timedelta(days=3), interstage_tds_mg_per_l=9.0)
    factories.ReadingFactory(
        unit=unit,
        taken_at=NOW - timedelta(days=1),
        inlet_pressure_kpa=60 * PSI,
        feed_tds_mg_per_l=None,
        permeate_tds_mg_per_l=None,
    )
    refresh_findings(company=unit.company, now=NOW)
    assert causes(unit) == {"di_lead_exhausted"}


def test_a_change_of_the_cartridge_makes_the_old_reading_history(unit: Unit, owner: Membership) -> None:
    read(unit, NOW - timedelta(days=3), interstage_tds_mg_per_l=9.0)
    refresh_findings(company=unit.company, now=NOW)
    lead = Position.objects.get(unit=unit, stage="resin", role="lead")
    item = factories.CatalogueItemFactory(company=unit.company, kind="resin")
    place(position=lead, item=item, by=owner, now=NOW, removal="exhausted")
    refresh_findings(company=unit.company, now=NOW)
    assert causes(unit) == set()
    assert causes(unit, "closed") == {"di_lead_exhausted"}


def fit_membrane_before_the_readings(unit: Unit) -> None:
    """Its first readings are the baseline that its salt passage is held against."""
    membrane = Position.objects.get(unit=unit, stage="membrane").placements.get()
    membrane.placed_at = membrane.first_installed_at = NOW - timedelta(days=85)
    membrane.save()


def test_fresh_carbon_is_not_called_exhausted_by_what_the_old_one_let_through(unit: Unit, owner: Membership) -> None:
    """Permeate of 20 where 9 was usual, and chlorine past the carbon, which is replaced the next day."""
    fit_membrane_before_the_readings(unit)
    doubled = {"permeate_tds_mg_per_l": 20.0, "interstage_tds_mg_per_l": None}
    read(unit, NOW - timedelta(days=3), **doubled, carbon_outlet_total_chlorine_mg_per_l=0.3)
    refresh_findings(company=unit.company, now=NOW)
    assert "membrane_oxidised_carbon_exhausted" in causes(unit)
    carbon = Position.objects.get(unit=unit, stage="carbon")
    item = factories.CatalogueItemFactory(company=unit.company, kind="carbon")
    place(position=carbon, item=item, by=owner, now=NOW - timedelta(days=2), removal="exhausted")
    refresh_findings(company=unit.company, now=NOW)
    assert not [cause for cause in causes(unit) if "carbon_exhausted" in cause]
    # tested again, the carbon is good and the membrane as bad as before
    read(unit, NOW - timedelta(days=1), **doubled, carbon_outlet_total_chlorine_mg_per_l=0.0)
    refresh_findings(company=unit.company, now=NOW)
    assert not [cause for cause in causes(unit) if "carbon_exhausted" in cause]


def test_a_membrane_that_met_chlorine_long_enough_calls_for_no_carbon_that_tests_well(unit: Unit) -> None:
    """1.2 mg/L for 77 days, 2.667 h a day: 246 ppm h; tested again yesterday, the carbon lets nothing through."""
    fit_membrane_before_the_readings(unit)
    doubled = {"permeate_tds_mg_per_l": 20.0, "interstage_tds_mg_per_l": None}
    read(unit, NOW - timedelta(days=79), carbon_outlet_total_chlorine_mg_per_l=1.2)
    read(unit, NOW - timedelta(days=2), carbon_outlet_total_chlorine_mg_per_l=1.2)
    read(unit, NOW - timedelta(days=1), **doubled, carbon_outlet_total_chlorine_mg_per_l=0.0)
    refresh_findings(company=unit.company, now=NOW)
    assert "membrane_oxidised" in causes(unit)
    assert not [cause for cause in causes(unit) if "carbon_exhausted" in cause]


def test_a_dismissed_finding_does_not_come_back_while_the_pattern_lasts(unit: Unit, owner: Membership) -> None:
    read(unit, NOW - timedelta(days=3), interstage_tds_mg_per_l=9.0)
    refresh_findings(company=unit.company, now=NOW)
    decide(finding=Finding.objects.get(), decision="dismissed", by=owner, now=NOW)
    read(unit, NOW - timedelta(days=2), interstage_tds_mg_per_l=9.0)
    refresh_findings(company=unit.company, now=NOW)
    assert list(Finding.objects.values_list("state", flat=True)) == ["dismissed"]
    read(unit, NOW - timedelta(days=1))
    refresh_findings(company=unit.company, now=NOW)
    read(unit, NOW, interstage_tds_mg_per_l=9.0)
    refresh_findings(company=unit.company, now=NOW)
    assert list(Finding.objects.order_by("pk").values_list("state", flat=True)) == ["dismissed", "open"]


def test_one_exchanged_pair_is_a_slip_and_two_are_swapped_probes(unit: Unit, owner: Membership) -> None:
    swapped = {"feed_tds_mg_per_l": 9.0, "permeate_tds_mg_per_l": 240.0, "interstage_tds_mg_per_l": None}
    read(unit, NOW - timedelta(days=2), **swapped)
    refresh_findings(company=unit.company, now=NOW)
    assert "probes_swapped" not in causes(unit)
    read(unit, NOW - timedelta(days=1), **swapped)
    refresh_findings(company=unit.company, now=NOW)
    finding = Finding.objects.get(cause="probes_swapped")
    decide(finding=finding, decision="confirmed", by=owner, now=NOW)
    assert Reading.objects.current().filter(unit=unit, permeate_tds_mg_per_l__gt=100).count() == 0
    refresh_findings(company=unit.company, now=NOW)
    assert "probes_swapped" not in causes(unit, "open", "confirmed")


def test_resin_that_carbon_dioxide_eats_is_told_from_its_short_life(unit: Unit) -> None:
    lead = Position.objects.get(unit=unit, stage="resin", role="lead").placements.get()
    lead.placed_at = lead.first_installed_at = NOW - timedelta(days=30)
    lead.save()
    read(unit, NOW - timedelta(days=1), interstage_tds_mg_per_l=9.0)
    refresh_findings(company=unit.company, now=NOW)
    # 0.6 L at 0.55 eq/L against 9 mg/L as NaCl (58.44 g/mol) serve 2143 L, 107 days at 140 L a week; it lasted 29.
    finding = Finding.objects.get(cause="carbon_dioxide_load")
    assert finding.numbers["resin_life_share"] == pytest.approx(29 / 107.1, abs=0.01)


@pytest.mark.parametrize(
    ("stream", "counted", "share"),
    [
        # 24 days a look apart, 1440 L: 60 L a day in the place of 20, so that 2143 L are 35.7 days
        ("permeate", (1000.0, 2440.0), 29 / 35.7),
        # a fifth of the feed is permeate
        ("feed", (1000.0, 8200.0), 29 / 35.7),
        # a counter that was replaced, or that nobody reads, says nothing
        ("permeate", (2440.0, 1000.0), 29 / 107.1),
        ("none", (1000.0, 2440.0), 29 / 107.1),
    ],
)
def test_who_uses_more_than_was_asked_for_exhausts_a_resin_sooner(
    unit: Unit, stream: str, counted: tuple[float, float], share: float
) -> None:
    unit.totaliser, unit.design_recovery_fraction = stream, 0.2
    unit.save()
    lead = Position.objects.get(unit=unit, stage="resin", role="lead").placements.get()
    lead.placed_at = lead.first_installed_at = NOW - timedelta(days=30)
    lead.save()
    read(unit, NOW - timedelta(days=25), totaliser_l=counted[0])
    last = read(unit, NOW - timedelta(days=1), interstage_tds_mg_per_l=9.0, totaliser_l=counted[1])
    history = load_history(unit.company, [unit.pk])
    row = history.table.ids.tolist().index(last.pk)
    assert context_of_row(history, row)["resin_life_share"] == pytest.approx(share, abs=0.01)
    refresh_findings(company=unit.company, now=NOW)
    assert ("carbon_dioxide_load" in causes(unit)) is (share < 0.6)


def test_behind_a_lag_the_product_alone_does_not_take_back_a_short_life(unit: Unit) -> None:
    lead = Position.objects.get(unit=unit, stage="resin", role="lead").placements.get()
    lead.placed_at = lead.first_installed_at = NOW - timedelta(days=30)
    lead.save()
    read(unit, NOW - timedelta(days=2), interstage_tds_mg_per_l=9.0)
    read(unit, NOW - timedelta(days=1), interstage_tds_mg_per_l=None)
    refresh_findings(company=unit.company, now=NOW)
    assert causes(unit) == {"di_lead_exhausted", "carbon_dioxide_load"}


@pytest.mark.parametrize(
    ("product", "cause", "part"),
    [
        (0.0, "di_lead_exhausted", "the lag holds"),
        (2.5, "di_lead_exhausted", "has begun to rise"),
        (4.0, "di_both_exhausted", "the lag lets ions through as well"),
    ],
)
def test_a_newer_product_says_whether_the_lag_holds(unit: Unit, product: float, cause: str, part: str) -> None:
    """The lead was seen exhausted a week ago with a product of 0; yesterday only the product was read."""
    first = read(unit, NOW - timedelta(days=7), interstage_tds_mg_per_l=9.0)
    only = dict.fromkeys(("feed_tds_mg_per_l", "permeate_tds_mg_per_l", "interstage_tds_mg_per_l"))
    read(unit, NOW - timedelta(days=1), **only, product_tds_mg_per_l=product)
    refresh_findings(company=unit.company, now=NOW)
    finding = Finding.objects.get(unit=unit, cause__startswith="di_")
    assert finding.cause == cause
    assert part in finding.installer_sentence
    assert cause == "di_both_exhausted" or finding.reading == first


def test_an_exhausted_lag_by_its_forecast_is_said_where_the_reading_would_rotate(unit: Unit) -> None:
    lag = Position.objects.get(unit=unit, stage="resin", role="lag")
    factories.ForecastFactory(position=lag, placement=lag.placements.get(), state="exhausted", is_latest=True)
    read(unit, NOW - timedelta(days=1), interstage_tds_mg_per_l=9.0)
    refresh_findings(company=unit.company, now=NOW)
    finding = Finding.objects.get(cause="di_lead_exhausted")
    assert "Replace both" in finding.installer_sentence
    assert "replace both" in finding.client_sentence
    assert "still works" not in finding.client_sentence
    assert finding.action.startswith("Replace both")


def test_the_exposure_of_the_membrane_is_summed_since_it_was_fitted(unit: Unit) -> None:
    """0.2 and 0.4 mg/L ten days apart, 20 L a day at 180 L/day: 2.667 h a day, so 0.3 x 26.67 = 8 ppm h."""
    chlorine = {"feed_total_chlorine_mg_per_l": 1.0}
    read(unit, NOW - timedelta(days=300), carbon_outlet_total_chlorine_mg_per_l=0.9, **chlorine)
    read(unit, NOW - timedelta(days=150), carbon_outlet_total_chlorine_mg_per_l=0.2, **chlorine)
    read(unit, NOW - timedelta(days=140), carbon_outlet_total_chlorine_mg_per_l=0.4, **chlorine)
    last = read(unit, NOW - timedelta(days=135))
    history = load_history(unit.company, [unit.pk])
    row = history.table.ids.tolist().index(last.pk)
    hours = 24.0 * (unit.weekly_demand_l / 7.0) / 180.0
    assert context_of_row(history, row)["membrane_exposure_ppm_h"] == pytest.approx(
        0.3 * 10.0 * hours + 0.4 * 5.0 * hours, rel=1e-6
    )
    # The first test was behind the membrane before this one, which was fitted in September.
    assert context_of_row(history, 0).get("membrane_exposure_ppm_h") is None


@pytest.mark.parametrize(("days", "is_clean"), [(40, True), (80, True), (100, False)])
def test_the_first_look_at_a_gauge_behind_filters_reads_what_clean_ones_leave(
    unit: Unit, days: int, is_clean: bool
) -> None:
    """In their first weeks; where nobody looked then, in the first half of the half year that they usually stand."""
    read(unit, datetime(2025, 9, 1, tzinfo=UTC) + timedelta(days=days), inlet_pressure_kpa=63 * PSI)
    history = load_history(unit.company, [unit.pk])
    clean = context_of_row(history, 0).get("clean_inlet_pressure_kpa")
    assert clean == (pytest.approx(63 * PSI) if is_clean else None)


@pytest.mark.parametrize("days", [40, 80])
def test_only_the_first_late_look_stands_for_clean_filters(unit: Unit, days: int) -> None:
    """Three looks of the first weeks are one level; of later ones each may be behind more dirt than the one before."""
    for later, psi in ((0, 63), (2, 57), (4, 51)):
        read(unit, datetime(2025, 9, 1, tzinfo=UTC) + timedelta(days=days + later), inlet_pressure_kpa=psi * PSI)
    history = load_history(unit.company, [unit.pk])
    clean = context_of_row(history, 2)["clean_inlet_pressure_kpa"]
    assert clean == pytest.approx((57 if days == 40 else 63) * PSI)


def test_what_is_loaded_does_not_grow_with_the_record_and_says_the_same(unit: Unit) -> None:
    for week in range(12, 150):
        read(unit, NOW - timedelta(days=7 * week), line_pressure_kpa=(62 - 0.01 * week) * PSI)
    read(
        unit,
        NOW - timedelta(days=1),
        interstage_tds_mg_per_l=9.0,
        line_pressure_kpa=40 * PSI,
        carbon_outlet_total_chlorine_mg_per_l=0.3,
    )
    whole_history = load_history(unit.company, [unit.pk])
    table = readings_that_bear(unit.company, [unit.pk], NOW, RECENT)
    assert len(table) < 80 < len(whole_history.table)
    part = load_history(unit.company, [unit.pk], table)
    for row in range(len(table)):
        if NOW - RECENT <= table.taken_at[row] <= NOW:
            same = whole_history.table.ids.tolist().index(int(table.ids[row]))
            assert context_of_row(part, row) == pytest.approx(context_of_row(whole_history, same))


def test_a_unit_nobody_reads_is_named_and_stays_so_all_day(unit: Unit) -> None:
    later = NOW + timedelta(weeks=20)
    refresh_findings(company=unit.company, now=later)
    finding = Finding.objects.get(cause="no_reading_for_weeks")
    # The last reading was 31 days before NOW: 24 whole weeks.
    assert finding.numbers["weeks_since_last_reading"] == 24
    counts = refresh_findings(company=unit.company, now=later + timedelta(hours=5))
    assert (counts["opened"], counts["refreshed"]) == (0, 0)


def test_the_findings_of_a_unit_close_on_the_day_from_which_it_is_out_of_use(unit: Unit) -> None:
    read(unit, NOW - timedelta(days=1), interstage_tds_mg_per_l=9.0)
    refresh_findings(company=unit.company, now=NOW)
    unit.retired_on = NOW.date()
    unit.save()
    refresh_findings(company=unit.company, now=NOW)
    assert causes(unit, "closed") == {"di_lead_exhausted"}


def test_doubtful_values_and_old_readings_say_nothing(unit: Unit) -> None:
    flags = [{"field": "inlet_pressure_kpa", "code": "factor_of_ten", "sentence": "..."}]
    read(unit, NOW - timedelta(days=1), inlet_pressure_kpa=600 * PSI / 2.1, flags=flags)
    read(unit, NOW - timedelta(days=140), interstage_tds_mg_per_l=9.0)
    refresh_findings(company=unit.company, now=NOW)
    assert causes(unit) == set()


def test_only_the_asked_units_and_the_company_are_touched(unit: Unit, rival_company: Company) -> None:
    other = factories.UnitFactory(company=unit.company, commissioned_on=date(2025, 1, 1))
    foreign = factories.UnitFactory(company=rival_company, commissioned_on=date(2025, 1, 1))
    refresh_findings(company=unit.company, now=NOW, units=[unit.pk, foreign.pk])
    assert not Finding.objects.exists()
    refresh_findings(company=unit.company, now=NOW)
    assert causes(other) == {"no_reading_for_weeks"}
    assert causes(foreign) == set()


def test_the_number_of_queries_does_not_grow_with_the_units(unit: Unit) -> None:
    from django.db import connection
    from django.test.utils import CaptureQueriesContext

    def queries() -> int:
        with CaptureQueriesContext(connection) as queries:
            refresh_findings(company=unit.company, now=NOW)
        return len(queries)

    read(unit, NOW - timedelta(days=1), interstage_tds_mg_per_l=9.0)
    refresh_findings(company=unit.company, now=NOW)
    few = queries()
    for _ in range(5):
        more = factories.UnitFactory(company=unit.company)
        read(more, NOW - timedelta(days=1))
    refresh_findings(company=unit.company, now=NOW)
    assert queries() == few


@pytest.mark.parametrize(("days", "is_told"), [(1, True), (29, True), (31, False), (100, False)])
def test_warm_water_of_last_summer_is_not_told_in_winter(unit: Unit, days: int, is_told: bool) -> None:
    """The reading stays the newest that can answer, but the season it speaks of has gone by."""
    Reading.objects.filter(unit=unit).delete()
    for week in range(4):
        read(unit, datetime(2025, 9, 3, tzinfo=UTC) + timedelta(days=7 * week), temperature_degc=8.0)
    # 12 degC more let more water and more salt through, as much as the correction for temperature expects
    warm = {"temperature_degc": 20.0, "permeate_flow_l_per_day": 265.0, "permeate_tds_mg_per_l": 10.5}
    read(unit, NOW - timedelta(days=days), **warm)
    refresh_findings(company=unit.company, now=NOW)
    assert ("warm_water_not_a_fault" in causes(unit)) is is_told


def test_a_planted_tank_is_not_told_to_change_resin_for_water_that_it_allows(unit: Unit) -> None:
    """Its use allows 30 mg/L and the product has 3: status, findings and what the client reads agree."""
    Unit.objects.filter(pk=unit.pk).update(use="planted", product_tds_target_mg_per_l=30.0)
    unit.refresh_from_db()
    for hours in (30, 6):
        read(unit, NOW - timedelta(hours=hours), permeate_tds_mg_per_l=9.0, interstage_tds_mg_per_l=5.0,
             product_tds_mg_per_l=3.0)  # fmt: skip
    refresh_findings(company=unit.company, now=NOW)
    assert not {cause for cause in causes(unit) if cause.startswith("di_")}
    assert status_of(unit=unit, now=NOW).water == "good"


def test_a_new_membrane_that_passes_more_than_the_one_before_it_leaks(unit: Unit) -> None:
    position = Position.objects.get(unit=unit, stage="membrane")
    item = factories.CatalogueItemFactory(company=unit.company, kind="membrane", rejection_fraction=0.96)
    position.placements.update(item=item)
    by = factories.MembershipFactory(company=unit.company, role="owner")
    changed = NOW - timedelta(days=12)
    place(by=by, position=position, item=item, placed_at=changed, removal="routine", now=NOW)
    read(unit, changed + timedelta(hours=1), permeate_tds_mg_per_l=24.0, occasion="as_left")
    refresh_findings(company=unit.company, now=NOW)
    assert "o_ring_leak" not in causes(unit)  # a new membrane is flushed first: one visit is no proof
    read(unit, changed + timedelta(days=7), permeate_tds_mg_per_l=24.0)
    refresh_findings(company=unit.company, now=NOW)
    assert "o_ring_leak" in causes(unit)


@pytest.mark.parametrize(("drain", "cause"), [(1700.0, "restrictor_missing"), (350.0, "restrictor_blocked")])
def test_a_restrictor_of_another_size_is_seen_by_its_label_at_the_second_visit(
    company: Company, drain: float, cause: str
) -> None:
    unit = factories.UnitFactory(
        company=company,
        commissioned_on=date(2026, 2, 1),
        restrictor="capillary",
        restrictor_flow_l_per_day=720.0,
        restrictor_pressure_kpa=60 * PSI,
    )
    read(unit, NOW - timedelta(days=20), concentrate_flow_l_per_day=drain, occasion="as_found")
    read(unit, NOW - timedelta(days=20) + timedelta(hours=1), concentrate_flow_l_per_day=drain, occasion="as_left")
    refresh_findings(company=company, now=NOW)
    assert cause not in causes(unit)
    read(unit, NOW - timedelta(days=5), concentrate_flow_l_per_day=drain)
    refresh_findings(company=company, now=NOW)
    assert cause in causes(unit)
    read(unit, NOW - timedelta(days=1))
    refresh_findings(company=company, now=NOW)
    assert cause not in causes(unit)


def test_a_weak_pump_is_seen_by_one_gauge_before_a_tank_of_unknown_pressure(company: Company) -> None:
    unit = factories.UnitFactory(
        company=company, commissioned_on=date(2025, 11, 1), has_booster_pump=True, tank=Unit.Tank.PRESSURISED
    )
    factories.PlacementFactory(
        position=factories.PositionFactory(unit=unit, stage="membrane", role="single"),
        placed_at=datetime(2025, 11, 1, tzinfo=UTC),
    )
    one_gauge = {"line_pressure_kpa": None, "prefilter_outlet_pressure_kpa": None}
    for days, inlet in ((120, 78.0), (90, 77.0), (60, 78.0), (5, 66.0)):
        read(unit, NOW - timedelta(days=days), **one_gauge, inlet_pressure_kpa=inlet * PSI)
    refresh_findings(company=company, now=NOW)
    assert "pump_not_running" in causes(unit)


@pytest.mark.parametrize(("litres_a_week", "is_early"), [(100.0, True), (5000.0, False)])
def test_a_resin_that_was_changed_the_day_it_was_exhausted_still_speaks_of_the_water(
    unit: Unit, litres_a_week: float, is_early: bool
) -> None:
    unit.weekly_demand_l = litres_a_week
    unit.save()
    item = factories.CatalogueItemFactory(
        company=unit.company, kind="resin", resin_volume_l=1.2, resin_capacity_eq_per_l=0.55
    )
    position = Position.objects.get(unit=unit, stage="resin", role="lead")
    position.placements.update(item=item, placed_at=NOW - timedelta(days=60))
    read(unit, NOW - timedelta(days=2, hours=2), product_tds_mg_per_l=8.0, interstage_tds_mg_per_l=9.0)
    by = factories.MembershipFactory(company=unit.company, role="owner")
    place(by=by, position=position, item=item, placed_at=NOW - timedelta(days=2), removal="exhausted", now=NOW)
    read(unit, NOW - timedelta(days=1))
    refresh_findings(company=unit.company, now=NOW)
    assert ("carbon_dioxide_load" in causes(unit)) is is_early


@pytest.mark.parametrize(
    ("change", "cause"),
    [
        ({"line_pressure_kpa": 50 * PSI, "prefilter_outlet_pressure_kpa": 48 * PSI, "inlet_pressure_kpa": 48 * PSI},
         "line_pressure_low"),
        ({"line_pressure_kpa": 45 * PSI, "prefilter_outlet_pressure_kpa": 43 * PSI, "inlet_pressure_kpa": 43 * PSI},
         "line_pressure_low_no_booster_pump"),
        ({"line_pressure_kpa": None, "prefilter_outlet_pressure_kpa": None, "inlet_pressure_kpa": 50 * PSI},
         "prefilter_clogged"),
    ],
)  # fmt: skip
def test_a_pressure_that_fell_a_little_is_said_when_two_visits_saw_it(
    company: Company, change: dict[str, Any], cause: str
) -> None:
    """62 psi at first. A line swings with the hour: 12 psi less at one visit may be the neighbour's garden.

    400 L a week in 8 hours a day ask for 171 L/day, more than a label of 284 gives in cold water below 50 psi.
    """
    unit = factories.UnitFactory(company=company, commissioned_on=date(2025, 6, 1), weekly_demand_l=400.0)
    for stage in ("sediment", "carbon", "membrane"):
        position = factories.PositionFactory(unit=unit, stage=stage, role="single")
        factories.PlacementFactory(position=position, placed_at=datetime(2025, 12, 18, tzinfo=UTC))
    gauges = dict.fromkeys([name for name, value in change.items() if value is None])
    for week in range(8):
        read(unit, NOW - timedelta(days=80 - 7 * week), **gauges)
    read(unit, NOW - timedelta(days=8), **change)
    refresh_findings(company=company, now=NOW - timedelta(days=7))
    assert cause not in causes(unit)
    read(unit, NOW - timedelta(days=1), **change)
    refresh_findings(company=company, now=NOW)
    assert cause in causes(unit)


@pytest.mark.parametrize(("fell_to_psi", "is_said"), [(41.0, True), (43.0, False)])
def test_a_pressure_that_fell_far_is_said_at_once(unit: Unit, fell_to_psi: float, is_said: bool) -> None:
    """More than 20 psi, twice the limit, is no swing of the hour."""
    line, inlet = fell_to_psi * PSI, (fell_to_psi - 2.0) * PSI
    read(unit, NOW - timedelta(days=1), line_pressure_kpa=line, prefilter_outlet_pressure_kpa=inlet,
         inlet_pressure_kpa=inlet)  # fmt: skip
    refresh_findings(company=unit.company, now=NOW)
    assert ("line_pressure_low" in causes(unit)) is is_said


@pytest.mark.parametrize(
    ("feed", "visits", "is_said"), [(400.0, 1, True), (330.0, 1, False), (330.0, 2, True), (295.0, 2, False)]
)
def test_a_supply_that_changed_is_told_from_a_season(unit: Unit, feed: float, visits: int, is_said: bool) -> None:
    """240 mg/L as usual: a quarter more comes with the season, a third is said when two visits saw it."""
    for days in range(2 * visits, 0, -2):
        read(unit, NOW - timedelta(days=days), feed_tds_mg_per_l=feed, permeate_tds_mg_per_l=9.0 * feed / 240.0)
    refresh_findings(company=unit.company, now=NOW)
    assert ("supply_changed" in causes(unit)) is is_said
