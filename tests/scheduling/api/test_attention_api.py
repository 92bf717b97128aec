"""What needs attention: split by kind, the dearest first, each with the call that settles it."""

import json
from datetime import timedelta
from typing import Any

import pytest
from rest_framework.test import APIClient

from accounts.models import Membership
from fleet.forecasting.distribution import percent_text
from fleet.models import Finding, Unit
from fleet.services.findings.findings import refresh_findings
from fleet.services.status import status_of
from scheduling.models import Installer, Message, Need, Plan, StockLevel, Visit
from scheduling.services.needs.needs import refresh_needs
from scheduling.services.needs.waiting import cost_of_a_week, cost_of_a_week_in_text
from scheduling.services.rounds.plans import publish_plan
from scheduling.services.stock.stock import count_stock
from tests.scheduling.night import run_night
from tests.scheduling.town import NOW, RO_DI_TRAIN, TODAY, Town


def _kinds(api: APIClient) -> dict[str, dict[str, Any]]:
    answer = api.get("/api/v1/attention/")
    assert answer.status_code == 200, answer.content
    return {row["kind"]: row for row in answer.json()["by_kind"]}


def _of_kind(kinds: dict[str, dict[str, Any]], wanted: str) -> list[dict[str, Any]]:
    """The rows that name a reason of one kind."""
    rows = [row for kind in kinds.values() for row in kind["matters"]]
    return [row for row in rows if any(reason["kind"] == wanted for reason in row["reasons"])]


def _beside(rows: list[dict[str, Any]]) -> int:
    """Reasons of a row that are of the kind in which it stands, but for the first."""
    return sum(sum(reason["kind"] == row["reasons"][0]["kind"] for reason in row["reasons"]) - 1 for row in rows)


def _finding(unit: Unit, rule: str, cause: str) -> Finding:
    return Finding.objects.create(
        unit=unit,
        rule=rule,
        cause=cause,
        confidence=0.9,
        opened_at=NOW,
        last_seen_at=NOW,
        installer_sentence="Both resin cartridges are exhausted.",
    )


def test_every_kind_is_there_also_where_nothing_is_wrong(town: Town, as_office: APIClient) -> None:
    kinds = _kinds(as_office)
    assert list(kinds) == [
        "bad_water",
        "bad_water_soon",
        "endangers_membrane",
        "faults",
        "calls",
        "unread",
        "parts_missing",
        "late_deliveries",
        "expired_stock",
        "orders_not_sent",
        "unanswered",
        "in_no_round",
        "broken_rounds",
    ]
    assert {kind["count"] for kind in kinds.values()} == {0}


def test_bad_water_now_stands_first_and_agrees_with_the_status_of_the_unit(
    town: Town, ada: Installer, as_office: APIClient, as_installer: APIClient
) -> None:
    unit = town.unit(train=RO_DI_TRAIN)
    for day in (9, 2):
        sent = as_installer.post(
            f"/api/v1/units/{unit.pk}/readings/",
            {
                "taken_at": (NOW - timedelta(days=day)).isoformat(),
                "reference": f"r{day}",
                "feed_tds": {"value": 300, "unit": "mg/L"},
                "permeate_tds": {"value": 9, "unit": "mg/L"},
                "product_tds": {"value": 9, "unit": "mg/L"},
            },
            format="json",
        )
        assert sent.status_code == 201, sent.content
    refresh_findings(company=town.company, now=NOW)
    assert status_of(unit=unit, now=NOW).water == "not_good"
    bad = _kinds(as_office)["bad_water"]
    assert bad["count"] == 1
    row = bad["matters"][0]
    assert (row["unit"], row["client"], row["phone"]) == (unit.pk, unit.site.client_id, unit.site.client.phone)
    assert unit.code in row["sentence"]
    assert row["settle"]["method"] == "POST"


def test_what_a_confirmed_visit_will_do_is_only_counted(
    town: Town, ada: Installer, as_office: APIClient, office: Membership
) -> None:
    """The call of a row settles it: a published plan is offered, and once a time is confirmed the row is gone."""
    plan: Plan = publish_plan(plan=run_night(town, sites=2), by=office, now=NOW)
    before = _kinds(as_office)
    rows = [row for kind in ("bad_water_soon", "endangers_membrane") for row in before[kind]["matters"]]
    assert rows, before
    for row in rows:
        assert 0.3 <= row["probability"] <= 1.0
        assert percent_text(row["probability"]) in row["sentence"]
        assert row["settle"]["path"] == f"/api/v1/plans/{plan.pk}/offer/"
    for visit in Visit.objects.filter(state="proposed"):
        body = {"appointment_at": "2026-03-04T10:00:00Z", "outside_access_hours": True}
        confirmed = as_office.post(f"/api/v1/visits/{visit.pk}/confirm/", body, format="json")
        assert confirmed.status_code == 200, confirmed.content
    after = _kinds(as_office)
    assert sum(after[kind]["count"] for kind in ("bad_water_soon", "endangers_membrane")) == 0
    assert sum(after[kind]["dealt_with"] for kind in ("bad_water_soon", "endangers_membrane")) == len(rows)


@pytest.mark.parametrize(("day", "settled_by"), [("2026-03-04", None), ("2026-03-20", {}), ("2026-06-01", None)])
def test_a_time_past_the_published_days_is_in_no_round_as_far_as_a_plan_reaches(
    town: Town, ada: Installer, as_office: APIClient, office: Membership, day: str, settled_by: dict[str, Any] | None
) -> None:
    publish_plan(plan=run_night(town, sites=2), by=office, now=NOW)
    visit = Visit.objects.filter(state="proposed").first()
    body = {"appointment_at": f"{day}T10:00:00Z", "outside_access_hours": True}
    assert as_office.post(f"/api/v1/visits/{visit.pk}/confirm/", body, format="json").status_code == 200
    rows = {row["visit"]: row for row in _of_kind(_kinds(as_office), "in_no_round")}
    shown = as_office.get(f"/api/v1/visits/{visit.pk}/").json()
    if settled_by is None:
        # in a round of that day, or further ahead than a plan reaches
        assert visit.pk not in rows
        assert shown["planned"] or "28" in shown["why_in_no_round"]
    else:
        settle = next(reason["settle"] for reason in rows[visit.pk]["reasons"] if reason["kind"] == "in_no_round")
        assert settle == {
            "words": "Plan the days through Friday 20 March, and publish.",
            "method": "POST",
            "path": "/api/v1/plans/",
            "body": settled_by,
        }


def test_faults_are_apart_from_bad_water_and_what_only_explains_is_left_out(town: Town, as_office: APIClient) -> None:
    unit = town.unit()
    _finding(unit, "D03", "pump_not_running")
    _finding(unit, "D37", "warm_water_not_a_fault")
    faults = _kinds(as_office)["faults"]
    assert faults["count"] == 1
    assert faults["matters"][0]["settle"]["path"].startswith("/api/v1/findings/")


def test_what_a_forecast_and_a_reading_say_of_one_task_is_one_matter(
    town: Town, ada: Installer, as_office: APIClient
) -> None:
    unit = town.unit(train=RO_DI_TRAIN)
    lead = town.position(unit, "resin", "lead")
    town.forecast(lead, 1)
    finding = _finding(unit, "D13", "di_lead_exhausted")
    refresh_needs(company=town.company, now=NOW)
    rotate = Need.objects.get(unit=unit, position=lead)
    assert (rotate.finding, rotate.forecast is None) == (finding, False)
    kinds = _kinds(as_office)
    (row,) = [row for kind in kinds.values() for row in kind["matters"] if row["unit"] == unit.pk]
    assert row in kinds["bad_water_soon"]["matters"]
    for reason in ("likely to be exhausted by", "Both resin cartridges are exhausted."):
        assert row["sentence"].count(reason) == 1
    assert row["settle"]["path"] == f"/api/v1/findings/{finding.pk}/confirm/"


def test_dearer_matters_come_first(town: Town, ada: Installer, as_office: APIClient, office: Membership) -> None:
    publish_plan(plan=run_night(town, sites=4), by=office, now=NOW)
    for kind in _kinds(as_office).values():
        costs = [row["cost_of_waiting"] or 0.0 for row in kind["matters"]]
        assert costs == sorted(costs, reverse=True)


def test_calls_and_offers_without_an_answer_wait_for_the_office(
    town: Town, ada: Installer, as_office: APIClient, office: Membership
) -> None:
    publish_plan(plan=run_night(town, sites=2), by=office, now=NOW)
    visit = Visit.objects.filter(state="proposed").first()
    windows = [{"opens_at": f"2026-03-0{d}T08:00:00Z", "closes_at": f"2026-03-0{d}T09:00:00Z"} for d in (3, 4)]
    body = {"windows": windows, "outside_access_hours": True}
    assert as_office.post(f"/api/v1/visits/{visit.pk}/offer/", body, format="json").status_code == 200
    as_office.post(f"/api/v1/visits/{visit.pk}/ask-for-call/", {"note": "after six"}, format="json")
    kinds = _kinds(as_office)
    (row,) = _of_kind(kinds, "unanswered")
    assert row["visit"] == visit.pk
    # what wears, the offer and the call are one row of one visit, with a call of the interface for each
    assert list(dict.fromkeys(reason["kind"] for reason in row["reasons"]))[1:] == ["calls", "unanswered"]
    assert row["reasons"][0]["kind"] in ("bad_water_soon", "endangers_membrane")
    assert row["sentence"] == " ".join(reason["sentence"] for reason in row["reasons"])
    Visit.objects.filter(pk=visit.pk).update(best_day=TODAY - timedelta(days=3))
    # the day that suited it best has gone by: it is due
    assert _of_kind(_kinds(as_office), "unanswered")[0]["reasons"][-1]["day"] == TODAY.isoformat()
    to_call = Message.objects.filter(state="to_call").count()
    assert kinds["calls"]["count"] + kinds["calls"]["counted_above"] == to_call > 0
    call = next(reason["settle"] for reason in row["reasons"] if reason["kind"] == "calls")
    assert as_office.post(call["path"], call["body"], format="json").status_code == 200
    left = _kinds(as_office)["calls"]
    assert left["count"] + left["counted_above"] == to_call - 1


def test_a_visit_is_one_row_with_all_its_reasons_and_a_unit_without_one_too(
    town: Town, ada: Installer, as_office: APIClient
) -> None:
    """Two cartridges and a fault at one site; two faults at a unit that no visit goes to."""
    run_night(town, sites=1)
    unit = Unit.objects.get()
    _finding(unit, "D03", "pump_not_running")
    alone = town.unit()
    for cause in ("pump_not_running", "line_pressure_fallen"):
        _finding(alone, "D12" if cause == "pump_not_running" else "D03", cause)
    kinds = _kinds(as_office)
    rows = [row for kind in kinds.values() for row in kind["matters"]]
    at_units = [row for row in rows if row["unit"] is not None]
    assert sorted(row["unit"] for row in at_units) == [unit.pk, alone.pk]
    visited = next(row for row in at_units if row["unit"] == unit.pk)
    assert visited["visit"] == Visit.objects.get().pk
    assert len(visited["reasons"]) >= 2
    # the fault is nobody's task yet: it is settled by a call of its own
    paths = {reason["settle"]["path"] for reason in visited["reasons"]}
    assert len(paths) == 2
    assert any("/findings/" in path for path in paths)
    costs = [reason["cost_of_waiting"] for reason in visited["reasons"] if reason["cost_of_waiting"] is not None]
    assert visited["cost_of_waiting"] == pytest.approx(sum(costs))
    told = sum(kind["count"] for kind in kinds.values())
    reasons = sum(len(row["reasons"]) for row in rows)
    assert told + sum(kind["counted_above"] for kind in kinds.values()) + _beside(rows) == reasons
    other = next(row for row in at_units if row["unit"] == alone.pk)
    assert (other["visit"], len(other["reasons"])) == (None, 2)
    # bad water is graver than a fault, and the row stands there alone
    assert other in kinds["bad_water"]["matters"]
    assert kinds["faults"]["counted_above"] == 2


def test_another_company_and_an_installer_see_nothing(
    town: Town, as_office: APIClient, as_installer: APIClient, api_for: Any, rival: Membership
) -> None:
    _finding(town.unit(), "D03", "pump_not_running")
    assert as_installer.get("/api/v1/attention/").status_code == 403
    assert {kind["count"] for kind in _kinds(api_for(rival)).values()} == {0}


@pytest.mark.parametrize("sites", [2, 5])
def test_the_number_of_queries_does_not_grow_with_the_units(
    town: Town, ada: Installer, as_office: APIClient, office: Membership, sites: int, django_assert_max_num_queries: Any
) -> None:
    publish_plan(plan=run_night(town, sites=sites), by=office, now=NOW)
    assert Need.objects.filter(state="open").exists()
    with django_assert_max_num_queries(46):
        _kinds(as_office)


def test_expired_pieces_are_told_and_the_call_beside_them_scraps_them(
    town: Town, ada: Installer, office: Membership, as_office: APIClient
) -> None:
    resin, past = town.item("resin"), (NOW - timedelta(days=9)).date()
    for van, expired in ((None, 2), (ada, 1)):
        lots = [
            {"lot": "R1", "expires_on": past.isoformat(), "quantity": expired},
            {"lot": "R2", "expires_on": (NOW + timedelta(days=9)).date().isoformat(), "quantity": 1},
        ]
        count_stock(by=office, item=resin, quantity=4, lots=lots, installer=van, now=NOW)
    matters = _kinds(as_office)["expired_stock"]["matters"]
    assert [matter["sentence"] for matter in matters] == [
        "1 resin-1 in the van of Ada has expired.",
        "2 resin-1 in the store have expired.",
    ]
    for matter in matters:
        done = as_office.post(matter["settle"]["path"], matter["settle"]["body"], format="json")
        assert done.status_code == 201, done.content
    assert _kinds(as_office)["expired_stock"]["count"] == 0
    assert [level.quantity for level in StockLevel.objects.order_by("pk")] == [2, 3]


def test_of_a_unit_that_is_nobodys_the_office_is_told_to_find_its_client_and_nobody_is_asked(
    town: Town, ada: Installer, as_office: APIClient
) -> None:
    body = {"code": "SP-9", "use": "reef", "kind": "ro_di", "commissioned_on": "2025-01-05", "weekly_demand": "60 L"}
    made = as_office.post("/api/v1/units/", {**body, "template": "ro_di"}, format="json")
    assert made.status_code == 201, made.content
    unit = Unit.objects.get(code="SP-9")
    refresh_findings(company=town.company, now=NOW)
    refresh_needs(company=town.company, now=NOW)
    wanted = as_office.get("/api/v1/readings-wanted/").json()["results"]
    assert [row for row in wanted if row["reading_way"] == "ask_client"] == []
    status = as_office.get(f"/api/v1/units/{unit.pk}/status/").json()
    assert (status["please_read"], status["asks"]) == ("", [])
    assert status["sentence"] == "Nobody has measured the water of this unit yet."
    assert status["findings"] == ["Nobody has read your unit yet."]
    (matter,) = _kinds(as_office)["unread"]["matters"]
    assert matter["sentence"].startswith("SP-9: nobody knows whose it is or where it stands")
    assert (matter["settle"]["method"], matter["settle"]["path"]) == ("PATCH", f"/api/v1/sites/{unit.site_id}/")
    # whose it is becomes known, and where: now somebody can be asked
    client = town.unit().site.client
    known = as_office.patch(matter["settle"]["path"], {"client": client.pk, "address": "Quay 1"}, format="json")
    assert known.status_code == 200, known.content
    refresh_needs(company=town.company, now=NOW)
    asked = as_office.get(f"/api/v1/units/{unit.pk}/status/").json()
    assert "water_on_floor" in asked["asks"]
    sentences = [row["sentence"] for row in _kinds(as_office)["unread"]["matters"]]
    assert any("Ask the client, who has no meter" in text for text in sentences)
    assert not any("nobody knows whose it is" in text for text in sentences)


def test_all_matters_of_a_kind_come_page_by_page_and_are_those_that_are_counted(
    town: Town, as_office: APIClient, monkeypatch: pytest.MonkeyPatch
) -> None:
    units = [town.unit(town.site(), train=RO_DI_TRAIN) for _ in range(3)]
    for unit in units:
        _finding(unit, "resin_exhausted", "resin_exhausted")
    whole = as_office.get("/api/v1/attention/").json()
    (kind,) = [kind for kind in whole["by_kind"] if kind["count"]]
    address, code = "/api/v1/attention/matters/", kind["kind"]
    listed = as_office.get(address, {"kind": code, "page_size": 2}).json()
    rest = as_office.get(listed["next"]).json()
    assert listed["count"] == kind["count"] == 3
    assert listed["results"] + rest["results"] == kind["matters"]
    assert as_office.get(address).json()["results"] == kind["matters"]
    assert as_office.get(address, {"kind": "calls"}).json()["count"] == 0
    refused = as_office.get(address, {"kind": "nonsense"})
    assert refused.status_code == 400
    assert "kind" in refused.json()["errors"][0]["detail"]
    # the overview shows the first, and counts all
    monkeypatch.setattr("scheduling.services.matters.MOST_MATTERS", 2)
    (kind,) = [kind for kind in as_office.get("/api/v1/attention/").json()["by_kind"] if kind["count"]]
    assert kind["count"] == 3
    assert kind["matters"] == listed["results"]


def test_the_page_shows_the_first_of_a_kind_and_all_of_it_page_by_page(
    town: Town, office: Membership, monkeypatch: pytest.MonkeyPatch, client: Any
) -> None:
    units = [town.unit(town.site(), train=RO_DI_TRAIN) for _ in range(3)]
    for unit in units:
        _finding(unit, "resin_exhausted", "resin_exhausted")
    monkeypatch.setattr("scheduling.services.matters.MOST_MATTERS", 1)
    monkeypatch.setattr("scheduling.pages.office.attention._MATTERS", 2)
    client.force_login(office.user)
    page = client.get("/attention/").content.decode()
    (code,) = [code for code in ("bad_water", "faults", "unread") if f"/attention/?kind={code}" in page]
    assert sum(f"/units/{unit.pk}/" in page for unit in units) == 1
    first = client.get(f"/attention/?kind={code}").content.decode()
    second = client.get(f"/attention/?kind={code}&page=2").content.decode()
    assert [sum(f"/units/{unit.pk}/" in page for unit in units) for page in (first, second)] == [2, 1]
    assert all(f"/units/{unit.pk}/" in first + second for unit in units)


@pytest.mark.parametrize(
    ("curve", "first_day", "cost"),
    [
        ([1.0, 2.0, 3.0, 4.0, 5.0, 6.0, 7.0, 9.5, 11.0], TODAY, 8.5),
        ([0.0, 1.0, 2.0, 3.0, 4.0, 5.0, 6.0, 7.0, 9.5, 11.0], TODAY - timedelta(days=2), 9.0),
        ([None, None, 1.0, 2.0, 3.0, 4.0, 5.0, 6.0, None, 9.0], TODAY, 5.0),
        ([9.0, 8.0, 7.0, 6.0, 5.0, 4.0, 3.0, 2.0], TODAY, 0.0),
        ([1.0, 2.0], TODAY, None),
        ([None] * 9, TODAY, None),
        ([], TODAY, None),
        ([1.0] * 9, None, None),
        ([1.0] * 9, TODAY + timedelta(days=1), 0.0),
    ],
)
def test_a_week_of_waiting_costs_the_same_by_a_curve_and_by_its_text(
    curve: list[float | None], first_day: Any, cost: float | None
) -> None:
    need = Need(cost_curve=curve, curve_first_day=first_day)
    assert cost_of_a_week(need, day=TODAY) == cost
    assert cost_of_a_week_in_text(json.dumps(curve), first_day, day=TODAY) == cost
    assert cost_of_a_week_in_text(json.dumps(curve, separators=(",", ":")), first_day, day=TODAY) == cost
