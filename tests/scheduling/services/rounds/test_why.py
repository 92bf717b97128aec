"""Why a stop is where it is: the sentence stays true through moves by hand, locks and what clients confirm."""

from datetime import UTC, date, datetime, timedelta
from typing import Any

import pytest
from rest_framework.test import APIClient

from accounts.models import Membership
from scheduling.models import Plan, Stop, Visit
from scheduling.services.rounds.hand_moves import move_stop
from scheduling.services.rounds.plans import plan_rounds, publish_plan
from scheduling.services.rounds.replanning import Happened, replan_day
from scheduling.services.visits.locks import lock_stop
from scheduling.services.visits.visits import cancel_visit, confirm_visit, offer_visit
from scheduling.services.words import why as words
from tests.scheduling.night import run_night
from tests.scheduling.town import NOW, Town


@pytest.fixture
def plan(town: Town, office: Membership) -> Plan:
    """A published plan of three visits, by two installers."""
    town.installer("Ada")
    town.installer("Ben", east_km=1.0)
    return publish_plan(plan=run_night(town, sites=3), by=office, now=NOW)


def _whys(api: APIClient, plan: Plan) -> dict[int, str]:
    rows = api.get("/api/v1/stops/", {"round__plan": plan.pk}).json()["results"]
    return {row["visit"]: row["why"] for row in rows}


def _stops(plan: Plan) -> list[Stop]:
    rows = Stop.objects.filter(round__plan=plan).select_related("round__installer", "visit")
    return list(rows.order_by("round__day", "order"))


def test_every_stop_of_a_plan_says_why(plan: Plan, as_office: APIClient) -> None:
    whys = _whys(as_office, plan)
    for stop in _stops(plan):
        why = whys[stop.visit_id]
        assert why.endswith(".")
        assert why[0].isupper()
        where = "where the round begins" if stop.order == 1 else "the stop before"
        assert f"{round(stop.driving_minutes)} minute" in why
        assert where in why


def test_the_day_sheet_says_the_same(plan: Plan, as_office: APIClient) -> None:
    whys = _whys(as_office, plan)
    for round_ in plan.rounds.all():
        sheet = as_office.get(f"/api/v1/rounds/{round_.pk}/day-sheet/").json()
        assert sheet["stops"]
        for stop in sheet["stops"]:
            assert stop["why"] == whys[stop["visit"]]


def test_what_a_person_moved_says_so_and_the_others_keep_their_reason(
    plan: Plan, as_office: APIClient, office: Membership
) -> None:
    first, *others = _stops(plan)
    before = {stop.visit_id: stop.day_reason for stop in others}
    day = first.round.day + timedelta(days=1)
    move_stop(stop=first, by=office, now=NOW, day=day, lock=False)
    moved = Stop.objects.get(visit=first.visit, round__plan=plan)
    assert moved.day_reason == "moved here by hand"
    assert _whys(as_office, plan)[first.visit_id].startswith("Moved here by hand; ")
    for stop in _stops(plan):
        if stop.visit_id != first.visit_id:
            assert stop.day_reason == before[stop.visit_id] != ""


def test_a_lock_and_a_promise_hold_before_what_the_planner_weighed(
    plan: Plan, as_office: APIClient, office: Membership
) -> None:
    first, second, *_ = _stops(plan)
    lock_stop(stop=first, by=office, reason="crane is there", now=NOW)
    confirm_visit(
        visit=second.visit,
        by=office,
        appointment_at=second.starts_at.replace(second=0),
        installer=second.round.installer,
        now=NOW,
    )
    whys = _whys(as_office, plan)
    assert whys[first.visit_id].startswith("Locked here by hand (crane is there); ")
    assert whys[second.visit_id].startswith("Confirmed with the client for this time; ")


def test_a_repaired_plan_keeps_the_reasons_of_what_stays(plan: Plan, as_office: APIClient, office: Membership) -> None:
    before: dict[Any, str] = {(s.visit_id, s.round.installer_id, s.round.day): s.day_reason for s in _stops(plan)}
    repaired = replan_day(plan=plan, by=office, now=NOW, happened=Happened(), iterations=50)
    for stop in _stops(repaired):
        key = (stop.visit_id, stop.round.installer_id, stop.round.day)
        assert stop.day_reason == before.get(key, stop.day_reason) != ""


def test_what_a_repair_keeps_near_its_time_does_not_say_that_the_site_opens_then(
    town: Town, as_office: APIClient, office: Membership
) -> None:
    town.installer("Ada")
    plan = publish_plan(plan=run_night(town, sites=6), by=office, now=NOW)
    stops = max((list(row.stops.order_by("order")) for row in plan.rounds.all()), key=len)
    _, second, third, fourth, *_ = stops
    for stop in (second, third):
        cancel_visit(visit=stop.visit, by=office, note="the shop is shut", now=NOW)
    repaired = replan_day(plan=plan, by=office, now=NOW, happened=Happened(), iterations=50)
    kept = Stop.objects.get(round__plan=repaired, visit=fourth.visit)
    assert abs(kept.starts_at - fourth.starts_at) <= timedelta(minutes=15)
    why = _whys(as_office, repaired)
    assert why[kept.visit_id].endswith(" near the time planned before.")
    assert not any("the site opens" in each for each in why.values())


def test_cents_are_no_reason_for_a_day() -> None:
    other = date(2026, 3, 5)
    assert words.cheaper_together(other, 0.03, "EUR").startswith("its day hardly matters, and of all rounds tried")
    told = words.cheaper_together(other, 2.5, "EUR")
    assert told == (
        "its work alone would cost 2.50 EUR less on Thursday 5 March, but of all rounds tried those with it here cost "
        "least"
    )


def test_a_time_offered_to_the_client_is_no_hour_of_the_site(
    town: Town, as_office: APIClient, office: Membership
) -> None:
    town.installer("Ada")
    run_night(town, sites=2)
    for hour, visit in zip((8, 11), Visit.objects.order_by("pk"), strict=True):
        opens = [datetime(2026, 3, day, hour, 0, tzinfo=UTC) for day in (3, 4)]
        windows = [(at, at + timedelta(hours=1)) for at in opens]
        offer_visit(visit=visit, by=office, windows=windows, outside_access_hours=True, now=NOW)
    plan = plan_rounds(company=town.company, by=office, now=NOW, iterations=50).plan
    told = list(_whys(as_office, plan).values())
    assert len(told) == 2
    assert any(each.endswith("not before 12:00, when the time offered to the client begins.") for each in told), told
