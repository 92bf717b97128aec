"""What a person saw opens a finding, and the next one who looks and sees nothing of it closes it."""

from datetime import UTC, date, datetime, timedelta
from typing import Any

import pytest

from accounts.models import Company
from fleet.models import Finding, Reading, Unit
from fleet.services.findings.findings import refresh_findings
from tests import factories

NOW = datetime(2026, 3, 10, 12, tzinfo=UTC)


@pytest.fixture
def unit(company: Company) -> Unit:
    return factories.UnitFactory(
        company=company,
        commissioned_on=date(2025, 1, 10),
        tank=Unit.Tank.OPEN,
        has_float_valve=True,
        has_automatic_shutoff_valve=True,
    )


def look(unit: Unit, days_ago: float, observations: dict[str, bool], **values: Any) -> Reading:
    at = NOW - timedelta(days=days_ago)
    fields = dict.fromkeys(Reading.QUANTITIES) | {"state": "", **values}
    return factories.ReadingFactory(unit=unit, taken_at=at, observations=observations, **fields)


def causes(unit: Unit) -> set[str]:
    refresh_findings(company=unit.company, now=NOW)
    return set(Finding.objects.filter(unit=unit, state="open").values_list("cause", flat=True)) - {
        "no_reading_for_weeks"
    }


@pytest.mark.parametrize(
    ("observations", "cause"),
    [
        ({"water_on_floor": True}, "water_leak"),
        ({"concentrate_never_stops": True}, "shutoff_valve_fault"),
        ({"concentrate_never_stops": True, "tank_is_full": True}, "shutoff_valve_fault"),
        ({"container_overflows": True}, "float_valve_does_not_close"),
        ({"unusual_noise": True}, "noise_not_explained"),
        ({"taste_or_odour": True}, "tank_biofilm"),
        ({"smell_or_slime": True}, "growth_in_unit"),
        ({"slow_filling": True}, "slow_filling_not_explained"),
        ({"no_water": True}, "no_water_not_explained"),
        ({"is_switched_off": True}, "switched_off_by_people"),
        ({"pump_cycles_rapidly": True}, "permeate_side_leak"),
        ({"pump_never_stops": True}, "pressure_switch_set_wrong"),
    ],
    ids=str,
)
def test_each_observation_alone_opens_its_finding_and_its_denial_closes_it(
    unit: Unit, observations: dict[str, bool], cause: str
) -> None:
    values = {name: observations.pop(name) for name in ("tank_is_full",) if name in observations}
    reading = look(unit, 5, dict(observations), **values)
    assert causes(unit) == {cause}
    finding = Finding.objects.get(unit=unit, cause=cause)
    assert (finding.reading, finding.last_seen_at) == (reading, reading.taken_at)
    look(unit, 3, {}, feed_tds_mg_per_l=210.0)
    assert causes(unit) == {cause}, "a reading that says nothing of it leaves it open"
    look(unit, 2, dict.fromkeys(observations, False))
    assert causes(unit) == set()
    finding.refresh_from_db()
    assert finding.state == "closed"


@pytest.mark.parametrize(("observations", "first"), [
    ({"water_on_floor": True}, "water_leak"),
    ({"no_water": True}, "no_water_not_explained"),
    ({}, "no_reading_for_weeks"),
])  # fmt: skip
def test_what_somebody_saw_stands_before_that_nobody_reads_the_unit(
    unit: Unit, observations: dict[str, bool], first: str
) -> None:
    if observations:
        look(unit, 5, observations)
    causes(unit)
    live = Finding.objects.filter(unit=unit, state="open").order_by("-confidence", "pk")
    assert [finding.cause for finding in live] == [first, *["no_reading_for_weeks"] * bool(observations)]


def test_a_drain_that_runs_at_a_full_open_container_needs_no_gauge(unit: Unit) -> None:
    look(unit, 5, {}, tank_is_full=True, concentrate_flow_l_per_day=300.0, permeate_flow_l_per_day=0.0)
    assert causes(unit) == {"shutoff_valve_fault"}
    look(unit, 4, {}, tank_is_full=False, concentrate_flow_l_per_day=300.0, permeate_flow_l_per_day=90.0)
    assert causes(unit) == {"shutoff_valve_fault"}, "while it fills the drain is right to run"
    look(unit, 3, {}, tank_is_full=True, concentrate_flow_l_per_day=0.0, permeate_flow_l_per_day=0.0)
    assert causes(unit) == set()


def test_a_unit_recorded_without_a_shut_off_valve_is_told_so(unit: Unit) -> None:
    unit.has_automatic_shutoff_valve = False
    unit.save()
    look(unit, 5, {"concentrate_never_stops": True})
    assert causes(unit) == {"shutoff_valve_not_fitted"}


def test_a_trickle_speaks_of_the_air_of_a_pressurised_tank_only(unit: Unit) -> None:
    look(unit, 5, {"tap_soon_trickles": True})
    assert causes(unit) == {"slow_filling_not_explained"}
    unit.tank, unit.tank_precharge_kpa = Unit.Tank.PRESSURISED, 50.0
    unit.save()
    assert causes(unit) == {"tank_precharge_wrong"}


def test_what_a_client_sees_is_no_reading_of_the_gauges(unit: Unit) -> None:
    look(unit, 100, {}, feed_tds_mg_per_l=210.0)
    look(unit, 2, {"unusual_noise": False})
    refresh_findings(company=unit.company, now=NOW)
    assert Finding.objects.filter(unit=unit, cause="no_reading_for_weeks", state="open").exists()


@pytest.mark.parametrize(
    ("seen", "cause", "stays"),
    [
        ({"water_on_floor": True}, "water_leak", True),
        ({"concentrate_never_stops": True}, "shutoff_valve_fault", True),
        # Nothing has to be mended for these: the client is asked, or it was told.
        ({"slow_filling": True}, "slow_filling_not_explained", False),
        ({"is_switched_off": True}, "switched_off_by_people", False),
    ],
)
def test_what_has_to_be_mended_stays_until_somebody_mends_it(
    unit: Unit, seen: dict[str, bool], cause: str, stays: bool
) -> None:
    look(unit, 300, seen)
    for days in (250, 190, 130, 70, 10):
        look(unit, days, {}, feed_tds_mg_per_l=210.0)
    assert causes(unit) == ({cause} if stays else set())
    look(unit, 200, dict.fromkeys(seen, False))
    assert causes(unit) == set()
