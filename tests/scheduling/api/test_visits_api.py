"""Visits over the API: read by everybody concerned, moved by the office."""

import pytest
from rest_framework.test import APIClient

from accounts.fields_seen import READERS
from accounts.models import Client, Membership
from accounts.permissions import Role
from fleet.models import Site
from scheduling.models import Installer, Plan, Visit
from scheduling.services.rounds.plans import publish_plan
from tests.scheduling.night import run_night
from tests.scheduling.town import NOW, Town


def test_a_client_sees_own_visits_without_the_companys_reckoning(
    as_client: APIClient, as_office: APIClient, town: Town, first_client: Client, second_client: Client
) -> None:
    for client in (first_client, second_client):
        town.forecast(town.position(town.unit(town.site(client=client)), "carbon"), 0)
    run_night(town)
    seen_by_client = as_client.get("/api/v1/visits/").json()["results"]
    assert [visit["site_name"] for visit in seen_by_client] == [Visit.objects.get(site__client=first_client).site.name]
    unread = {field for kind, field in READERS if kind == "Visit" and Role.CLIENT not in READERS[kind, field]}
    assert {"costs", "reason", "planned"} <= unread
    assert not unread & set(seen_by_client[0])
    assert seen_by_client[0]["tasks"][0]["label"] == "carbon"
    assert "reason" not in seen_by_client[0]["tasks"][0]
    by_office = as_office.get(f"/api/v1/visits/{seen_by_client[0]['id']}/").json()
    assert unread <= set(by_office)
    assert all(by_office[name] is not None for name in unread - {"planned", "lock"})
    other = Visit.objects.get(site__client=second_client)
    assert as_client.get(f"/api/v1/visits/{other.pk}/").status_code == 404


def test_confirm_move_give_back_and_cancel(as_office: APIClient, town: Town, ada: Installer) -> None:
    run_night(town, sites=1)
    address = f"/api/v1/visits/{Visit.objects.get().pk}/"
    confirmed = as_office.post(f"{address}confirm/", {"appointment_at": "2026-03-04T10:00:00+01:00"})
    assert confirmed.status_code == 200, confirmed.content
    assert (confirmed.json()["state"], confirmed.json()["appointment_at"]) == ("confirmed", "2026-03-04T09:00:00Z")
    moved = as_office.post(
        f"{address}confirm/", {"appointment_at": "2026-03-05T10:00:00+01:00", "installer": ada.pk}
    ).json()
    assert (moved["installer_name"], moved["revision"]) == ("Ada", 2)
    back = as_office.post(f"{address}unconfirm/", {"note": "Client is away."}).json()
    assert (back["state"], back["appointment_at"]) == ("proposed", None)
    cancelled = as_office.post(f"{address}cancel/", {"note": "Sold the tank."}).json()
    assert (cancelled["state"], cancelled["closing_note"]) == ("cancelled", "Sold the tank.")
    refused = as_office.post(f"{address}complete/")
    assert (refused.status_code, refused.json()["code"]) == (409, "visit_move_not_legal")


@pytest.mark.parametrize(
    "at",
    [
        "2026-03-04T10:00:00",
        "2026-03-04 ten",
        "2026-03-01T10:00:00+01:00",
        "2026-03-04T10:00:30+01:00",
        "2026-03-04T03:00:00+01:00",
        "2026-03-08T10:00:00+01:00",
        "9999-12-31T23:59:59+00:00",
        None,
        7,
    ],
)
def test_a_time_that_cannot_be_is_refused(as_office: APIClient, town: Town, ada: Installer, at: object) -> None:
    run_night(town, sites=1)
    refused = as_office.post(f"/api/v1/visits/{Visit.objects.get().pk}/confirm/", {"appointment_at": at}, format="json")
    assert refused.status_code == 400, refused.content
    assert [fault["pointer"] for fault in refused.json()["errors"]] == ["/appointment_at"]
    assert Visit.objects.get().state == "proposed"


def test_another_companys_installer_cannot_be_promised(
    as_office: APIClient, town: Town, ada: Installer, rival: Membership
) -> None:
    foreign_installer = Town(rival.company).installer("Rolf")
    run_night(town, sites=1)
    refused = as_office.post(
        f"/api/v1/visits/{Visit.objects.get().pk}/confirm/",
        {"appointment_at": "2026-03-04T10:00:00+01:00", "installer": foreign_installer.pk},
    )
    assert refused.status_code == 400
    assert refused.json()["errors"][0]["pointer"] == "/installer"


def test_a_visit_shows_its_stop_once_the_plan_is_published(
    as_installer: APIClient,
    as_client: APIClient,
    first_client: Client,
    town: Town,
    ada: Installer,
    office: Membership,
) -> None:
    """Its own people read it to the minute; the client is promised a window, in a message."""
    run_night(town, sites=1)
    Site.objects.update(client=first_client)
    address = f"/api/v1/visits/{Visit.objects.get().pk}/"
    assert as_installer.get(address).json()["planned"] is None
    plan = publish_plan(plan=Plan.objects.get(), by=office, now=NOW)
    planned = as_installer.get(address).json()["planned"]
    assert (planned["plan"], planned["installer_name"], planned["order"]) == (plan.pk, "Ada", 1)
    assert "planned" not in as_client.get(address).json()


def test_looking_again_says_what_changed(as_office: APIClient, town: Town) -> None:
    town.forecast(town.position(town.unit(), "carbon"), 0)
    first = as_office.post("/api/v1/visits/propose/").json()
    assert (first["needs_opened"], first["visits_opened"]) == (1, 1)
    assert not any(as_office.post("/api/v1/visits/propose/").json().values())


def test_a_repeated_request_with_its_key_is_carried_out_once(as_office: APIClient, town: Town, ada: Installer) -> None:
    run_night(town, sites=1)
    address = f"/api/v1/visits/{Visit.objects.get().pk}/confirm/"
    body = {"appointment_at": "2026-03-04T10:00:00+01:00"}
    answers = [as_office.post(address, body, headers={"Idempotency-Key": "call-1"}) for _ in range(2)]
    assert answers[0].content == answers[1].content
    assert Visit.objects.get().revision == 1


def test_a_visit_that_changed_since_it_was_read_is_not_moved(as_office: APIClient, town: Town, ada: Installer) -> None:
    run_night(town, sites=1)
    address = f"/api/v1/visits/{Visit.objects.get().pk}/"
    stale = as_office.get(address).headers["ETag"]
    as_office.post(f"{address}confirm/", {"appointment_at": "2026-03-04T10:00:00+01:00"})
    refused = as_office.post(f"{address}cancel/", {}, headers={"If-Match": stale})
    assert refused.status_code == 412
    assert Visit.objects.get().state == "confirmed"
