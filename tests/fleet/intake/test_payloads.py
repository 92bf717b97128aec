"""Readings and samples as JSON: the same rules as for files, one object a row."""

from datetime import UTC, date, datetime
from typing import Any

import pytest

from accounts.errors import Conflict, InvalidInput
from accounts.models import Membership
from fleet.intake.payloads import take_reading, take_readings, take_sample
from fleet.models import IntakeBatch, Reading, Unit
from tests import factories

pytestmark = pytest.mark.interface

NOW = datetime(2026, 3, 10, 12, tzinfo=UTC)


@pytest.fixture
def unit(owner: Membership) -> Unit:
    site = factories.SiteFactory(company=owner.company, code="SITE-7", time_zone="Europe/Berlin")
    return factories.UnitFactory(site=site, code="RX-7", commissioned_on=date(2025, 1, 10))


def take(unit: Unit, by: Membership, **row: Any) -> tuple[Reading, bool]:
    return take_reading(company=unit.company, by=by, row={"unit": unit.pk, **row}, source="client", now=NOW)


def test_text_and_objects_are_the_same_quantity(unit: Unit, owner: Membership) -> None:
    reading, is_new = take(
        unit, owner, inlet_pressure="3.1 bar", permeate_tds="11 ppm", temperature={"value": 59, "unit": "degF"}
    )
    assert is_new
    assert reading.inlet_pressure_kpa == pytest.approx(310.0)
    assert (reading.permeate_tds_mg_per_l, reading.temperature_degc) == (11.0, 15.0)
    assert reading.as_sent["temperature"] == {"value": "59", "unit": "degF"}
    assert reading.taken_at == NOW
    assert reading.source == "client"


def test_a_unit_goes_by_its_code_too_and_a_bare_number_is_fine_where_there_is_no_dimension(
    unit: Unit, owner: Membership
) -> None:
    reading, _ = take_reading(
        company=unit.company,
        by=owner,
        row={"unit": "rx-7", "feed_ph": 7.4, "minutes_since_start": 6, "tank_is_full": True},
        source="installer",
        now=NOW,
    )
    assert (reading.feed_ph, reading.minutes_since_start, reading.tank_is_full) == (7.4, 6.0, True)


@pytest.mark.parametrize(
    ("field", "value", "sentence"),
    [
        ("inlet_pressure", 60, "'60 psi', '4.1 bar' or '414 kPa'"),
        ("inlet_pressure", "60", "'60 psi', '4.1 bar' or '414 kPa'"),
        ("inlet_pressure", "60 furlong", "not a unit"),
        ("inlet_pressure", {"value": 60}, "'60 psi'"),
        ("inlet_pressure", {"value": True, "unit": "psi"}, "number with a unit"),
        ("inlet_pressure", {"value": [60], "unit": "psi"}, "number with a unit"),
        ("inlet_pressure", {"value": 60, "unit": "psi", "when": 1}, "'value' and 'unit'"),
        ("inlet_pressure", {"value": "6e400", "unit": "psi"}, "finite"),
        ("inlet_pressure", [60, "psi"], "number with a unit"),
        ("inlet_pressure", float("nan"), "not a usable number"),
        ("inlet_pressure", 10**400, "not a usable number"),
        ("permeate_flow", "75 gpm", "US gpm"),
        ("temperature", "59 delta_degF", "difference"),
        ("inlet_presure", "60 psi", "no such field"),
        ("taken_at", 1710000000, "Text is needed"),
        ("taken_at", "2026-03-11T00:00Z", "in the future (it is 2026-03-10 13:00+01:00)"),
        ("state", ["static"], "Text is needed"),
        ("reference", "x" * 81, "at most 80"),
        ("reference", "auto-1", "auto-"),
        ("reference", "#5", "'#'"),
        ("note", "a\x00b", "null"),
        ("corrects", 12345, "no reading"),
    ],
)
def test_nonsense_is_refused_with_a_pointer_to_its_field(
    unit: Unit, owner: Membership, field: str, value: Any, sentence: str
) -> None:
    with pytest.raises(InvalidInput) as refused:
        take(unit, owner, **{"feed_tds": "200 ppm", field: value})
    assert [fault.pointer for fault in refused.value.faults] == [f"/{field}"]
    assert sentence in refused.value.faults[0].sentence
    assert not Reading.objects.exists()


@pytest.mark.parametrize("row", [None, [], "text", 5, {}, {"unit": 99999}, {"unit": "RX-7"}, {"unit": None}])
def test_what_is_no_reading_is_refused(unit: Unit, owner: Membership, row: Any) -> None:
    with pytest.raises(InvalidInput):
        take_reading(company=unit.company, by=owner, row=row, source="meter", now=NOW)


def test_the_same_reference_again_gives_the_stored_reading(unit: Unit, owner: Membership) -> None:
    first, _ = take(unit, owner, reference="m-1", inlet_pressure="3.1 bar")
    # A meter that gives no time and repeats itself a minute later means the same reading.
    second, is_new = take_reading(
        company=unit.company,
        by=owner,
        row={"unit": unit.pk, "reference": "m-1", "inlet_pressure": "3.10 bar"},
        source="meter",
        now=NOW.replace(minute=1),
    )
    assert (second.pk, is_new) == (first.pk, False)
    with pytest.raises(Conflict) as refused:
        take(unit, owner, reference="m-1", inlet_pressure="3.3 bar")
    (fault,) = refused.value.faults
    assert fault.pointer == "/inlet_pressure"
    assert "inlet_pressure 3.1 bar, not 3.3 bar" in fault.sentence


def test_a_reading_is_corrected_by_id(unit: Unit, owner: Membership) -> None:
    wrong, _ = take(unit, owner, taken_at="2026-03-01T10:00:00Z", inlet_pressure="31 psi")
    right, _ = take(unit, owner, inlet_pressure="3.1 bar", corrects=wrong.pk)
    assert right.corrects == wrong
    assert right.taken_at == wrong.taken_at
    assert list(Reading.objects.current()) == [right]


def test_a_list_stores_what_can_be_and_refuses_the_rest_by_place(unit: Unit, owner: Membership) -> None:
    batch = take_readings(
        company=unit.company,
        by=owner,
        rows=[
            {"unit": unit.pk, "taken_at": "2026-03-01T10:00:00Z", "inlet_pressure": "60 psi"},
            {"unit": unit.pk, "taken_at": "2026-03-02T10:00:00Z", "inlet_pressure": "600 psi"},
            {"unit": unit.pk, "taken_at": "2026-03-01T10:00:00Z", "inlet_pressure": "60 psi"},
            "nonsense",
        ],
        source="installer",
        now=NOW,
    )
    assert (batch.rows, batch.stored, batch.duplicates, batch.refused) == (4, 1, 1, 2)
    assert [row.line for row in batch.refused_rows.all()] == [2, 4]


@pytest.mark.parametrize("rows", [{}, "rows", [], [{}] * 10_001])
def test_a_payload_that_is_no_list_of_a_sane_length_is_refused(unit: Unit, owner: Membership, rows: Any) -> None:
    with pytest.raises(InvalidInput):
        take_readings(company=unit.company, by=owner, rows=rows, source="installer", now=NOW)
    assert not IntakeBatch.objects.exists()


def test_a_meter_reaches_its_own_unit_only(unit: Unit, owner: Membership) -> None:
    other = factories.UnitFactory(site=unit.site, code="RX-9")
    owner.meter_unit_id = unit.pk
    take(unit, owner, inlet_pressure="60 psi")
    with pytest.raises(InvalidInput):
        take(other, owner, inlet_pressure="60 psi")


def test_a_feed_water_sample_says_as_what_its_hardness_is_given(unit: Unit, owner: Membership) -> None:
    row = {"site": "SITE-7", "hardness": "10 gpg", "alkalinity": "6 dKH", "ph": 7.6, "tds": "420 uS/cm"}
    sample, _ = take_sample(company=unit.company, by=owner, row=row, now=NOW)
    # 1 grain per US gallon = 64.79891 mg / 3.785411784 L = 17.118 mg/L (NIST SP 811); 1 dH = 10 mg/L CaO = 17.848 mg/L
    # as CaCO3 (molar masses 100.087 and 56.077).
    assert sample.hardness_mg_per_l_as_caco3 == pytest.approx(171.18, abs=0.01)
    assert sample.alkalinity_mg_per_l_as_caco3 == pytest.approx(107.09, abs=0.01)
    assert sample.tds_mg_per_l == pytest.approx(210.0)
    with pytest.raises(InvalidInput) as refused:
        take_sample(company=unit.company, by=owner, row={**row, "hardness": "171 ppm"}, now=NOW)
    assert refused.value.faults[0].pointer == "/hardness"
    assert "as CaCO3" in refused.value.faults[0].sentence
