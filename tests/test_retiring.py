"""What something refers to is retired and stays readable; what nothing refers to can be deleted."""

from typing import Any

import pytest
from rest_framework.test import APIClient

from accounts.models import AuditEntry, Company, Membership
from fleet.models import Forecast, Reading, Unit
from scheduling.models import Need
from tests import factories

REASON = {"reason": "the shop has closed"}

MADE: dict[str, Any] = {
    "clients": lambda company: factories.ClientFactory(company=company),
    "sites": lambda company: factories.SiteFactory(company=company),
    "units": lambda company: factories.UnitFactory(company=company),
    "instruments": lambda company: factories.InstrumentFactory(company=company),
    "catalogue-items": lambda company: factories.CatalogueItemFactory(company=company),
    "installers": lambda company: factories.InstallerFactory(company=company),
}

REFERRING: dict[str, Any] = {
    "clients": lambda row: factories.MessageFactory(company=row.company, client=row, audience="client"),
    "sites": lambda row: factories.FeedWaterSampleFactory(site=row),
    "units": lambda row: factories.ReadingFactory(unit=row),
    "instruments": lambda row: factories.ReadingFactory(unit__company=row.company, instrument=row),
    "catalogue-items": lambda row: factories.PartsRuleFactory(company=row.company, item=row),
    "installers": lambda row: factories.AbsenceFactory(company=row.company, installer=row),
}


def ids(api: APIClient, kind: str, **filters: str) -> list[int]:
    answer = api.get(f"/api/v1/{kind}/", filters)
    assert answer.status_code == 200, answer.content
    return [row["id"] for row in answer.json()["results"]]


@pytest.mark.parametrize("kind", MADE)
def test_it_is_retired_left_out_of_lists_and_taken_back(
    kind: str, company: Company, as_office: APIClient, office: Membership
) -> None:
    row = MADE[kind](company)
    address = f"/api/v1/{kind}/{row.pk}/"
    retired = as_office.post(f"{address}retire/", REASON, format="json")
    assert retired.status_code == 200, retired.content
    body = retired.json()
    assert (body["retired_by"], body["retired_reason"]) == (office.pk, REASON["reason"])
    assert body["retired_at"]
    assert ids(as_office, kind) == []
    assert ids(as_office, kind, retired="only") == ids(as_office, kind, retired="also") == [row.pk]
    assert as_office.get(address).status_code == 200
    assert as_office.post(f"{address}retire/", REASON, format="json").json()["code"] == "retired_already"
    back = as_office.post(f"{address}unretire/")
    assert back.status_code == 200
    assert (back.json()["retired_at"], back.json()["retired_by"], back.json()["retired_reason"]) == (None, None, "")
    assert ids(as_office, kind) == [row.pk]
    assert ids(as_office, kind, retired="only") == []
    assert as_office.post(f"{address}unretire/").json()["code"] == "not_retired"
    actions = AuditEntry.objects.order_by("pk").values_list("action", flat=True)
    assert [action.split()[0] for action in actions][-2:] == ["retire", "unretire"]


@pytest.mark.parametrize("kind", MADE)
def test_what_something_refers_to_is_not_deleted_and_the_answer_says_what_to_do(
    kind: str, company: Company, as_office: APIClient
) -> None:
    row = MADE[kind](company)
    referring = REFERRING[kind](row)
    answer = as_office.delete(f"/api/v1/{kind}/{row.pk}/")
    assert answer.status_code == 409
    assert "retire/" in answer.json()["detail"]
    assert type(row).objects.filter(pk=row.pk).exists()
    assert type(referring).objects.filter(pk=referring.pk).exists()
    if kind != "units":
        assert str(referring.pk) in [each["id"] for each in answer.json()["dependants"]]


@pytest.mark.parametrize("kind", MADE)
def test_what_nothing_refers_to_is_deleted(kind: str, company: Company, as_office: APIClient) -> None:
    row = MADE[kind](company)
    assert as_office.delete(f"/api/v1/{kind}/{row.pk}/").status_code == 204
    assert not type(row).objects.filter(pk=row.pk).exists()


@pytest.mark.parametrize("removal", ["", "routine"])
def test_a_unit_in_which_a_cartridge_was_fitted_is_kept(company: Company, as_office: APIClient, removal: str) -> None:
    unit = factories.UnitFactory(company=company)
    placement = factories.PlacementFactory(position__unit=unit)
    if removal:
        type(placement).objects.filter(pk=placement.pk).update(removed_at=placement.placed_at, removal=removal)
    answer = as_office.delete(f"/api/v1/units/{unit.pk}/")
    assert answer.status_code == 409
    assert answer.json()["code"] == "unit_has_history"


def test_what_is_on_a_visit_people_know_of_keeps_its_unit(company: Company, as_office: APIClient) -> None:
    task = factories.VisitTaskFactory(visit__company=company, visit__state="done")
    unit = Need.objects.get(pk=task.need_id).unit
    assert as_office.delete(f"/api/v1/units/{unit.pk}/").status_code == 409
    assert Unit.objects.filter(pk=unit.pk).exists()


def test_what_belongs_to_it_is_retired_first_and_comes_back_last(company: Company, as_office: APIClient) -> None:
    unit = factories.UnitFactory(company=company, code="S01-1", site__code="S01")
    site, client = f"/api/v1/sites/{unit.site_id}/", f"/api/v1/clients/{unit.site.client_id}/"
    refused = as_office.post(f"{client}retire/", REASON, format="json")
    assert (refused.status_code, refused.json()["code"]) == (409, "still_in_use")
    assert "S01" in refused.json()["detail"]
    assert as_office.post(f"{site}retire/", REASON, format="json").status_code == 409
    for address in (f"/api/v1/units/{unit.pk}/", site, client):
        assert as_office.post(f"{address}retire/", REASON, format="json").status_code == 200
    for address in (f"/api/v1/units/{unit.pk}/", site):
        assert as_office.post(f"{address}unretire/").json()["code"] == "is_retired"
    for address in (client, site, f"/api/v1/units/{unit.pk}/"):
        assert as_office.post(f"{address}unretire/").status_code == 200


def test_nothing_new_is_put_where_nothing_is_in_use(company: Company, as_office: APIClient) -> None:
    client = factories.ClientFactory(company=company)
    assert as_office.post(f"/api/v1/clients/{client.pk}/retire/", REASON, format="json").status_code == 200
    site = {"client": client.pk, "code": "S09", "name": "bar", "time_zone": "UTC"}
    refused = as_office.post("/api/v1/sites/", site, format="json")
    assert refused.status_code == 409
    assert refused.json()["code"] == "is_retired"


def test_a_retired_unit_is_in_no_forecast_and_no_need(
    company: Company, as_office: APIClient, django_capture_on_commit_callbacks: Any
) -> None:
    unit = factories.UnitFactory(company=company)
    factories.ForecastFactory(position__unit=unit)
    factories.NeedFactory(unit=unit, company=company, state="open")
    reading = factories.ReadingFactory(unit=unit)
    with django_capture_on_commit_callbacks(execute=True):
        answer = as_office.post(f"/api/v1/units/{unit.pk}/retire/", REASON, format="json")
    assert answer.json()["retired_on"] is not None
    assert Reading.objects.filter(pk=reading.pk).exists()
    assert not Need.objects.filter(unit=unit, state="open").exists()
    assert ids(as_office, "readings-wanted") == []
    assert Forecast.objects.filter(position__unit=unit).exists()


def test_a_retired_item_and_installer_are_not_chosen_any_more(company: Company, as_office: APIClient) -> None:
    for kind in ("catalogue-items", "installers"):
        row = MADE[kind](company)
        assert as_office.post(f"/api/v1/{kind}/{row.pk}/retire/", REASON, format="json").json()["is_active"] is False
        assert as_office.post(f"/api/v1/{kind}/{row.pk}/unretire/").json()["is_active"] is True


def test_a_unit_in_use_again_has_no_day_of_retirement(company: Company, as_office: APIClient) -> None:
    unit = factories.UnitFactory(company=company)
    address = f"/api/v1/units/{unit.pk}/"
    assert as_office.patch(address, {"retired_on": "2026-03-01"}, format="json").json()["retired_at"] is not None
    assert ids(as_office, "units") == []
    assert as_office.patch(address, {"retired_on": None}, format="json").json()["retired_at"] is None
    assert ids(as_office, "units") == [unit.pk]


def test_a_word_that_the_list_does_not_know_is_a_fault(as_office: APIClient, company: Company) -> None:
    answer = as_office.get("/api/v1/units/", {"retired": "maybe"})
    assert answer.status_code == 400
    assert answer.json()["errors"][0]["parameter"] == "retired"


def test_a_reason_is_needed(company: Company, as_office: APIClient) -> None:
    unit = factories.UnitFactory(company=company)
    answer = as_office.post(f"/api/v1/units/{unit.pk}/retire/", {}, format="json")
    assert answer.json()["errors"][0]["pointer"] == "/reason"
