"""Offering, taking up and making a visit over the API; and what becomes of the plan."""

from rest_framework.test import APIClient

from accounts.models import Client
from scheduling.models import Installer, Plan, Stop, Visit
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


def test_a_client_cancels_what_they_confirmed_and_plans_keep_off_that_day(
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
    visit = Visit.objects.get()
    address = f"/api/v1/visits/{visit.pk}/"
    early = as_client.post(f"{address}cancel/", {"note": "no"}, format="json")
    assert (early.status_code, early.json()["code"]) == (409, "visit_move_not_legal")
    at = {"appointment_at": "2026-03-03T10:00:00+01:00", "installer": ada.pk}
    assert as_office.post(f"{address}confirm/", at, format="json").status_code == 200
    assert as_other_client.post(f"{address}cancel/", {}).status_code == 404
    assert as_installer.post(f"{address}cancel/", {}).status_code == 403
    cancelled = as_client.post(f"{address}cancel/", {"note": "We are away."}, format="json")
    assert (cancelled.status_code, cancelled.json()["state"]) == (200, "cancelled")
    told = as_office.get("/api/v1/messages/?kind=cancelled&audience=office").json()["results"]
    assert [("the client cancelled" in row["body"], "We are away." in row["body"]) for row in told] == [(True, True)]
    assert [row["kind"] for row in as_client.get("/api/v1/messages/").json()["results"]][:1] == ["cancelled"]
    run_night(town)
    again = Visit.objects.get(state="proposed")
    # the whole day on the clock of the site, which is an hour ahead of UTC
    assert again.declined == [{"opens_at": "2026-03-02T23:00:00+00:00", "closes_at": "2026-03-03T23:00:00+00:00"}]
    stops = [stop.starts_at.date().isoformat() for stop in again.stops.all()]
    assert "2026-03-03" not in stops


def test_a_time_that_the_office_takes_back_leaves_its_round_at_once(
    as_office: APIClient, town: Town, ada: Installer
) -> None:
    run_night(town, sites=3)
    plan = Plan.objects.get(state="draft")
    assert as_office.post(f"/api/v1/plans/{plan.pk}/publish/").status_code == 200
    visit = Stop.objects.filter(round__plan=plan).order_by("starts_at").last().visit
    address = f"/api/v1/visits/{visit.pk}/"
    at = {"appointment_at": "2026-03-03T10:00:00+01:00", "installer": ada.pk}
    assert as_office.post(f"{address}confirm/", at, format="json").json()["planned"]["starts_at"] == (
        "2026-03-03T09:00:00Z"
    )
    taken_back = as_office.post(f"{address}unconfirm/", {"note": "asked by telephone"}, format="json").json()
    assert (taken_back["state"], taken_back["planned"]) == ("proposed", None)
    whole = as_office.get(f"/api/v1/plans/{plan.pk}/").json()
    assert [(row["visit"], row["reason"]) for row in whole["unserved"]] == [(visit.pk, "withdrawn")]
    assert whole["faults"] == []


def test_faults_of_a_published_plan_name_what_no_longer_fits_and_the_call_that_repairs_it(
    as_office: APIClient, town: Town, ada: Installer
) -> None:
    town.installer("Ben", east_km=4)
    run_night(town, sites=3)
    plan = Plan.objects.get(state="draft")
    as_office.post(f"/api/v1/plans/{plan.pk}/publish/")
    stop = Stop.objects.filter(round__plan=plan).select_related("round__installer").order_by("starts_at").last()
    day = stop.round.day.isoformat()
    body = {"installer": stop.round.installer.name, "first_day": day, "last_day": day, "reason": "in bed"}
    assert as_office.post("/api/v1/absences/", body, format="json").status_code == 201
    address = f"/api/v1/plans/{plan.pk}/"
    faults = as_office.get(address).json()["faults"]
    (fault,) = [row for row in faults if row["visit"] == str(stop.visit_id)]
    assert (fault["code"], fault["installer"], fault["prevents_publishing"]) == (
        "installer_away",
        stop.round.installer.name,
        False,
    )
    assert (fault["settle"]["method"], fault["settle"]["path"]) == ("POST", f"{address}replan/")
    listed = as_office.get("/api/v1/plans/?state=published").json()["results"]
    assert [row["faults"] for row in listed] == [faults]
    kinds = {row["kind"]: row for row in as_office.get("/api/v1/attention/").json()["by_kind"]}
    rows = [row for kind in kinds.values() for row in kind["matters"]]
    (of_visit,) = [row for row in rows if row["visit"] == stop.visit_id]
    assert "broken_rounds" in [reason["kind"] for reason in of_visit["reasons"]]
    repaired = as_office.post(fault["settle"]["path"], {"iterations": 50}, format="json")
    assert repaired.status_code == 201, repaired.content
    published = as_office.post(f"/api/v1/plans/{repaired.json()['id']}/publish/")
    assert (published.status_code, published.json()["faults"]) == (200, [])


def test_a_refused_draft_names_every_row_that_prevents_it(as_office: APIClient, town: Town, ada: Installer) -> None:
    run_night(town, sites=3)
    plan = Plan.objects.get(state="draft")
    stops = list(Stop.objects.filter(round__plan=plan).select_related("visit").order_by("starts_at"))
    assert len(stops) == 3
    as_office.post(f"/api/v1/visits/{stops[0].visit_id}/cancel/", {})
    at = {"appointment_at": "2026-03-05T10:00:00+01:00", "installer": ada.pk}
    as_office.post(f"/api/v1/visits/{stops[1].visit_id}/confirm/", at, format="json")
    refused = as_office.post(f"/api/v1/plans/{plan.pk}/publish/")
    assert (refused.status_code, refused.json()["code"]) == (409, "plan_is_stale")
    details = [row["detail"] for row in refused.json()["errors"]]
    assert len(details) == 2
    for stop, what in zip(stops, ("is cancelled by now", "was confirmed for another time"), strict=False):
        assert [detail for detail in details if f"visit {stop.visit_id} {what}" in detail], details
    assert all(detail.endswith("Plan the days again, and publish that plan.") for detail in details)
    rows = as_office.get(f"/api/v1/plans/{plan.pk}/").json()["faults"]
    assert [row["prevents_publishing"] for row in rows] == [True, True]
