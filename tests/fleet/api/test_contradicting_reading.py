"""A reading that contradicts the forecast moves it at once, and the API says why; a slip does not."""

from datetime import UTC, date, datetime, timedelta
from itertools import pairwise
from typing import Any

import pytest
from rest_framework.test import APIClient

from accounts.dates import calendar_day
from accounts.language import speak
from accounts.models import Company
from fleet.models import Forecast, Unit
from fleet.services.forecasts.changes import sentence_of_change
from fleet.services.forecasts.forecasts import forecast_company, refresh_forecasts
from fleet.services.forecasts.groups import first_to_fail_of_unit
from fleet.services.status import status_of
from tests import factories
from tests.pseudo_language import PSEUDO, english_in

NOW = datetime(2026, 3, 10, 12, tzinfo=UTC)


@pytest.fixture
def unit(company: Company) -> Unit:
    """A reef unit with a young resin that is read every week and has shown nothing yet."""
    unit = factories.UnitFactory(company=company, commissioned_on=date(2025, 6, 1), weekly_demand_l=40.0)
    for stage in ("sediment", "carbon", "membrane", "resin"):
        place = factories.PositionFactory(unit=unit, stage=stage)
        factories.PlacementFactory(position=place, placed_at=datetime(2026, 1, 2, tzinfo=UTC))
    for week in range(1, 9):
        read(unit, datetime(2026, 1, 2, 9, tzinfo=UTC) + timedelta(days=7 * week), 0.0)
    return unit


def read(unit: Unit, at: datetime, product: float) -> Any:
    return factories.ReadingFactory(
        unit=unit, taken_at=at, permeate_tds_mg_per_l=9.0, product_tds_mg_per_l=product, temperature_degc=15.0
    )


def change(api: APIClient, unit: Unit) -> dict[str, Any]:
    row = Forecast.objects.get(position__unit=unit, position__stage="resin", is_latest=True)
    change_body: dict[str, Any] = api.get(f"/api/v1/forecasts/{row.pk}/change/").json()
    return change_body


def test_readings_that_prove_exhaustion_move_the_date_to_now(unit: Unit, as_installer: APIClient) -> None:
    forecast_company(company=unit.company, now=NOW)
    first = change(as_installer, unit)
    assert (first["before"], first["sentence"]) == (None, "This is the first forecast of the position.")
    assert first["after"]["state"] == "installed"
    for hours in (6, 12):
        proof = read(unit, NOW + timedelta(hours=hours), 7.0)
    refresh_forecasts(company=unit.company, now=NOW + timedelta(days=1))
    moved = change(as_installer, unit)
    assert moved["before"]["id"] == first["after"]["id"]
    assert (moved["before"]["state"], moved["after"]["state"]) == ("installed", "exhausted")
    assert moved["after"]["evidence"]["exhausted_because"]["reading"] == proof.pk
    expected = date.fromisoformat(first["after"]["p50"])
    assert moved["sentence"] == (
        f"It was expected to last until around {calendar_day(expected)} and is now exhausted. The reading of "
        "11 Mar 2026 shows product TDS of 7 mg/L, past the limit of 2 mg/L."
    )
    read(unit, NOW + timedelta(days=1, hours=6), 8.0)
    refresh_forecasts(company=unit.company, now=NOW + timedelta(days=2))
    again = change(as_installer, unit)["sentence"]
    # What is settled is not called doubtful once more.
    assert again.startswith("It counted as exhausted already (")
    assert "may be" not in again


def test_one_reading_against_all_others_tells_how_far_it_is_believed(unit: Unit, as_installer: APIClient) -> None:
    forecast_company(company=unit.company, now=NOW)
    before = change(as_installer, unit)["after"]
    read(unit, NOW + timedelta(hours=6), 7.0)
    refresh_forecasts(company=unit.company, now=NOW + timedelta(days=1))
    change_body = change(as_installer, unit)
    assert change_body["after"]["p05"] < before["p05"]
    is_told_as_likely = "It may be exhausted already: the probability is" in change_body["sentence"]
    assert is_told_as_likely or change_body["after"]["state"] == "exhausted"


def test_an_impossible_value_moves_nothing_and_is_told(unit: Unit, as_installer: APIClient) -> None:
    forecast_company(company=unit.company, now=NOW)
    before = change(as_installer, unit)["after"]
    slip = read(unit, NOW + timedelta(hours=6), 70_000.0)
    refresh_forecasts(company=unit.company, now=NOW + timedelta(days=1))
    change_body = change(as_installer, unit)
    days = (date.fromisoformat(change_body["after"]["p50"]) - date.fromisoformat(before["p50"])).days
    assert abs(days) <= 7
    assert "The date stays around" in change_body["sentence"]
    assert "left out as not usable" in change_body["sentence"]
    assert slip.pk in [entry["reading"] for entry in change_body["after"]["evidence"]["left_out"]]


@pytest.mark.parametrize("zone", ["Pacific/Auckland", "America/Los_Angeles"])
def test_sentences_tell_the_days_of_the_company(unit: Unit, as_installer: APIClient, zone: str) -> None:
    unit.company.time_zone = zone
    unit.company.save()
    # A day in Auckland that has not begun by UTC, and one in Los Angeles that is over by it.
    looked = datetime(2026, 3, 10, 14 if zone.startswith("Pacific") else 3, tzinfo=UTC)
    for minutes in (0, 30):
        read(unit, looked + timedelta(minutes=minutes), 7.0)
    forecast_company(company=unit.company, now=looked + timedelta(hours=2))
    for row in Forecast.objects.filter(position__unit=unit, is_latest=True).exclude(position__stage="resin"):
        assert calendar_day(row.p50) in row.installer_sentence
        assert calendar_day(row.p50) in row.client_sentence
    day = "11 Mar 2026" if zone.startswith("Pacific") else "9 Mar 2026"
    exhausted = Forecast.objects.get(position__unit=unit, position__stage="resin", is_latest=True)
    assert f"because the reading of {day} shows" in exhausted.installer_sentence


def test_forecasts_their_changes_and_the_status_are_wholly_in_the_language_that_is_spoken(unit: Unit) -> None:
    resin = Forecast.objects.filter(position__unit=unit, position__stage="resin").order_by("pk")
    with speak(PSEUDO):
        forecast_company(company=unit.company, now=NOW)
        statuses = [status_of(unit=unit, now=NOW)]
        for hours in (6, 12):
            read(unit, NOW + timedelta(hours=hours), 7.0)
            refresh_forecasts(company=unit.company, now=NOW + timedelta(hours=hours + 1))
            statuses.append(status_of(unit=unit, now=NOW + timedelta(hours=hours + 1)))
        first = first_to_fail_of_unit(unit=unit)
        rows = list(resin)
        texts = [sentence_of_change(before=a, after=b) for a, b in pairwise(rows)]
    assert {row.state for row in rows} == {"installed", "exhausted"}
    assert {status.water for status in statuses} == {"good", "not_good"}
    texts += [text for row in rows for text in (row.installer_sentence, row.client_sentence)]
    texts += [first.installer_sentence, first.client_sentence]
    texts += [text for status in statuses for text in (status.sentence, *status.cautions)]
    assert not [text for text in texts if english_in(text, "mg/L", unit.code)]
