"""Additions to a confirmed visit over the API: proposed by the night, decided on by the office."""

from rest_framework.test import APIClient

from accounts.models import Client
from scheduling.models import Installer, Message, Visit
from tests.scheduling.night import run_night
from tests.scheduling.town import Town


def _confirmed(as_office: APIClient, town: Town, client: Client) -> str:
    unit = town.unit(town.site(client=client))
    town.finding(unit, "shutoff_valve_fault")
    run_night(town)
    address = f"/api/v1/visits/{Visit.objects.get().pk}/"
    answer = as_office.post(f"{address}confirm/", {"appointment_at": "2026-03-03T10:00:00+01:00"})
    assert (answer.status_code, answer.json()["additions"]) == (200, [])
    town.forecast(town.position(unit, "carbon"), 0)
    town.forecast(town.position(town.unit(unit.site), "sediment"), 0)
    assert as_office.post("/api/v1/visits/propose/").status_code == 200
    return address


def test_additions_are_read_by_staff_and_decided_on_by_the_office(
    as_office: APIClient,
    as_installer: APIClient,
    as_client: APIClient,
    as_rival: APIClient,
    town: Town,
    first_client: Client,
    ada: Installer,
) -> None:
    address = _confirmed(as_office, town, first_client)
    read = as_installer.get(address).json()
    assert (read["minutes"], read["confirmed_minutes"]) == (55, 60)
    assert [task["label"] for task in read["tasks"]] == ["automatic shut-off valve"]
    additions = {row["label"]: row for row in read["additions"]}
    assert set(additions) == {"carbon", "sediment filter"}
    assert {label: row["is_other_unit"] for label, row in additions.items()} == {
        "carbon": False,
        "sediment filter": True,
    }
    assert additions["carbon"]["minutes"] == 12
    assert additions["carbon"]["parts"] == [{"item": town.item("carbon").pk, "quantity": 1}]
    assert "EUR" in additions["carbon"]["reason"]
    by_client = as_client.get(address).json()
    assert "additions" not in by_client
    assert by_client["confirmed_minutes"] == 60

    for api, status in ((as_installer, 403), (as_client, 403), (as_rival, 404)):
        for move in ("accept-additions", "decline-additions"):
            assert api.post(f"{address}{move}/").status_code == status
    declined = as_office.post(
        f"{address}decline-additions/", {"needs": [additions["sediment filter"]["need"]]}, format="json"
    )
    assert [row["label"] for row in declined.json()["additions"]] == ["carbon"]
    accepted = as_office.post(f"{address}accept-additions/", {}, format="json")
    assert accepted.status_code == 200, accepted.content
    assert (accepted.json()["minutes"], accepted.json()["confirmed_minutes"]) == (67, 75)
    assert [task["label"] for task in accepted.json()["tasks"]] == ["automatic shut-off valve", "carbon"]
    assert accepted.json()["additions"] == []
    assert Message.objects.filter(kind="extended", client=first_client).count() == 1


def test_bad_decisions_are_refused_by_field(
    as_office: APIClient, town: Town, first_client: Client, ada: Installer
) -> None:
    address = _confirmed(as_office, town, first_client)
    task = as_office.get(address).json()["tasks"][0]["need"]
    for body, pointer in (
        ({"needs": [task]}, "/needs/0"),
        ({"needs": []}, "/needs"),
        ({"needs": [987654]}, "/needs"),
        ({"needs": "all"}, "/needs"),
        ({"need": task}, "/need"),
    ):
        for move in ("accept-additions", "decline-additions"):
            refused = as_office.post(f"{address}{move}/", body, format="json")
            assert refused.status_code == 400, refused.content
            assert pointer in [fault["pointer"] for fault in refused.json()["errors"]]
    assert len(as_office.get(address).json()["additions"]) == 2
