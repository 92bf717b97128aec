"""Offering, taking up and making a visit over the API."""

from rest_framework.test import APIClient

from accounts.models import Client
from scheduling.models import Installer, Visit
from tests.scheduling.night import run_night
from tests.scheduling.town import Town

WINDOWS = [
    {"opens_at": "2026-03-03T10:00:00+01:00", "closes_at": "2026-03-03T12:00:00+01:00"},
    {"opens_at": "2026-03-04T10:00:00+01:00", "closes_at": "2026-03-04T12:00:00+01:00"},
]


def test_a_visit_from_offer_to_obstacle(
    as_office: APIClient,
    as_client: APIClient,
    as_other_client: APIClient,
    as_installer: APIClient,
    town: Town,
    first_client: Client,
    ada: Installer,
) -> None:
    town.forecast(town.position(town.unit(town.site(client=first_client)), "carbon"), 0)
    run_night(town)
    address = f"/api/v1/visits/{Visit.objects.get().pk}/"
    offered = as_office.post(f"{address}offer/", {"windows": WINDOWS, "installer": ada.pk}, format="json")
    assert offered.status_code == 200, offered.content
    seen_by_client = as_client.get(address).json()
    assert (seen_by_client["state"], len(seen_by_client["offers"])) == ("offered", 2)
    chosen = {"opens_at": seen_by_client["offers"][1]["opens_at"]}
    assert as_other_client.post(f"{address}accept/", chosen, format="json").status_code == 404
    wrong = as_client.post(f"{address}accept/", {"opens_at": "2026-03-05T10:00:00+01:00"}, format="json")
    assert (wrong.status_code, wrong.json()["errors"][0]["pointer"]) == (400, "/opens_at")
    accepted = as_client.post(f"{address}accept/", chosen, format="json").json()
    assert (accepted["state"], accepted["appointment_at"], accepted["offers"]) == (
        "confirmed",
        "2026-03-04T09:00:00Z",
        [],
    )
    assert as_installer.post(f"{address}depart/").json()["state"] == "on_the_way"
    assert as_installer.post(f"{address}begin/").json()["state"] == "in_progress"
    late = as_office.post(f"{address}cancel/", {})
    assert (late.status_code, late.json()["code"]) == (409, "visit_move_not_legal")
    bad = as_installer.post(f"{address}not-done/", {"obstacle": "rain"})
    assert [fault["pointer"] for fault in bad.json()["errors"]] == ["/obstacle"]
    ended = as_installer.post(f"{address}not-done/", {"obstacle": "part_missing", "note": "Clip broken."}).json()
    assert (ended["state"], ended["obstacle"], ended["closing_note"]) == ("not_done", "part_missing", "Clip broken.")


def test_windows_that_cannot_be_are_refused(as_office: APIClient, town: Town, ada: Installer) -> None:
    run_night(town, sites=1)
    address = f"/api/v1/visits/{Visit.objects.get().pk}/offer/"
    for body, pointer in (
        ({}, "/windows"),
        ({"windows": WINDOWS[:1]}, "/windows"),
        ({"windows": [WINDOWS[0], {"opens_at": "x", "closes_at": "y"}]}, "/windows/1/opens_at"),
        ({"windows": WINDOWS, "installer": 987654}, "/installer"),
    ):
        refused = as_office.post(address, body, format="json")
        assert refused.status_code == 400, refused.content
        assert pointer in [fault["pointer"] for fault in refused.json()["errors"]]
    assert Visit.objects.get().state == "proposed"


def test_why_a_task_was_not_done_is_told_to_staff_only(
    as_office: APIClient,
    as_client: APIClient,
    as_installer: APIClient,
    town: Town,
    first_client: Client,
    ada: Installer,
) -> None:
    town.forecast(town.position(town.unit(town.site(client=first_client)), "carbon"), 0)
    run_night(town)
    address = f"/api/v1/visits/{Visit.objects.get().pk}/"
    windows = {"windows": WINDOWS, "installer": ada.pk}
    offer = as_office.post(f"{address}offer/", windows, format="json").json()["offers"][0]
    as_client.post(f"{address}accept/", {"opens_at": offer["opens_at"]}, format="json")
    as_installer.post(f"{address}depart/")
    as_installer.post(f"{address}begin/")
    as_installer.post(f"{address}not-done/", {"obstacle": "no_access", "note": "Dog in the yard, client rude."})
    (task,) = as_office.get(address).json()["tasks"]
    assert (task["outcome"], task["outcome_reason"]) == ("not_done", "Dog in the yard, client rude.")
    read = as_client.get(address)
    assert len(read.json()["tasks"]) == 1
    assert "outcome_reason" not in read.json()["tasks"][0]
    assert "rude" not in read.content.decode()
