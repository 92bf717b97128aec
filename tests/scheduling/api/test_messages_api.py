"""Messages over the API: the office reads all and calls, clients read their own."""

from rest_framework.test import APIClient

from accounts.models import Client, Membership
from scheduling.models import Installer, Message, Visit
from tests.scheduling.night import run_night
from tests.scheduling.town import Town

WINDOWS = [
    {"opens_at": f"2026-03-0{day}T10:00:00+01:00", "closes_at": f"2026-03-0{day}T12:00:00+01:00"} for day in (3, 4)
]


def test_who_reads_what_and_who_calls(
    as_office: APIClient,
    as_client: APIClient,
    as_other_client: APIClient,
    as_rival: APIClient,
    town: Town,
    first_client: Client,
    client_member: Membership,
    ada: Installer,
) -> None:
    Client.objects.filter(pk=first_client.pk).update(phone="0123 456")
    town.forecast(town.position(town.unit(town.site(client=first_client)), "carbon"), 0)
    run_night(town)
    address = f"/api/v1/visits/{Visit.objects.get().pk}/"
    assert as_office.post(f"{address}offer/", {"windows": WINDOWS}, format="json").status_code == 200
    as_client.post(f"{address}accept/", {"opens_at": WINDOWS[1]["opens_at"]}, format="json")
    everything = as_office.get("/api/v1/messages/?ordering=created_at").json()["results"]
    assert {(m["audience"], m["kind"]) for m in everything} == {
        ("client", "offered"),
        ("client", "confirmed"),
        ("office", "offer_taken"),
    }
    own = as_client.get("/api/v1/messages/").json()["results"]
    assert {m["kind"] for m in own} == {"offered", "confirmed"}
    for nobody in (as_other_client, as_rival):
        assert nobody.get("/api/v1/messages/").json()["results"] == []
    calls = as_office.get("/api/v1/messages/?state=to_call&kind=confirmed").json()["results"]
    assert [(m["phone"], m["email"]) for m in calls] == [("0123 456", "")]
    called = f"/api/v1/messages/{calls[0]['id']}/called/"
    assert as_client.post(called, {}).status_code == 403
    assert as_office.post(called, {"note": "Told her."}).json()["state"] == "called"
    again = as_office.post(called, {})
    assert (again.status_code, again.json()["code"]) == (409, "not_on_the_call_list")


def test_completing_with_nothing_said_of_the_tasks_is_refused(
    as_installer: APIClient, town: Town, ada: Installer
) -> None:
    run_night(town, sites=1)
    visit = Visit.objects.get()
    refused = as_installer.post(f"/api/v1/visits/{visit.pk}/complete/", {})
    assert refused.status_code == 400
    assert [fault["pointer"] for fault in refused.json()["errors"]] == ["/tasks"]
    assert Visit.objects.get().state == "proposed"
    assert not Message.objects.exists()
