"""The office's Monday on its pages: from what cannot wait to a published, offered and mended week."""

import re
from datetime import timedelta
from typing import Any

import pytest
import time_machine
from django.utils import timezone

from accounts.models import Membership
from scheduling.models import Absence, Installer, Plan, Stop, Visit
from scheduling.services.visits.visits import decline_offer, offer_visit
from tests.pages import text_of
from tests.scheduling.night import run_night
from tests.scheduling.town import Town

pytestmark = pytest.mark.interface


@pytest.fixture
def plan(town: Town, ada: Installer) -> Plan:
    run_night(town, sites=3)
    return Plan.objects.get()


def post(desk: Any, address: str, **form: Any) -> Any:
    return desk.post(address, form)


def test_from_what_cannot_wait_to_an_offered_and_mended_week(
    desk: Any,
    clock: time_machine.Traveller,
    town: Town,
    ada: Installer,
    django_capture_on_commit_callbacks: Any,
) -> None:
    # today's vans are on the road: the plan begins tomorrow
    clock.shift(timedelta(hours=5))
    run_night(town, sites=3)
    Plan.objects.all().delete()
    attention = text_of(desk.get("/attention/"))
    assert "Plan the rounds" in attention
    fields = dict(re.findall(r'name="(path|method|known|kind)" value="([^"]*)"', attention))
    assert fields["path"] == "/api/v1/plans/"
    with django_capture_on_commit_callbacks(execute=True):
        planned = post(desk, "/attention/", do="settle", **fields)
    assert planned.status_code == 302
    # without a queue the run is over when it is looked at
    week = desk.get(desk.get(planned.headers["Location"]).headers["Location"])
    plan = Plan.objects.get()
    assert "This is a draft" in text_of(week)
    stops = Stop.objects.filter(round__plan=plan)
    assert stops.count() == 3
    assert all(stop.visit.site.name in text_of(week) for stop in stops)

    published = post(desk, f"/week/?plan={plan.pk}", do="publish", plan=plan.pk)
    assert published.status_code == 302
    assert "3 visits have not been offered" in text_of(desk.get("/week/"))
    assert post(desk, f"/week/?plan={plan.pk}", do="offer", plan=plan.pk).status_code == 302
    assert Visit.objects.filter(state="offered").count() == 3
    assert "3 clients are offered a time." in text_of(desk.get("/week/"))

    day = stops.first().round.day.isoformat()  # type: ignore[union-attr]
    ill = post(desk, "/week/", do="absent", installer=ada.pk, first_day=day, last_day=day, reason="fever")
    assert ill.status_code == 302, text_of(ill)
    assert Absence.objects.get().installer == ada
    repaired = Plan.objects.exclude(pk=plan.pk).get()
    assert ill.headers["Location"] == f"/week/?plan={repaired.pk}"
    shown = text_of(desk.get(ill.headers["Location"]))
    assert "What changes against the published plan" in shown
    assert all(str(row["sentence"]) in shown for row in repaired.differences)


def test_a_move_is_seen_with_its_cost_and_what_it_breaks_and_then_made(desk: Any, plan: Plan, town: Town) -> None:
    ben = town.installer("Ben", east_km=9.0)
    stop = Stop.objects.order_by("order").select_related("round").first()
    assert stop is not None
    address = f"/week/stops/{stop.pk}/"
    assert stop.visit.site.name in text_of(desk.get(address))
    to = {"installer": ben.pk, "day": "2026-03-03", "place": ""}
    seen = text_of(post(desk, address, do="preview", **to))
    assert re.search(r"It would (cost [\d.]+ EUR more|save [\d.]+ EUR|cost the same)", seen)
    assert "Ben" in seen
    assert "Move it" in seen
    assert Stop.objects.get(pk=stop.pk).round_id == stop.round_id
    moved = post(desk, address, do="move", lock="on", reason="Asked for Tuesday.", **to)
    assert moved.headers["Location"] == f"/week/?plan={plan.pk}#stop-{stop.pk}"
    assert Stop.objects.get(pk=stop.pk).round.installer == ben
    # the lock that the move left is a warning of the next one, which nobody has acknowledged
    refused = post(desk, address, do="move", installer=ben.pk, day="2026-03-04")
    assert refused.status_code == 409
    assert "Asked for Tuesday." in text_of(refused)
    assert 'name="acknowledge" value="locked"' in text_of(refused)
    again = post(desk, address, do="move", installer=ben.pk, day="2026-03-04", acknowledge="locked")
    assert again.status_code == 302, text_of(again)


def test_a_part_of_the_page_is_answered_to_a_script_and_the_whole_page_without_one(desk: Any, plan: Plan) -> None:
    stop = Stop.objects.order_by("pk").first()
    assert stop is not None
    part = desk.get(f"/week/stops/{stop.pk}/", headers={"HX-Request": "true", "HX-Target": "stop"})
    assert "<html" not in text_of(part)
    assert "<html" in text_of(desk.get(f"/week/stops/{stop.pk}/"))


def test_a_stop_is_locked_with_a_reason_unlocked_and_given_a_time(desk: Any, plan: Plan) -> None:
    stop = Stop.objects.order_by("pk").select_related("visit").first()
    assert stop is not None
    address = f"/week/stops/{stop.pk}/"
    silent = post(desk, address, do="lock", reason="")
    assert silent.status_code == 400
    assert "reason" in text_of(silent)
    assert post(desk, address, do="lock", reason="The caretaker has the key.").status_code == 302
    assert "The caretaker has the key." in text_of(desk.get(address))
    assert post(desk, address, do="unlock").status_code == 302
    assert Visit.objects.get(pk=stop.visit_id).locked_start is None
    wrong = post(desk, address, do="confirm", day="2026-03-03", hour="soon")
    assert wrong.status_code == 400
    told = post(desk, address, do="confirm", day="2026-03-03", hour="10:00")
    assert told.status_code == 302, text_of(told)
    visit = Visit.objects.get(pk=stop.visit_id)
    assert visit.state == "confirmed"
    # ten o'clock is the company's, in Berlin
    assert visit.appointment_at is not None
    assert visit.appointment_at.isoformat() == "2026-03-03T09:00:00+00:00"


def test_a_finding_is_confirmed_and_another_dismissed_where_they_are_listed(desk: Any, town: Town) -> None:
    unit = town.unit()
    true, untrue = (town.finding(unit, cause) for cause in ("prefilters_clogged", "membrane_oxidised"))
    path = "/api/v1/findings/{}/confirm/"
    for finding, more in ((true, {}), (untrue, {"dismiss": "1"})):
        form = {"path": path.format(finding.pk), "method": "POST", "note": "seen", "kind": "faults", **more}
        assert post(desk, "/attention/", do="settle", **form).headers["Location"] == "/attention/#faults"
        said = "Noted: it is not true." if more else "Noted: it is true."
        assert said in text_of(desk.get("/attention/"))
    true.refresh_from_db()
    untrue.refresh_from_db()
    assert (true.state, true.decision_note, untrue.state) == ("confirmed", "seen", "dismissed")


@pytest.mark.parametrize(
    "path", ["https://elsewhere.example/", "/api/v1/", "/api/v1/nothing/", "/account/", "/api/v1/../account/", ""]
)
def test_what_is_no_call_of_the_interface_settles_nothing(desk: Any, path: str) -> None:
    assert post(desk, "/attention/", do="settle", path=path, method="POST").status_code == 404


def test_a_plan_that_is_none_and_a_deed_that_is_none_are_not_there(desk: Any) -> None:
    assert desk.get("/week/?plan=987654").status_code == 404
    assert post(desk, "/week/", do="publish", plan="soon").status_code == 404
    assert post(desk, "/week/", do="fly").status_code == 404
    refused = post(desk, "/week/", do="plan", days="99")
    assert refused.status_code == 400
    assert 'role="alert"' in text_of(refused)


def test_what_is_too_soon_for_a_letter_is_named_with_whom_to_call(
    desk: Any, plan: Plan, clock: time_machine.Traveller
) -> None:
    """Of a plan for this morning: the page says what the interface says of it."""
    clock.move_to(min(Stop.objects.values_list("starts_at", flat=True)) - timedelta(minutes=30))
    post(desk, f"/week/?plan={plan.pk}", do="publish", plan=plan.pk)
    assert "have not been offered" in text_of(desk.get("/week/"))
    post(desk, f"/week/?plan={plan.pk}", do="offer", plan=plan.pk)
    offered = Visit.objects.filter(state="offered").count()
    assert offered < Stop.objects.filter(round__plan=plan).count()
    assert "from a client who must read a letter first; call" in text_of(desk.get("/week/"))


@pytest.mark.parametrize("number", ["\u00b2", "\u0663", "x", "-1", "9" * 30])
def test_what_is_no_number_here_names_no_row(desk: Any, number: str) -> None:
    assert desk.get(f"/week/?plan={number}").status_code == 200
    assert desk.get(f"/company/policy/?run={number}").status_code == 200
    assert desk.get(f"/units/?page={number}").status_code < 500
    for address, form in (
        ("/week/", {"do": "publish", "plan": number}),
        ("/week/", {"do": "absent", "installer": number}),
        ("/company/", {"do": "withdraw", "invitation": number}),
    ):
        assert 400 <= post(desk, address, **form).status_code < 500


def test_what_a_client_answered_is_read_where_the_visit_stands(desk: Any, office: Membership, plan: Plan) -> None:
    """The client is asked what would suit; whoever plans again must find it on the pages, and not in the post alone."""
    stop = Stop.objects.order_by("pk").select_related("visit__site").first()
    assert stop is not None
    visit = stop.visit
    tuesday = stop.starts_at + timedelta(days=1)
    windows = [(tuesday + timedelta(hours=hour), tuesday + timedelta(hours=hour + 1)) for hour in (0, 1)]
    offer_visit(visit=visit, by=office, windows=windows, now=timezone.now())
    decline_offer(visit=visit, by=None, reason="Away, please the week after", now=timezone.now())
    unit = visit.tasks.first().need.unit_id
    for address in (f"/week/stops/{stop.pk}/", f"/sites/{visit.site_id}/", f"/units/{unit}/"):
        assert "Note: Away, please the week after" in text_of(desk.get(address)), address


def test_nobody_has_to_hear_of_a_time_that_they_were_never_told(desk: Any, plan: Plan, town: Town) -> None:
    ben = town.installer("Ben", east_km=9.0)
    stop = Stop.objects.order_by("order").first()
    assert stop is not None
    to = {"installer": ben.pk, "day": "2026-03-03", "place": ""}
    proposed = text_of(post(desk, f"/week/stops/{stop.pk}/", do="preview", **to))
    assert "What changes:" in proposed
    assert "The client has to hear of it." not in proposed
    Visit.objects.filter(pk=stop.visit_id).update(state="confirmed", appointment_at=stop.starts_at)
    confirmed = text_of(post(desk, f"/week/stops/{stop.pk}/", do="preview", confirmed="on", **to))
    assert "The client has to hear of it." in confirmed


def test_what_had_changed_is_nothing_to_be_done_once_it_is_published(desk: Any, plan: Plan, town: Town) -> None:
    stop = Stop.objects.order_by("pk").first()
    assert stop is not None
    Visit.objects.filter(pk=stop.visit_id).update(state="confirmed", appointment_at=stop.starts_at)
    change = {"visit": stop.visit_id, "sentence": "moved to noon", "tell_client": True, "tell_installers": []}
    shown = {"kind": "moved", "site_name": "", "before": None, "after": None, "appointment_at": None}
    Plan.objects.filter(pk=plan.pk).update(differences=[{**shown, **change}])
    page = text_of(desk.get(f"/week/?plan={plan.pk}"))
    assert "What changes against the published plan" in page
    assert "The client has to hear of it." in page
    Plan.objects.filter(pk=plan.pk).update(state="published", published_at=timezone.now())
    page = text_of(desk.get(f"/week/?plan={plan.pk}"))
    assert "What had changed when it was published" in page
    assert "The client has to hear of it." not in page


def test_a_stop_under_way_says_why_nothing_can_be_moved(desk: Any, plan: Plan) -> None:
    stop = Stop.objects.order_by("pk").first()
    assert stop is not None
    Visit.objects.filter(pk=stop.visit_id).update(state="in_progress")
    assert "Somebody is at it" in text_of(desk.get(f"/week/stops/{stop.pk}/"))
    Visit.objects.filter(pk=stop.visit_id).update(state="cancelled")
    assert "It is closed: nothing is left to move." in text_of(desk.get(f"/week/stops/{stop.pk}/"))


def test_what_is_settled_beside_the_week_leads_back_to_it(desk: Any, plan: Plan) -> None:
    stop = Stop.objects.order_by("pk").first()
    assert stop is not None
    post(desk, f"/week/stops/{stop.pk}/", do="lock", reason="The caretaker has the key.")
    form = {"path": f"/api/v1/visits/{stop.visit_id}/unlock/", "method": "POST", "kind": "", "plan": plan.pk}
    assert post(desk, "/attention/", do="settle", **form).headers["Location"] == f"/week/?plan={plan.pk}"
    assert "The lock is off." in text_of(desk.get(f"/week/?plan={plan.pk}"))
