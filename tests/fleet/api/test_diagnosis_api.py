"""What would a reading say? Asked over the API, of a stored unit or of facts that are given."""

from datetime import UTC, date, datetime, timedelta
from typing import Any

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from rest_framework.test import APIClient

from accounts.models import Company
from fleet.engineering.diagnosis import CONTEXT_KEYS
from fleet.intake.names import public_name
from fleet.models import Finding, Reading, Unit
from fleet.services.findings.diagnosis import OTHER_FACTS, READING_FACTS
from fleet.services.findings.findings import refresh_findings
from tests import factories

PATH = "/api/v1/diagnosis/"
NOW = datetime.now(UTC)


@pytest.fixture
def unit(company: Company) -> Unit:
    """A reef unit read six times while all was well."""
    unit = factories.UnitFactory(company=company, code="REEF-1", commissioned_on=date(2025, 6, 1))
    for stage, role in [("sediment", "single"), ("carbon", "single"), ("membrane", "single"), ("resin", "single")]:
        position = factories.PositionFactory(unit=unit, stage=stage, role=role)
        factories.PlacementFactory(position=position, placed_at=NOW - timedelta(days=80))
    for week in range(6):
        factories.ReadingFactory(
            unit=unit,
            taken_at=NOW - timedelta(days=70 - 7 * week),
            line_pressure_kpa=430.0,
            prefilter_outlet_pressure_kpa=415.0,
            inlet_pressure_kpa=415.0,
            temperature_degc=15.0,
            feed_tds_mg_per_l=240.0,
            permeate_tds_mg_per_l=9.0,
            product_tds_mg_per_l=0.0,
            permeate_flow_l_per_day=180.0,
            concentrate_flow_l_per_day=720.0,
            state="flowing",
            minutes_since_start=20.0,
        )
    return unit


def rules(answer: Any) -> list[str]:
    assert answer.status_code == 200, answer.content
    return [match["rule"] for match in answer.json()["matches"]]


def pointers(answer: Any) -> set[str]:
    assert answer.status_code == 400, answer.content
    return {fault["pointer"] for fault in answer.json()["errors"]}


def test_every_fact_has_one_public_name() -> None:
    assert {*READING_FACTS, *OTHER_FACTS} >= set(CONTEXT_KEYS)
    for names in (READING_FACTS, OTHER_FACTS):
        assert len({public_name(name) for name in names}) == len(names)


def test_worked_by_hand_an_oxidised_membrane(as_installer: APIClient) -> None:
    """Case 1, by hand.

    Baseline at 60 psi, 15 degC, feed 250, permeate 10 mg/L (passage 10/250 = 0.04), 150 L/day with 600 to waste
    (recovery 150/750 = 0.2). Now, at the same pressure and temperature: 158 L/day, permeate 30 mg/L, chlorine 0.3 mg/L
    behind the carbon.

    Osmotic pressure by ASTM D4516, 0.2654 C (T + 273.15)/(1000 - C/1000) kPa. Baseline: mean brine
    250 x ln(1/0.8)/0.2 = 278.93 mg/L gives 21.33, the permeate 0.76; driving pressure 413.69 - 21.33 + 0.76 = 393.12.
    Now: recovery 158/758 = 0.2084, mean brine 280.32 mg/L gives 21.44, the permeate 2.29: 394.54 kPa. The flow at the
    baseline condition is 158 x 393.12/394.54 = 157.4, a ratio of 1.05; the passage is
    0.12 x (394.54/393.12) x (278.93/280.32) = 0.1198, a
    ratio of 3.0. Flow kept, passage three times, chlorine through: the membrane is oxidised, because the carbon is
    exhausted (D05), and the carbon itself is reported (D44).
    """
    answer = as_installer.post(
        f"{PATH}?units=metric",
        {
            "reading": {
                "inlet_pressure": "60 psi",
                "temperature": "15 degC",
                "feed_tds": "250 ppm",
                "permeate_tds": "30 ppm",
                "permeate_flow": "158 L/day",
                "concentrate_flow": "600 L/day",
                "carbon_outlet_total_chlorine": "0.3 mg/L",
                "carbon_outlet_free_chlorine": "0.3 mg/L",
                "state": "flowing",
                "minutes_since_start": "20 min",
            },
            "facts": {
                "baseline_inlet_pressure": "60 psi",
                "baseline_temperature": "59 degF",
                "baseline_feed_tds": "500 uS/cm",
                "baseline_permeate_tds": "10 ppm",
                "baseline_permeate_flow": "150 L/day",
                "baseline_concentrate_flow": "600 L/day",
                "membrane_material": "polyamide",
            },
        },
    )
    assert "D05" in rules(answer)
    body = answer.json()
    d05 = next(match for match in body["matches"] if match["rule"] == "D05")
    assert d05["causes"][0] == "membrane_oxidised_carbon_exhausted"
    assert 0.5 < d05["confidence"] <= 1.0
    assert body["indicators"]["normalised_flow_ratio"]["value"] == pytest.approx(157.4 / 150.0, abs=0.002)
    assert body["indicators"]["normalised_salt_passage_ratio"]["value"] == pytest.approx(3.0, abs=0.01)
    assert body["indicators"]["net_driving_pressure"]["value"] == pytest.approx(3.9454, abs=0.0005)  # bar
    assert body["facts"]["baseline_feed_tds"] == {"value": 250.0, "unit": "mg/L"}
    for words in ("confirming_check", "action", "caution", "installer_sentence", "client_sentence", "limit_source"):
        assert d05[words]


def test_worked_by_hand_a_clogged_prefilter(as_installer: APIClient) -> None:
    """Case 2, by hand: 62 psi in the line, 40 after the prefilters: a differential of 22 psi, where clean ones take 3.

    The rule speaks from 3 + 10 = 13 psi on (common practice, no source). Nothing else is wrong with 62 psi in the line.
    """
    answer = as_installer.post(
        f"{PATH}?units=us",
        {
            "reading": {
                "line_pressure": "62 psi",
                "prefilter_outlet_pressure": "40 psi",
                "inlet_pressure": "40 psi",
                "state": "flowing",
            },
            "facts": {"clean_prefilter_differential_pressure": "3 psi", "has_booster_pump": False},
        },
    )
    assert "D01" in rules(answer)
    numbers = next(match for match in answer.json()["matches"] if match["rule"] == "D01")["numbers"]
    assert numbers["prefilter_differential_pressure"] == {"value": pytest.approx(22.0, abs=1e-3), "unit": "psi"}
    assert numbers["clean_differential_pressure"]["value"] == pytest.approx(3.0, abs=1e-3)
    assert "D02" not in rules(answer)


def test_worked_by_hand_a_blocked_restrictor(as_installer: APIClient) -> None:
    """Case 3, by hand: set up for 4 to waste for 1 made (recovery 1/5 = 20 %); now 120 to waste for 160 made.

    Waste ratio 120/160 = 0.75, against 4: 0.19 of what it was; recovery 160/280 = 57 %. The drain gives
    120/640 = 0.19 of its flow, and the inlet has risen to 70 psi: the restrictor is blocked (D25).
    """
    answer = as_installer.post(
        PATH,
        {
            "reading": {"permeate_flow": "160 L/day", "concentrate_flow": "120 L/day", "inlet_pressure": "70 psi"},
            "facts": {
                "design_recovery_fraction": "20 %",
                "baseline_inlet_pressure": "60 psi",
                "baseline_concentrate_flow": "640 L/day",
                "baseline_permeate_flow": "160 L/day",
                "baseline_waste_ratio": 4.0,
            },
        },
    )
    assert "D25" in rules(answer)
    assert answer.json()["indicators"]["recovery_fraction"]["value"] == pytest.approx(160 / 280)
    assert answer.json()["indicators"]["waste_ratio"]["value"] == pytest.approx(0.75)


@pytest.mark.parametrize("by", ["id", "code", "lower"])
def test_a_stored_unit_stands_behind_the_reading(as_installer: APIClient, unit: Unit, by: str) -> None:
    unit_name = {"id": unit.pk, "code": unit.code, "lower": unit.code.lower()}[by]
    reading = {"feed_tds": "240 ppm", "permeate_tds": "9 ppm", "product_tds": "9 ppm"}
    body = as_installer.post(PATH, {"unit": unit_name, "reading": reading}).json()
    assert body["unit"] == unit.pk
    assert "D12" in [match["rule"] for match in body["matches"]]
    assert body["facts"]["has_resin"] == {"value": True, "unit": ""}
    assert body["facts"]["baseline_permeate_tds"]["value"] == 9.0


def test_the_unit_gives_the_baseline_and_what_is_told_wins(as_installer: APIClient, unit: Unit) -> None:
    reading = {"line_pressure": "4.3 bar", "prefilter_outlet_pressure": "3.2 bar", "inlet_pressure": "3.2 bar"}
    first = as_installer.post(PATH, {"unit": unit.code, "reading": reading})
    assert "D01" in rules(first)
    # The unit's own clean differential is 15 kPa; told that clean ones take 1 bar here, 1.1 is nothing.
    with_facts = as_installer.post(
        PATH, {"unit": unit.code, "reading": reading, "facts": {"clean_prefilter_differential_pressure": "1 bar"}}
    )
    assert "D01" not in rules(with_facts)


def test_nothing_is_stored(as_installer: APIClient, unit: Unit) -> None:
    before = Reading.objects.count(), Finding.objects.count()
    with CaptureQueriesContext(connection) as captured:
        as_installer.post(PATH, {"unit": unit.pk, "reading": {"feed_tds": "240 ppm", "permeate_tds": "300 ppm"}})
    assert (Reading.objects.count(), Finding.objects.count()) == before
    writes = [query["sql"] for query in captured if query["sql"].split()[0] in ("INSERT", "UPDATE", "DELETE")]
    assert [sql for sql in writes if "fleet_" in sql] == []


def test_nonsense_is_refused_by_field(as_installer: APIClient, company: Company) -> None:
    body = {
        "unit": "NO-SUCH-UNIT",
        "reading": {
            "permeate_flow": "-5 L/day",
            "temperature": "90 degC",
            "feed_tds": "250 furlongs",
            "inlet_pressure": 60,
            "state": "sideways",
            "colour": "blue",
        },
        "facts": {"baseline_waste_ratio": "nan", "design_recovery_fraction": "130 %", "membrane_age_days": -1},
    }
    assert pointers(as_installer.post(PATH, body)) == {
        "/unit",
        "/reading/permeate_flow",
        "/reading/temperature",
        "/reading/feed_tds",
        "/reading/inlet_pressure",
        "/reading/state",
        "/reading/colour",
        "/facts/baseline_waste_ratio",
        "/facts/design_recovery_fraction",
        "/facts/membrane_age_days",
    }
    assert pointers(as_installer.post(PATH, {})) == {"/reading"}


def test_a_feed_of_nothing_is_flagged_and_gives_no_wrong_number(as_installer: APIClient, company: Company) -> None:
    body = as_installer.post(PATH, {"reading": {"feed_tds": "0 mg/L", "permeate_tds": "0 mg/L"}}).json()
    assert [doubt["field"] for doubt in body["doubts"]] == ["feed_tds"]
    assert "rejection_fraction" not in body["indicators"]
    assert "nothing to compare with" in body["reasons"]["rejection_fraction"]


def test_baselines_that_contradict_each_other_are_refused(as_installer: APIClient, company: Company) -> None:
    facts = {
        "baseline_inlet_pressure": "60 psi",
        "baseline_temperature": "15 degC",
        "baseline_feed_tds": "10 ppm",
        "baseline_permeate_tds": "250 ppm",
    }
    answer = as_installer.post(PATH, {"reading": {"feed_tds": "250 ppm"}, "facts": facts})
    assert pointers(answer) == {"/facts/baseline_permeate_tds"}


def test_another_companys_unit_is_not_found(as_rival: APIClient, unit: Unit) -> None:
    for unit_name in (unit.pk, unit.code):
        assert pointers(as_rival.post(PATH, {"unit": unit_name, "reading": {"feed_tds": "9 ppm"}})) == {"/unit"}


def test_the_findings_of_a_unit_stand_at_its_address(
    as_client: APIClient, as_owner: APIClient, as_other_client: APIClient, unit: Unit, first_client: Any
) -> None:
    unit.site.client = first_client
    unit.site.save()
    factories.ReadingFactory(
        unit=unit, taken_at=NOW - timedelta(days=1), permeate_tds_mg_per_l=9.0, product_tds_mg_per_l=9.0
    )
    refresh_findings(company=unit.company, now=NOW)
    path = f"/api/v1/units/{unit.pk}/findings/"
    for api in (as_owner, as_client):
        body = api.get(path).json()
        assert body["unit"] == unit.pk
        assert body["read_at"] is not None
        assert [finding["cause"] for finding in body["findings"]] == ["di_both_exhausted"]
        assert body["findings"][0]["client_sentence"]
    assert as_other_client.get(path).status_code == 404


def test_asked_at_a_unit_whose_lag_is_exhausted_it_says_what_the_finding_says(
    as_installer: APIClient, company: Company
) -> None:
    unit = factories.UnitFactory(company=company, commissioned_on=date(2025, 6, 1))
    for role in ("lead", "lag"):
        place = factories.PlacementFactory(
            position=factories.PositionFactory(unit=unit, stage="resin", role=role), placed_at=NOW - timedelta(days=80)
        )
    factories.ForecastFactory(position=place.position, placement=place, state="exhausted", is_latest=True)
    quantities = {"permeate_tds": 9.0, "interstage_tds": 9.0, "product_tds": 0.0}
    answer = as_installer.post(
        PATH, {"unit": unit.pk, "reading": {name: f"{value} ppm" for name, value in quantities.items()}}
    )
    answered = next(match for match in answer.json()["matches"] if match["rule"] == "D11")
    factories.ReadingFactory(
        unit=unit,
        taken_at=NOW - timedelta(days=1),
        **{f"{name}_mg_per_l": value for name, value in quantities.items()},
    )
    refresh_findings(company=company, now=NOW)
    finding = Finding.objects.get(unit=unit, rule="D11")
    for name in ("installer_sentence", "client_sentence", "action"):
        assert answered[name] == getattr(finding, name)
    assert "both" in finding.action
