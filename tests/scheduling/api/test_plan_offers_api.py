"""A published plan offered to its clients, and what they answer by the link of their letter."""

import re
from datetime import UTC, datetime, timedelta
from typing import Any

import pytest
import time_machine
from django.core import mail
from django.test import Client as Browser
from rest_framework.test import APIClient

from accounts.errors import Conflict
from accounts.models import AuditEntry, Client, Membership
from scheduling.models import Installer, Message, Plan, Stop, UnservedVisit, Visit
from scheduling.services.people.answer_links import read_answer_token
from scheduling.services.people.messages import remind, send_messages
from scheduling.services.people.words import windows_text
from scheduling.services.rounds import answers
from scheduling.services.rounds.hand_moves import move_stop
from scheduling.services.rounds.plans import plan_rounds, publish_plan
from tests.scheduling.night import run_night
from tests.scheduling.town import NOW, TODAY, Town

ADDRESS = "https://water.example.org"


@pytest.fixture
def plan(town: Town, ada: Installer, office: Membership) -> Plan:
    """A week of one installer from tomorrow on: nobody is offered a time of the day that has begun."""
    run_night(town, sites=6)
    draft = plan_rounds(company=town.company, by=office, now=NOW, first_day=TODAY + timedelta(days=1), days=4).plan
    return publish_plan(plan=draft, by=office, now=NOW)


@pytest.fixture
def offered(as_office: APIClient, plan: Plan, settings: Any) -> dict[str, Any]:
    settings.PUBLIC_URL = ADDRESS
    answer = as_office.post(f"/api/v1/plans/{plan.pk}/offer/")
    assert answer.status_code == 200, answer.content
    return answer.json()


def _links(visit: int) -> str:
    """The path that the letter of a visit asks its client to follow."""
    body = Message.objects.get(visit=visit, kind=Message.Kind.OFFERED).body
    return re.search(rf"{ADDRESS}/(answer/\S+/)", body).group(1)


def _stop(visit: int) -> Stop | None:
    stops = Stop.objects.filter(visit=visit, round__plan__state="published").select_related("round__plan")
    return stops.first()


def _check_times(plan: Plan) -> None:
    """The rounds of a plan can be driven: every start after the work and the drive before it."""
    for row in plan.rounds.all():
        at = row.leaves_at
        for stop in row.stops.select_related("visit").order_by("order"):
            assert stop.starts_at >= stop.arrives_at >= at + timedelta(minutes=stop.driving_minutes - 1, seconds=-7)
            at = stop.leaves_at


def test_every_visit_of_a_published_plan_is_offered_its_own_time_and_others(
    offered: dict[str, Any], plan: Plan, as_office: APIClient
) -> None:
    stops = Stop.objects.filter(round__plan=plan)
    assert {row["id"] for row in offered["visits"]} == {stop.visit_id for stop in stops}
    assert len(offered["letters"]) == len(offered["visits"]) == 6
    for row in offered["visits"]:
        assert set(row["offers"][0]) == {"opens_at", "closes_at"}
        own = _stop(row["id"]).starts_at
        assert any(w["opens_at"] <= own.isoformat() < w["closes_at"] for w in row["offers"])
    assert [len(row["offers"]) for row in offered["visits"]] == [3] * 6
    again = as_office.post(f"/api/v1/plans/{plan.pk}/offer/").json()
    assert again == {"visits": [], "letters": [], "not_offered": []}
    assert AuditEntry.objects.filter(action="offer plan").count() == 1


def test_a_time_later_today_is_offered_and_one_too_soon_says_why_not(
    town: Town, ada: Installer, as_office: APIClient, office: Membership
) -> None:
    run_night(town, sites=6)
    draft = plan_rounds(company=town.company, by=office, now=NOW, first_day=TODAY, days=3).plan
    plan = publish_plan(plan=draft, by=office, now=NOW)
    first, *_, last = Stop.objects.filter(round__plan=plan, round__day=TODAY).order_by("starts_at")
    assert last.starts_at - first.starts_at > timedelta(hours=1.5)
    # nearly three hours before the first, so that it is too soon for a letter, and the last is not
    with time_machine.travel(first.starts_at - timedelta(hours=2, minutes=50), tick=False):
        answer = as_office.post(f"/api/v1/plans/{plan.pk}/offer/").json()
        row = answer["not_offered"][0]
        assert (row["visit"], row["site"]) == (first.visit_id, first.visit.site_id)
        assert "less than 3 hours" in row["reason"]
        (own,) = [visit for visit in answer["visits"] if visit["id"] == last.visit_id]
        assert any(w["opens_at"] <= last.starts_at.isoformat() < w["closes_at"] for w in own["offers"])
        # the call that is named settles it
        settled = as_office.post(row["settle"]["path"], row["settle"]["body"], format="json")
        assert settled.status_code == 200, settled.content
        assert as_office.post(f"/api/v1/plans/{plan.pk}/offer/").json()["not_offered"] == answer["not_offered"][1:]
    planned = set(Stop.objects.filter(round__plan=plan).values_list("visit_id", flat=True))
    told = {visit["id"] for visit in answer["visits"]} | {row["visit"] for row in answer["not_offered"]}
    assert told == planned


def test_a_draft_is_not_offered(town: Town, ada: Installer, as_office: APIClient) -> None:
    draft = run_night(town, sites=2)
    answer = as_office.post(f"/api/v1/plans/{draft.pk}/offer/")
    assert (answer.status_code, answer.json()["code"]) == (409, "plan_is_not_published")
    assert not Visit.objects.filter(state=Visit.State.OFFERED).exists()


def test_a_client_with_two_visits_gets_one_letter_with_a_link_for_each(
    town: Town, ada: Installer, office: Membership, as_office: APIClient, settings: Any
) -> None:
    settings.PUBLIC_URL = ADDRESS
    run_night(town, sites=2)
    client = town.client(name="Two sites", email="two@example.org")
    town.company.sites.update(client=client)
    draft = plan_rounds(company=town.company, by=office, now=NOW, first_day=TODAY + timedelta(days=1), days=4).plan
    publish_plan(plan=draft, by=office, now=NOW)
    answer = as_office.post(f"/api/v1/plans/{draft.pk}/offer/").json()
    assert (len(answer["visits"]), len(answer["letters"])) == (2, 1)
    body = Message.objects.get(pk=answer["letters"][0]["id"]).body
    assert len(set(re.findall(rf"{ADDRESS}/answer/\S+/", body))) == 2
    # whoever has the link may answer, so staff do not read it
    assert ADDRESS + "/answer/.../" in answer["letters"][0]["body"]


def test_the_letter_says_who_writes_and_how_to_reach_them_and_leaves_as_one_mail(
    plan: Plan, town: Town, as_owner: APIClient, as_office: APIClient, settings: Any
) -> None:
    settings.PUBLIC_URL = ADDRESS
    town.company.clients.update(email="client@example.org")
    body = {"phone": "030 555 0100", "email": "office@example.org", "address": "Brook Lane 4, Milltown"}
    assert as_owner.patch("/api/v1/company/", body).status_code == 200
    letters = as_office.post(f"/api/v1/plans/{plan.pk}/offer/").json()["letters"]
    send_messages(now=NOW + timedelta(minutes=1))
    with_mail = [letter for letter in letters if letter["email"]]
    assert with_mail
    assert len(mail.outbox) == len(with_mail)
    for sent in mail.outbox:
        assert all(text in sent.body for text in (*body.values(), plan.company.name, f"{ADDRESS}/answer/"))


def test_without_an_address_of_the_server_the_letter_has_no_link(as_office: APIClient, plan: Plan) -> None:
    as_office.post(f"/api/v1/plans/{plan.pk}/offer/")
    assert "answer/" not in Message.objects.filter(kind="offered").first().body


def test_whoever_chooses_what_the_published_plan_keeps_every_time(
    offered: dict[str, Any], plan: Plan, api: APIClient
) -> None:
    """Each client takes the last window, most of them one that is not in the plan: no two get in each other's way."""
    for row in offered["visits"]:
        link = f"/api/v1/{_links(row['id']).replace('answer/', 'answers/')}"
        before = api.get(link).json()
        assert (before["is_open"], before["state"]) == (True, "offered")
        window = before["windows"][-1]
        answer = api.post(link, {"answer": "accept", "opens_at": window["opens_at"]}, format="json")
        assert (answer.status_code, answer.json()["state"]) == (200, "confirmed"), answer.content
        visit = Visit.objects.get(pk=row["id"])
        assert datetime.fromisoformat(window["opens_at"]) <= visit.appointment_at
        assert visit.appointment_at < datetime.fromisoformat(window["closes_at"])
        stop = _stop(visit.pk)
        assert (stop.starts_at, stop.round.installer_id) == (visit.appointment_at, visit.installer_id)
    plan.refresh_from_db()
    assert plan.faults == []
    _check_times(plan)
    assert not UnservedVisit.objects.filter(plan=plan, visit__in=[row["id"] for row in offered["visits"]]).exists()
    assert Message.objects.filter(kind=Message.Kind.OFFER_TAKEN).count() == 6


def test_the_time_of_the_plan_is_taken_without_a_change(offered: dict[str, Any], plan: Plan, api: APIClient) -> None:
    row = offered["visits"][0]
    stop = _stop(row["id"])
    own = next(w for w in row["offers"] if w["opens_at"] <= stop.starts_at.isoformat() < w["closes_at"])
    link = f"/api/v1/{_links(row['id']).replace('answer/', 'answers/')}"
    api.post(link, {"answer": "accept", "opens_at": own["opens_at"]}, format="json")
    after = _stop(row["id"])
    assert (after.pk, after.starts_at, after.round_id) == (stop.pk, stop.starts_at, stop.round_id)
    assert Visit.objects.get(pk=row["id"]).appointment_at == stop.starts_at


def test_who_declines_leaves_the_round_which_is_driven_without_them(
    offered: dict[str, Any], plan: Plan, api: APIClient, as_office: APIClient, town: Town, office: Membership
) -> None:
    row = offered["visits"][2]
    stop = _stop(row["id"])
    others = list(stop.round.stops.exclude(pk=stop.pk).values_list("visit_id", flat=True))
    link = f"/api/v1/{_links(row['id']).replace('answer/', 'answers/')}"
    answer = api.post(link, {"answer": "decline", "note": "We are away until Friday."}, format="json")
    assert (answer.status_code, answer.json()["is_open"]) == (200, False), answer.content
    assert _stop(row["id"]) is None
    assert list(stop.round.stops.values_list("visit_id", flat=True)) == others
    _check_times(plan)
    whole = as_office.get(f"/api/v1/plans/{plan.pk}/").json()
    left_out = {unserved["visit"]: unserved["reason"] for unserved in whole["unserved"]}
    assert left_out[row["id"]] == "declined"
    told = Message.objects.get(kind=Message.Kind.OFFER_DECLINED)
    assert "away until Friday" in told.body
    # a second answer by the same link finds nothing to answer
    again = api.post(link, {"answer": "decline"}, format="json")
    assert (again.status_code, again.json()["code"]) == (409, "offer_no_longer_stands")
    # the next plan goes at none of the times that were declined
    draft = plan_rounds(company=town.company, by=office, now=NOW, first_day=TODAY + timedelta(days=1), days=4).plan
    publish_plan(plan=draft, by=office, now=NOW)
    new = _stop(row["id"])
    assert new is not None
    assert not any(w["opens_at"] <= new.starts_at.isoformat() < w["closes_at"] for w in row["offers"])


def test_a_call_is_asked_for_once_and_stands_on_the_call_list(
    offered: dict[str, Any], api: APIClient, as_office: APIClient
) -> None:
    row = offered["visits"][0]
    link = f"/api/v1/{_links(row['id']).replace('answer/', 'answers/')}"
    for _ in range(2):
        assert api.post(link, {"answer": "call_me", "note": "After six."}, format="json").status_code == 200
    calls = as_office.get("/api/v1/messages/", {"state": "to_call", "kind": "call_wanted"}).json()["results"]
    assert [call["visit"] for call in calls] == [row["id"]]
    assert "After six." in calls[0]["body"]
    assert api.get(link).json()["sentence"].startswith("Thank you. We will call you. Please choose ")
    as_office.post(f"/api/v1/messages/{calls[0]['id']}/called/", {}, format="json")
    assert api.get(link).json()["sentence"].startswith("Please choose ")
    assert Visit.objects.get(pk=row["id"]).state == "offered"


@pytest.mark.parametrize(
    ("body", "status", "pointer"),
    [
        ({}, 400, "/answer"),
        ({"answer": "perhaps"}, 400, "/answer"),
        ({"answer": "accept"}, 400, "/opens_at"),
        ({"answer": "accept", "opens_at": "soon"}, 400, "/opens_at"),
        ({"answer": "accept", "opens_at": "2026-03-05T03:00:00Z"}, 400, "/opens_at"),
        ({"answer": "decline", "why": "x"}, 400, "/why"),
    ],
)
def test_an_answer_that_cannot_be_understood_changes_nothing_and_says_why(
    offered: dict[str, Any], api: APIClient, body: dict[str, str], status: int, pointer: str
) -> None:
    row = offered["visits"][0]
    answer = api.post(f"/api/v1/{_links(row['id']).replace('answer/', 'answers/')}", body, format="json")
    assert answer.status_code == status, answer.content
    assert pointer in [fault["pointer"] for fault in answer.json()["errors"]]
    assert Visit.objects.get(pk=row["id"]).state == "offered"


def test_a_link_is_good_for_its_own_offer_and_for_nobody_elses(
    offered: dict[str, Any], api: APIClient, as_office: APIClient
) -> None:
    first, second = offered["visits"][:2]
    link = f"/api/v1/{_links(first['id']).replace('answer/', 'answers/')}"
    token = link.split("/")[-2]
    for forged in (token[:-1] + ("A" if token[-1] != "A" else "B"), token.split(":")[0], "x", f"{token}x"):
        assert api.get(f"/api/v1/answers/{forged}/").status_code == 404
    # another visit's window is none of this one's
    others = [w["opens_at"] for w in second["offers"] if w not in first["offers"]]
    if others:
        assert api.post(link, {"answer": "accept", "opens_at": others[0]}, format="json").status_code == 400
    # a new offer takes the old link's power away
    windows = [{"opens_at": f"2026-03-0{day}T08:00:00Z", "closes_at": f"2026-03-0{day}T09:00:00Z"} for day in (4, 5)]
    address = f"/api/v1/visits/{first['id']}/offer/"
    body = {"windows": windows, "outside_access_hours": True}
    assert as_office.post(address, body, format="json").status_code == 200
    old = api.post(link, {"answer": "decline"}, format="json")
    assert (old.status_code, old.json()["code"]) == (409, "offer_no_longer_stands")
    # whoever asks for a call by it is told that one comes
    call = api.post(link, {"answer": "call_me"}, format="json")
    assert (call.status_code, call.json()["sentence"][:31]) == (200, "Thank you. We will call you. Th")
    with time_machine.travel(NOW + timedelta(days=61), tick=False):
        assert api.get(link).status_code == 404


def test_who_declines_while_the_office_offers_other_windows_declines_none_of_those(
    offered: dict[str, Any], as_office: APIClient
) -> None:
    visit = offered["visits"][0]["id"]
    asked = read_answer_token(_links(visit).split("/")[1])
    assert asked is not None
    windows = [{"opens_at": f"2026-03-0{day}T08:00:00Z", "closes_at": f"2026-03-0{day}T09:00:00Z"} for day in (4, 5)]
    body = {"windows": windows, "outside_access_hours": True}
    assert as_office.post(f"/api/v1/visits/{visit}/offer/", body, format="json").status_code == 200
    with pytest.raises(Conflict) as refused:
        answers.answer(asked, answer="decline", opens_at=None, note="", now=NOW)
    assert refused.value.code == "offer_no_longer_stands"
    assert len(Visit.objects.get(pk=visit, state="offered").offers) == 2


def test_the_page_of_a_link_works_without_script_and_answers_only_when_a_button_is_pressed(
    offered: dict[str, Any], plan: Plan
) -> None:
    row = offered["visits"][1]
    browser = Browser(enforce_csrf_checks=True)
    path = f"/{_links(row['id'])}"
    page = browser.get(path)
    text = page.content.decode()
    assert page.status_code == 200
    assert text.count('type="radio"') == len(row["offers"])
    assert "<script" not in text
    assert page.headers["Referrer-Policy"] == "same-origin"
    assert "default-src 'none'" in page.headers["Content-Security-Policy"]
    assert "no-store" in page.headers["Cache-Control"]
    assert Visit.objects.get(pk=row["id"]).state == "offered"
    value = re.findall(r'name="opens_at" value="([^"]+)"', text)[0]
    csrf = re.search(r'name="csrfmiddlewaretoken" value="([^"]+)"', text).group(1)
    assert browser.post(path, {"answer": "accept", "opens_at": value}).status_code == 403
    # what no database can hold is refused, as by the interface
    for answer in ({"answer": "call_me", "note": "a\x00b"}, {"answer": "call_me", "note": "x" * 1001}, {"answer": "y"}):
        assert browser.post(path, {**answer, "csrfmiddlewaretoken": csrf}).status_code == 400
    assert not Message.objects.filter(kind=Message.Kind.CALL_WANTED).exists()
    nothing = browser.post(path, {"answer": "accept", "csrfmiddlewaretoken": csrf})
    assert (nothing.status_code, "choose one of the times" in nothing.content.decode()) == (400, True)
    done = browser.post(path, {"answer": "accept", "opens_at": value, "csrfmiddlewaretoken": csrf}, follow=True)
    assert done.status_code == 200
    assert "will come on" in done.content.decode()
    assert Visit.objects.get(pk=row["id"]).state == "confirmed"
    late = browser.post(path, {"answer": "decline", "csrfmiddlewaretoken": csrf})
    assert late.status_code == 409
    assert Visit.objects.get(pk=row["id"]).state == "confirmed"
    unknown = browser.get("/answer/nonsense/")
    assert (unknown.status_code, "does not work" in unknown.content.decode()) == (404, True)


def test_confirming_another_time_moves_the_stop_at_once(as_office: APIClient, plan: Plan, ada: Installer) -> None:
    stop = Stop.objects.filter(round__plan=plan).order_by("round__day", "order").first()
    other_day = plan.last_day
    at = datetime.fromisoformat(f"{other_day}T14:00:00+00:00")
    address = f"/api/v1/visits/{stop.visit_id}/"
    body = {"appointment_at": at.isoformat(), "installer": ada.pk, "outside_access_hours": True}
    assert as_office.post(f"{address}confirm/", body, format="json").status_code == 200
    after = _stop(stop.visit_id)
    assert after is not None
    assert (after.starts_at, after.round.day) == (at, other_day)
    _check_times(plan)
    assert as_office.get(address).json()["planned"]["starts_at"] == at.isoformat().replace("+00:00", "Z")


def test_a_time_that_no_round_can_keep_leaves_the_plan_which_says_so(
    as_office: APIClient, plan: Plan, ada: Installer
) -> None:
    """After the last day of the plan nobody's round is planned: the stop must not stay on the old sheet."""
    stop = Stop.objects.filter(round__plan=plan).order_by("round__day", "order").first()
    at = datetime.fromisoformat(f"{plan.last_day + timedelta(days=4)}T10:00:00+00:00")
    body = {"appointment_at": at.isoformat(), "installer": ada.pk, "outside_access_hours": True}
    answer = as_office.post(f"/api/v1/visits/{stop.visit_id}/confirm/", body, format="json")
    assert answer.status_code == 200, answer.content
    assert _stop(stop.visit_id) is None
    _check_times(plan)
    whole = as_office.get(f"/api/v1/plans/{plan.pk}/").json()
    assert [fault["code"] for fault in whole["faults"]] == ["in_no_round"]
    assert whole["faults"][0]["visit"] == str(stop.visit_id)


def test_confirmed_and_moved_before_anything_left_is_one_letter(
    as_office: APIClient, plan: Plan, ada: Installer
) -> None:
    Client.objects.update(email="post@quay.example")
    visit = Stop.objects.filter(round__plan=plan).first().visit_id
    for hour in (9, 12):
        at = datetime.fromisoformat(f"{plan.last_day}T{hour:02}:00:00+00:00")
        body = {"appointment_at": at.isoformat(), "installer": ada.pk, "outside_access_hours": True}
        assert as_office.post(f"/api/v1/visits/{visit}/confirm/", body, format="json").status_code == 200
    rows = Message.objects.filter(visit=visit, audience="client").order_by("pk").values_list("kind", "state")
    assert [(kind, state == "replaced") for kind, state in rows] == [("confirmed", True), ("confirmed", False)]


def test_an_offer_whose_windows_have_passed_is_not_sent(offered: dict[str, Any]) -> None:
    counts = send_messages(now=NOW + timedelta(days=20))
    assert counts["sent"] == 0
    assert not mail.outbox
    assert not Message.objects.filter(kind="offered", state="waiting").exists()


def test_the_day_before_a_client_is_reminded_once(as_office: APIClient, plan: Plan, ada: Installer) -> None:
    visit = Stop.objects.filter(round__plan=plan).first().visit_id
    at = datetime.fromisoformat(f"{plan.last_day}T09:00:00+00:00")
    body = {"appointment_at": at.isoformat(), "installer": ada.pk, "outside_access_hours": True}
    as_office.post(f"/api/v1/visits/{visit}/confirm/", body, format="json")
    afternoon = at - timedelta(hours=18)
    assert remind(now=at - timedelta(hours=30)) == 0
    assert (remind(now=afternoon), remind(now=afternoon + timedelta(hours=1))) == (1, 0)
    reminder = Message.objects.get(kind=Message.Kind.REMINDER)
    assert "tomorrow" in reminder.body
    assert reminder.useful_until == at


def _api(letter: Message) -> str:
    return f"/api/v1/answers/{re.search(r'/answer/([^/]+)/', letter.body).group(1)}/"


def _confirmed(as_office: APIClient, plan: Plan) -> Visit:
    stop = Stop.objects.filter(round__plan=plan).order_by("round__day", "order").first()
    body = {"appointment_at": stop.starts_at.isoformat(), "installer": stop.round.installer_id}
    answer = as_office.post(f"/api/v1/visits/{stop.visit_id}/confirm/", body, format="json")
    assert answer.status_code == 200, answer.content
    return Visit.objects.get(pk=stop.visit_id)


def test_a_confirmed_time_is_cancelled_by_the_link_of_its_letter(
    as_office: APIClient, plan: Plan, api: APIClient, settings: Any
) -> None:
    """What the office confirmed by telephone, its client cancels without signing in; the round is driven without it."""
    settings.PUBLIC_URL = ADDRESS
    visit = _confirmed(as_office, plan)
    letter = Message.objects.get(visit=visit, kind=Message.Kind.CONFIRMED)
    assert _api(letter) not in as_office.get(f"/api/v1/messages/{letter.pk}/").json()["body"]
    link = _api(letter)
    shown = api.get(link).json()
    assert (shown["is_open"], shown["may_cancel"], shown["windows"]) == (False, True, [])
    answer = api.post(link, {"answer": "cancel", "note": "The tank is sold."}, format="json")
    assert (answer.status_code, answer.json()["state"], answer.json()["may_cancel"]) == (200, "cancelled", False)
    assert "The tank is sold." in Message.objects.get(visit=visit, audience="office", kind="cancelled").body
    visit.refresh_from_db()
    assert visit.declined[0]["opens_at"] <= visit.appointment_at.isoformat() < visit.declined[0]["closes_at"]
    again = api.post(link, {"answer": "cancel"}, format="json")
    assert (again.status_code, again.json()["code"]) == (409, "time_no_longer_stands")
    sheet = as_office.get(f"/api/v1/rounds/{_stop(visit.pk).round_id}/day-sheet/").json()
    assert [stop["state"] for stop in sheet["stops"] if stop["visit"] == visit.pk] in ([], ["cancelled"])


def test_the_link_of_a_time_cancels_no_other_time(
    as_office: APIClient, plan: Plan, api: APIClient, settings: Any
) -> None:
    """Not once it is another one, not after it, and never an offer."""
    settings.PUBLIC_URL = ADDRESS
    Client.objects.update(email="post@quay.example")
    visit = _confirmed(as_office, plan)
    link = _api(Message.objects.get(visit=visit, kind=Message.Kind.CONFIRMED))
    later = (visit.appointment_at + timedelta(minutes=30)).isoformat()
    body = {"appointment_at": later, "outside_access_hours": True}
    assert as_office.post(f"/api/v1/visits/{visit.pk}/confirm/", body, format="json").status_code == 200
    newest = Message.objects.filter(visit=visit, kind=Message.Kind.CONFIRMED).latest("pk")
    assert (api.get(link).json()["may_cancel"], api.get(_api(newest)).json()["may_cancel"]) == (False, True)
    old = api.post(link, {"answer": "cancel"}, format="json")
    assert (old.status_code, old.json()["code"]) == (409, "time_no_longer_stands")
    with time_machine.travel(visit.appointment_at + timedelta(hours=2), tick=False):
        assert api.post(_api(newest), {"answer": "cancel"}, format="json").status_code == 409
    assert Visit.objects.get(pk=visit.pk).state == "confirmed"
    assert as_office.post(f"/api/v1/plans/{plan.pk}/offer/").status_code == 200
    offer = Message.objects.filter(kind=Message.Kind.OFFERED).first()
    assert api.post(_api(offer), {"answer": "cancel"}, format="json").status_code == 409
    assert Visit.objects.get(pk=offer.visit_id).state == "offered"


def test_the_page_cancels_the_time_that_was_chosen_on_it(offered: dict[str, Any], plan: Plan) -> None:
    row = offered["visits"][0]
    browser = Browser()
    path = f"/{_links(row['id'])}"
    value = re.findall(r'name="opens_at" value="([^"]+)"', browser.get(path).content.decode())[0]
    chosen = browser.post(path, {"answer": "accept", "opens_at": value}, follow=True)
    page, own = chosen.content.decode(), chosen.redirect_chain[-1][0]
    assert own != path
    assert 'value="cancel"' in page
    assert 'value="cancel"' not in browser.get(path).content.decode()
    gone = browser.post(own, {"answer": "cancel", "note": "ill"}, follow=True).content.decode()
    assert "This visit is cancelled." in gone
    assert 'value="cancel"' not in gone
    assert Visit.objects.get(pk=row["id"]).state == "cancelled"


def test_every_planned_start_can_be_confirmed_as_it_is_shown(as_office: APIClient, plan: Plan) -> None:
    """People are told whole minutes: what a plan shows, an offer keeps free and the confirm call takes are the same."""
    stops = [stop for day in as_office.get(f"/api/v1/plans/{plan.pk}/").json()["rounds"] for stop in day["stops"]]
    assert len(stops) == 6
    for stop in stops:
        assert all(stop[name].endswith(":00Z") for name in ("arrives_at", "starts_at", "leaves_at"))
        body = {"appointment_at": stop["starts_at"]}
        answer = as_office.post(f"/api/v1/visits/{stop['visit']}/confirm/", body, format="json")
        assert answer.status_code == 200, answer.content
        assert answer.json()["planned"]["starts_at"] == answer.json()["appointment_at"] == stop["starts_at"]
    assert as_office.get(f"/api/v1/plans/{plan.pk}/").json()["faults"] == []


@pytest.mark.parametrize(("weeks", "says"), [(6, "from Wednesday 18 March 2026 on"), (3, "plan Tuesday 24 March")])
def test_a_time_that_no_plan_holds_says_when_one_will(
    town: Town, ada: Installer, as_office: APIClient, weeks: int, says: str
) -> None:
    """Confirmed for 14 April, more than 28 days ahead: by itself, a plan holds it from 27 days before on."""
    run_night(town, sites=1)
    visit = Visit.objects.get(state="proposed")
    at = datetime(2026, 3, 3, 9, tzinfo=UTC) + timedelta(weeks=weeks)
    body = {"appointment_at": at.isoformat(), "outside_access_hours": True}
    shown = as_office.post(f"/api/v1/visits/{visit.pk}/confirm/", body, format="json").json()
    assert shown["planned"] is None
    assert says in shown["why_in_no_round"], shown["why_in_no_round"]
    for days, holds_it in ((29, False), (27, True)):
        now = at - timedelta(days=days)
        plan = plan_rounds(company=town.company, by=None, now=now, iterations=50).plan
        assert Stop.objects.filter(round__plan=plan, visit=visit).exists() is holds_it


def test_what_a_published_round_holds_needs_no_reason(as_office: APIClient, plan: Plan) -> None:
    visit = _confirmed(as_office, plan)
    shown = as_office.get(f"/api/v1/visits/{visit.pk}/").json()
    assert (shown["why_in_no_round"], shown["planned"]["starts_at"]) == ("", shown["appointment_at"])


@pytest.mark.parametrize("answer", ["accept", "decline", "confirm"])
def test_what_is_said_on_the_telephone_is_entered_with_one_call(
    town: Town, plan: Plan, as_office: APIClient, office: Membership, answer: str
) -> None:
    """Who has no e-mail is called; once the answer is entered nobody has to call about it again."""
    town.company.clients.update(email="")
    as_office.post(f"/api/v1/plans/{plan.pk}/offer/")
    visit = Visit.objects.filter(state="offered").order_by("pk").first()
    calls = as_office.get("/api/v1/messages/", {"state": "to_call"}).json()["results"]
    (call,) = [row for row in calls if row["visit"] == visit.pk]
    assert all(span in call["body"] for span in windows_text(visit.offers, visit.site.time_zone))
    chosen = visit.offers[0]["opens_at"]
    bodies = {"accept": {"opens_at": chosen}, "decline": {"reason": "away"}, "confirm": {"appointment_at": chosen}}
    entered = as_office.post(f"/api/v1/visits/{visit.pk}/{answer}/", bodies[answer], format="json")
    assert entered.status_code == 200, entered.content
    left = as_office.get("/api/v1/messages/", {"state": "to_call"}).json()["results"]
    assert visit.pk not in [row["visit"] for row in left]
    assert len(left) == len(calls) - 1
    told = Message.objects.filter(visit=visit, audience="client")
    assert {(message.kind, message.state, message.called_by) for message in told} == {
        (kind, "called", office) for kind in ("offered", "confirmed")[: 1 if answer == "decline" else 2]
    }


def test_an_answered_offer_does_not_leave(plan: Plan, as_office: APIClient, town: Town) -> None:
    town.company.clients.update(email="client@example.org")
    as_office.post(f"/api/v1/plans/{plan.pk}/offer/")
    visit = Visit.objects.filter(state="offered").first()
    as_office.post(f"/api/v1/visits/{visit.pk}/accept/", {"opens_at": visit.offers[0]["opens_at"]}, format="json")
    states = dict(Message.objects.filter(visit=visit, audience="client").values_list("kind", "state"))
    assert states == {"offered": "replaced", "confirmed": "waiting"}


def test_times_that_the_plan_no_longer_keeps_are_offered_anew(
    offered: dict[str, Any], plan: Plan, ada: Installer, as_office: APIClient, office: Membership, api: APIClient
) -> None:
    Message.objects.filter(kind="offered").update(state="sent")
    # of one client the stop is moved to a day that was not among the times offered
    chosen = next(row for row in offered["visits"] if len({w["opens_at"][:10] for w in row["offers"]}) < 4)
    taken = {w["opens_at"][:10] for w in chosen["offers"]}
    day = next(d for k in range(1, 5) if (d := TODAY + timedelta(days=k)).isoformat() not in taken)
    stop = _stop(chosen["id"])
    link = _links(chosen["id"])
    move_stop(stop=stop, by=office, now=NOW, installer=ada, day=day, acknowledge={"outside_offer"})
    now_at = _stop(chosen["id"]).starts_at
    rows = [row for kind in as_office.get("/api/v1/attention/").json()["by_kind"] for row in kind["matters"]]
    (of_visit,) = [row for row in rows if row["visit"] == chosen["id"]]
    (matter,) = [reason for reason in of_visit["reasons"] if reason["kind"] == "unanswered"]
    assert "which is none of the times offered" in matter["sentence"]

    again = as_office.post(matter["settle"]["path"]).json()
    assert [row["id"] for row in again["visits"]] == [chosen["id"]]
    windows = again["visits"][0]["offers"]
    assert any(w["opens_at"] <= now_at.isoformat() < w["closes_at"] for w in windows)
    (letter,) = again["letters"]
    assert "the times that we offered you before do not stand any more" in letter["body"]
    assert as_office.post(f"/api/v1/plans/{plan.pk}/offer/").json()["visits"] == []
    # the times of the first letter can be chosen no more
    answers = f"/api/v1/{link.replace('answer/', 'answers/', 1)}"
    shown = api.get(answers).json()
    assert shown["windows"] == []
    assert shown["sentence"] == "These times do not stand any more; our newest letter has others."
    chosen_first = {"answer": "accept", "opens_at": chosen["offers"][0]["opens_at"]}
    assert api.post(answers, chosen_first, format="json").status_code == 409


def test_times_that_somebody_typed_are_not_offered_anew(
    offered: dict[str, Any], plan: Plan, as_office: APIClient
) -> None:
    pk = offered["visits"][0]["id"]
    at = _stop(pk).starts_at + timedelta(days=7)
    windows = [
        {"opens_at": at.isoformat(), "closes_at": (at + timedelta(hours=1)).isoformat()}
        for at in (at, at + timedelta(hours=2))
    ]
    typed = as_office.post(f"/api/v1/visits/{pk}/offer/", {"windows": windows}, format="json")
    assert typed.status_code == 200, typed.content
    assert as_office.post(f"/api/v1/plans/{plan.pk}/offer/").json()["visits"] == []


def test_a_letter_that_has_not_left_gives_way_to_the_new_times_without_a_word_of_it(
    offered: dict[str, Any], plan: Plan, ada: Installer, as_office: APIClient, office: Membership
) -> None:
    chosen = next(row for row in offered["visits"] if len({w["opens_at"][:10] for w in row["offers"]}) < 4)
    taken = {w["opens_at"][:10] for w in chosen["offers"]}
    day = next(d for k in range(1, 5) if (d := TODAY + timedelta(days=k)).isoformat() not in taken)
    stop = _stop(chosen["id"])
    move_stop(stop=stop, by=office, now=NOW, installer=ada, day=day, acknowledge={"outside_offer"})
    (letter,) = as_office.post(f"/api/v1/plans/{plan.pk}/offer/").json()["letters"]
    assert "we would like to come" in letter["body"]
    assert "before" not in letter["body"]
    assert [row.state for row in Message.objects.filter(visit=chosen["id"], kind="offered").order_by("pk")] == [
        "replaced",
        "to_call",
    ]


def test_a_client_reads_that_somebody_else_comes_than_they_were_told(
    town: Town, plan: Plan, ada: Installer, as_office: APIClient
) -> None:
    town.installer("Ben", east_km=9.0)
    # the last of the day, so that whoever takes over has the time to come
    stop = Stop.objects.filter(round__plan=plan).select_related("visit").order_by("round__day", "-starts_at")[0]
    body = {"appointment_at": stop.starts_at.isoformat(), "installer": ada.pk}
    assert as_office.post(f"/api/v1/visits/{stop.visit_id}/confirm/", body, format="json").status_code == 200
    send_messages(now=NOW)
    day = TODAY + timedelta(days=1)
    absence = {"installer": ada.pk, "first_day": day.isoformat(), "last_day": day.isoformat()}
    assert as_office.post("/api/v1/absences/", absence, format="json").status_code == 201
    mended = as_office.post(f"/api/v1/plans/{plan.pk}/replan/", {}, format="json").json()
    published = as_office.post(f"/api/v1/plans/{mended['id']}/publish/")
    assert published.status_code == 200, published.content
    visit = Visit.objects.get(pk=stop.visit_id)
    assert (visit.appointment_at, visit.installer.name) == (stop.starts_at, "Ben")
    (letter,) = Message.objects.filter(visit=visit, kind="moved", audience="client")
    assert letter.subject == f"Who comes to {visit.site.name}"
    assert "Ben will come to" in letter.body
    assert "and not Ada. The time stays as it was." in letter.body
