"""What becomes of visits and orders is told outside with the change itself: planned, moved, off, done, due."""

from datetime import timedelta
from typing import Any

import pytest
from rest_framework.test import APIClient

from accounts.models import Membership
from accounts.webhooks.described import DATA
from accounts.webhooks.models import SUBSCRIBED, Event, WebhookDelivery
from scheduling.models import Installer, Need, Plan, Stop, Visit
from scheduling.services.rounds.confirmed_times import cancel, confirm, decline, take_back
from scheduling.services.rounds.hand_moves import move_stop
from scheduling.services.rounds.plans import publish_plan
from scheduling.services.visits.proposals import propose_visits
from scheduling.services.visits.visits import complete_visit, depart, offer_visit, report_not_done
from tests import factories
from tests.scheduling.night import run_night
from tests.scheduling.town import NOW, TODAY, Town


@pytest.fixture
def crew(town: Town) -> list[Installer]:
    factories.WebhookEndpointFactory(company=town.company, events=[value for value, _ in SUBSCRIBED])
    return [town.installer("Ada"), town.installer("Ben", east_km=14.0)]


@pytest.fixture
def plan(town: Town, crew: list[Installer], office: Membership) -> Plan:
    return publish_plan(plan=run_night(town, sites=6), by=office, now=NOW)


def told(*events: Event) -> list[dict[str, Any]]:
    """What was told of these events, oldest first; the outbox is empty of them afterwards."""
    rows = WebhookDelivery.objects.filter(event__in=events).order_by("pk")
    bodies = [row.body for row in rows]
    for body in bodies:
        assert set(body["data"]) == set(DATA[Event(body["type"])])
    rows.update(event="")
    return bodies


TIMES = (Event.VISIT_PLANNED, Event.VISIT_MOVED)


def test_a_published_plan_tells_of_every_visit_in_it_and_published_again_of_none(
    plan: Plan, office: Membership
) -> None:
    stops = {stop.visit_id: stop for stop in Stop.objects.filter(round__plan=plan).select_related("round")}
    bodies = told(*TIMES)
    assert {body["type"] for body in bodies} == {"visit.planned"}
    assert {body["data"]["visit"]: body["data"]["installer"] for body in bodies} == {
        pk: stop.round.installer_id for pk, stop in stops.items()
    }
    assert not any(body["data"]["is_confirmed"] for body in bodies)
    publish_plan(plan=plan, by=office, now=NOW)
    assert told(*TIMES) == []


def test_a_stop_moved_by_hand_is_told_as_moved(plan: Plan, crew: list[Installer], office: Membership) -> None:
    told(*TIMES)
    stop = Stop.objects.filter(round__plan=plan).select_related("round__plan", "visit").order_by("starts_at", "pk")[0]
    to = next(one for one in crew if one.pk != stop.round.installer_id)
    move_stop(stop=stop, by=office, now=NOW, installer=to, day=TODAY + timedelta(days=1))
    bodies = {body["data"]["visit"]: body for body in told(*TIMES)}
    body = bodies[stop.visit_id]
    assert body["type"] == "visit.moved"
    assert body["data"]["installer"] == to.pk
    assert body["data"]["starts_at"] != body["data"]["earlier_starts_at"]


def test_a_time_confirmed_with_the_client_is_told_once_though_the_rounds_follow(plan: Plan, office: Membership) -> None:
    told(*TIMES)
    stop = Stop.objects.filter(round__plan=plan).select_related("visit", "round").order_by("starts_at", "pk")[0]
    visit = stop.visit
    confirm(visit=visit, by=office, appointment_at=stop.starts_at, installer=stop.round.installer, now=NOW)
    assert [body for body in told(*TIMES) if body["data"]["visit"] == visit.pk] == []
    later = stop.starts_at + timedelta(hours=1)
    confirm(visit=visit, by=office, appointment_at=later, installer=stop.round.installer, now=NOW)
    (body,) = [body for body in told(*TIMES) if body["data"]["visit"] == visit.pk]
    assert (body["type"], body["data"]["is_confirmed"]) == ("visit.moved", True)
    assert Visit.objects.get(pk=visit.pk).appointment_at == later


def stop_of(plan: Plan) -> Stop:
    stops = Stop.objects.filter(round__plan=plan).select_related("visit__site", "round__installer")
    return stops.order_by("starts_at", "pk")[0]


def off_of(stop: Stop, state: str) -> dict[str, Any]:
    """What is told of a visit that loses the time of its stop."""
    return {
        "company": stop.visit.company_id,
        "visit": stop.visit_id,
        "site": stop.visit.site_id,
        "site_code": stop.visit.site.code,
        "earlier_starts_at": stop.starts_at.isoformat().replace("+00:00", "Z"),
        "installer": stop.round.installer_id,
        "state": state,
    }


def test_a_visit_that_is_called_off_is_told_once_with_the_time_it_had(plan: Plan, office: Membership) -> None:
    stop = stop_of(plan)
    cancel(visit=stop.visit, by=office, note="the shop moves", now=NOW)
    assert [body["data"] for body in told(Event.VISIT_OFF)] == [off_of(stop, "cancelled")]


def test_a_time_given_back_and_a_declined_one_are_off_and_the_visit_is_proposed(plan: Plan, office: Membership) -> None:
    stop = stop_of(plan)
    at, installer = stop.starts_at, stop.round.installer
    confirm(visit=stop.visit, by=office, appointment_at=at, installer=installer, now=NOW)
    assert told(Event.VISIT_OFF) == []
    take_back(visit=stop.visit, by=office, note="called: away", now=NOW)
    assert [body["data"] for body in told(Event.VISIT_OFF)] == [off_of(stop, "proposed")]
    # in no round any more, and offered in vain: it had no time that it could lose
    windows = [(at + timedelta(days=days), at + timedelta(days=days, hours=1)) for days in (1, 2)]
    offer_visit(visit=stop.visit, by=office, windows=windows, now=NOW)
    decline(visit=stop.visit, by=office, reason="no", now=NOW)
    assert told(Event.VISIT_OFF) == []

    other = stop_of(plan)
    assert other.visit_id != stop.visit_id
    offer_visit(visit=other.visit, by=office, windows=windows, now=NOW)
    assert told(Event.VISIT_OFF) == []
    decline(visit=other.visit, by=office, reason="away", now=NOW)
    assert [body["data"] for body in told(Event.VISIT_OFF)] == [off_of(other, "proposed")]


def test_a_closed_door_is_told(plan: Plan, office: Membership) -> None:
    stop = stop_of(plan)
    depart(visit=stop.visit, by=office, now=stop.starts_at)
    report_not_done(visit=stop.visit, by=office, obstacle="nobody_in", note="", now=stop.starts_at)
    assert [body["data"] for body in told(Event.VISIT_OFF)] == [off_of(stop, "not_done")]


def test_a_planned_visit_without_need_is_off_and_proposing_again_says_nothing(plan: Plan, town: Town) -> None:
    stop = stop_of(plan)
    Need.objects.filter(site=stop.visit.site_id).update(state=Need.State.DROPPED)
    for _ in range(2):
        propose_visits(company=town.company, now=NOW)
    assert [body["data"] for body in told(Event.VISIT_OFF)] == [off_of(stop, "cancelled")]


def test_what_a_new_plan_leaves_out_is_off(plan: Plan, town: Town, office: Membership) -> None:
    told(*TIMES)
    stops = Stop.objects.filter(round__plan=plan).select_related("visit__site", "round").order_by("starts_at", "pk")
    left_out, *kept = stops
    expected = off_of(left_out, "proposed")
    newer = factories.PlanFactory(company=town.company, first_day=plan.first_day, days=plan.days)
    for stop in kept:
        round_ = newer.rounds.filter(installer=stop.round.installer, day=stop.round.day).first()
        if round_ is None:
            round_ = stop.round
            round_.pk, round_.plan = None, newer
            round_.save(force_insert=True)
        stop.pk, stop.round = None, round_
        stop.save(force_insert=True)
    publish_plan(plan=newer, by=office, now=NOW)
    assert [body["data"] for body in told(Event.VISIT_OFF)] == [expected]
    assert told(*TIMES) == []


def test_work_that_is_done_is_told_by_a_report_and_without_one(
    plan: Plan, office: Membership, as_office: APIClient
) -> None:
    first, second = (stop.visit for stop in Stop.objects.filter(round__plan=plan).order_by("starts_at", "pk")[:2])
    unit = second.tasks.select_related("need__unit")[0].need.unit
    for visit in (first, second):
        visit.tasks.all().delete()
    complete_visit(visit=first, by=office, now=NOW + timedelta(hours=4))
    (body,) = told(Event.VISIT_DONE)
    assert (body["data"]["visit"], body["data"]["done_at"]) == (first.pk, "2026-03-02T08:00:00Z")
    report = {
        "site": second.site_id,
        "visit": second.pk,
        "reference": "van-1/0001",
        "done_at": (NOW + timedelta(hours=1)).isoformat(),
        "work": [{"action": "inspect", "unit": unit.pk}],
    }
    answer = as_office.post("/api/v1/service-records/", report, format="json")
    assert answer.status_code == 201, answer.content
    assert [body["data"]["visit"] for body in told(Event.VISIT_DONE)] == [second.pk]


def test_an_order_that_is_due_is_told_once(town: Town, crew: list[Installer]) -> None:
    supplier = factories.SupplierFactory(company=town.company)
    item = town.item("carbon")
    item.supplier = supplier
    item.save()
    run_night(town, sites=6)
    (body,) = told(Event.ORDER_DUE)
    assert body["data"]["supplier"] == supplier.pk
    assert body["data"]["order_by"] <= TODAY.isoformat()
    assert body["data"]["items"] == 1
