"""One stop moved by a person: the rest re-timed, the cost shown, what it breaks said and never broken in silence."""

from datetime import date, datetime, time, timedelta
from typing import Any
from zoneinfo import ZoneInfo

import pytest

from accounts.errors import Conflict, InvalidInput
from accounts.models import AuditEntry, Membership
from scheduling.models import Installer, Message, Plan, Round, Stop, Visit
from scheduling.planning.travel.trips import GreatCircleTravel
from scheduling.services.rounds.hand_moves import move_stop, preview_move
from scheduling.services.rounds.plans import plan_rounds, publish_plan
from scheduling.services.visits.visits import confirm_visit, depart
from tests.scheduling.night import run_night
from tests.scheduling.town import NOW, TODAY, Town

BERLIN = ZoneInfo("Europe/Berlin")
TUESDAY = TODAY + timedelta(days=1)


@pytest.fixture
def crew(town: Town) -> list[Installer]:
    return [town.installer("Ada"), town.installer("Ben", east_km=14.0)]


@pytest.fixture
def plan(town: Town, crew: list[Installer], office: Membership) -> Plan:
    return publish_plan(plan=run_night(town, sites=6), by=office, now=NOW)


def _stops(plan: Plan) -> list[Stop]:
    rows = Stop.objects.filter(round__plan=plan).select_related("round__installer", "round__plan", "visit__site")
    return list(rows.order_by("round__day", "round_id", "order"))


def _elsewhere(stop: Stop, crew: list[Installer]) -> Installer:
    return next(one for one in crew if one.pk != stop.round.installer_id)


def _everything() -> list[Any]:
    return [list(model.objects.order_by("pk").values()) for model in (Plan, Round, Stop, Visit, Message, AuditEntry)]


def _check_drivable(plan: Plan) -> None:
    for row in Round.objects.filter(plan=plan):
        stops = list(row.stops.order_by("order"))
        assert stops, "a round without stops is no round"
        assert [s.order for s in stops] == list(range(1, len(stops) + 1))
        at = row.leaves_at
        for stop in stops:
            assert stop.starts_at >= stop.arrives_at >= at + timedelta(minutes=stop.driving_minutes - 1, seconds=-7)
            assert stop.leaves_at == stop.starts_at + timedelta(minutes=stop.visit.minutes)
            at = stop.leaves_at
        assert row.returns_at > at
        assert row.driving_minutes >= sum(s.driving_minutes for s in stops) - 1


def test_a_preview_stores_nothing_and_says_what_the_move_then_does(
    plan: Plan, crew: list[Installer], office: Membership
) -> None:
    stop = _stops(plan)[1]
    to = _elsewhere(stop, crew)
    before = _everything()
    preview = preview_move(stop=stop, now=NOW, installer=to, day=TUESDAY)
    assert _everything() == before
    assert (preview.refusals, preview.warnings) == ([], [])
    row = next(row for row in preview.differences if row["visit"] == stop.visit_id)
    assert row["kind"] == "rescheduled"
    assert row["after"]["installer"] == to.pk
    total = plan.costs["total"]
    moved = move_stop(stop=stop, by=office, now=NOW, installer=to, day=TUESDAY, reason="Asked for Tuesday.")
    assert (moved.cost, moved.differences) == (preview.cost, preview.differences)
    after = Stop.objects.select_related("round").get(pk=stop.pk)
    assert (after.round.installer, after.round.day) == (to, TUESDAY)
    assert after.starts_at == datetime.fromisoformat(row["after"]["starts_at"])
    plan.refresh_from_db()
    assert plan.costs["total"] == pytest.approx(total + moved.cost["total"], abs=0.02)
    _check_drivable(plan)
    visit = Visit.objects.get(pk=stop.visit_id)
    assert (visit.locked_start, visit.locked_installer, visit.lock_reason) == (
        after.starts_at,
        to,
        "Asked for Tuesday.",
    )
    entry = AuditEntry.objects.get(action="move stop")
    assert entry.details["to"]["installer"] == to.pk
    assert entry.details["reason"] == "Asked for Tuesday."
    told_installers = {m.installer_id for m in Message.objects.filter(kind="rounds_changed")}
    assert told_installers == {pk for d in moved.differences for pk in d["tell_installers"]}


def test_the_table_of_trips_is_asked_for_once(
    plan: Plan, crew: list[Installer], monkeypatch: pytest.MonkeyPatch
) -> None:
    tables = []
    usual = GreatCircleTravel.matrix

    def counted(self: GreatCircleTravel, origins: Any, destinations: Any) -> Any:
        tables.append(len(origins))
        return usual(self, origins, destinations)

    monkeypatch.setattr(GreatCircleTravel, "matrix", counted)
    stop = _stops(plan)[0]
    preview_move(stop=stop, installer=_elsewhere(stop, crew), now=NOW)
    assert len(tables) == 1


def test_the_next_night_leaves_it_where_a_person_put_it(
    town: Town, plan: Plan, crew: list[Installer], office: Membership
) -> None:
    stop = _stops(plan)[1]
    to = _elsewhere(stop, crew)
    move_stop(stop=stop, by=office, now=NOW, installer=to, day=TUESDAY)
    here = Stop.objects.select_related("round").get(pk=stop.pk)
    fresh = plan_rounds(company=town.company, by=None, now=NOW, iterations=100).plan
    stop_after = Stop.objects.select_related("round").get(round__plan=fresh, visit=stop.visit_id)
    assert (stop_after.starts_at, stop_after.round.installer_id) == (here.starts_at, to.pk)


def test_another_place_in_the_round_re_times_the_rest(plan: Plan, office: Membership) -> None:
    first, *_, last = [s for s in _stops(plan) if s.round_id == _stops(plan)[0].round_id]
    assert first != last
    moved = move_stop(stop=first, by=office, now=NOW, place=last.order, lock=False)
    _check_drivable(plan)
    assert Stop.objects.get(pk=first.pk).order == last.order
    assert moved.cost["driving"] != 0 or moved.minutes == 0
    visit = Visit.objects.get(pk=first.visit_id)
    assert visit.locked_start is None
    assert visit.revision == 2


def test_an_emptied_round_is_no_round(town: Town, crew: list[Installer], office: Membership) -> None:
    plan = run_night(town, sites=1)
    stop = _stops(plan)[0]
    move_stop(stop=stop, by=office, now=NOW, installer=_elsewhere(stop, crew))
    assert [row.installer_id for row in Round.objects.filter(plan=plan)] == [_elsewhere(stop, crew).pk]
    # nobody drives by a draft yet
    assert not Message.objects.exists()
    assert publish_plan(plan=Plan.objects.get(pk=plan.pk), by=office, now=NOW).state == "published"


def test_what_is_confirmed_with_the_client_is_moved_with_new_agreement_alone(
    town: Town, plan: Plan, crew: list[Installer], office: Membership
) -> None:
    stop = _stops(plan)[1]
    to = _elsewhere(stop, crew)
    visit = confirm_visit(visit=stop.visit, by=office, appointment_at=stop.starts_at.replace(second=0), now=NOW)
    Stop.objects.filter(pk=stop.pk).update(starts_at=visit.appointment_at)
    Message.objects.all().delete()
    before = _everything()
    stop = next(s for s in _stops(plan) if s.pk == stop.pk)
    with pytest.raises(Conflict, match="ask first") as error:
        move_stop(stop=stop, by=office, now=NOW, day=TUESDAY)
    assert error.value.code == "move_not_possible"
    assert _everything() == before
    # somebody else at the same time breaks no promise
    same = move_stop(stop=stop, by=office, now=NOW, installer=to)
    assert Stop.objects.get(pk=stop.pk).starts_at == visit.appointment_at
    assert same.stop.round.installer == to
    assert not Message.objects.filter(audience="client").exists()
    stop = next(s for s in _stops(plan) if s.pk == stop.pk)
    move_stop(stop=stop, by=office, now=NOW, day=TUESDAY, confirmed=True, acknowledge=["locked"])
    row = Visit.objects.get(pk=visit.pk)
    assert row.appointment_at == Stop.objects.get(pk=stop.pk).starts_at
    assert row.appointment_at.astimezone(BERLIN).date() == TUESDAY
    assert [m.kind for m in Message.objects.filter(audience="client")] == ["moved"]


def test_another_clients_confirmed_time_stands(plan: Plan, crew: list[Installer], office: Membership) -> None:
    stop = _stops(plan)[0]
    to = _elsewhere(stop, crew)
    other = _stops(plan)[1].visit
    moved = move_stop(stop=_stops(plan)[1], by=office, now=NOW, installer=to, day=TUESDAY)
    at = moved.stop.starts_at.replace(second=0)
    confirm_visit(visit=other, by=office, appointment_at=at, now=NOW)
    Stop.objects.filter(pk=moved.stop.pk).update(starts_at=at)
    Visit.objects.filter(pk=stop.visit_id).update(minutes=240)
    preview = preview_move(stop=stop, now=NOW, installer=to, day=TUESDAY, place=1)
    starts = {s.visit_id: s.starts_at for _, stops in preview.rows for s in stops}
    assert preview.refusals or starts[other.pk] == at
    if not preview.refusals:
        assert starts[stop.visit_id] + timedelta(minutes=240) < at


def test_what_goodwill_can_put_right_must_be_acknowledged(
    town: Town, plan: Plan, crew: list[Installer], office: Membership
) -> None:
    stop = _stops(plan)[1]
    for weekday in range(5):
        town.window(stop.visit.site, weekday, time(6), time(7))
    to = _elsewhere(stop, crew)
    preview = preview_move(stop=stop, now=NOW, installer=to, day=TUESDAY)
    assert {(w.code, w.visit) for w in preview.warnings} >= {("closed", stop.visit_id)}
    before = _everything()
    with pytest.raises(Conflict) as error:
        move_stop(stop=stop, by=office, now=NOW, installer=to, day=TUESDAY, acknowledge=["no_lunch"])
    assert error.value.code == "warnings_not_acknowledged"
    assert [fault.pointer for fault in error.value.faults] == ["/acknowledge"] * len(preview.warnings)
    assert _everything() == before
    codes = {warning.code for warning in preview.warnings}
    move_stop(stop=stop, by=office, now=NOW, installer=to, day=TUESDAY, acknowledge=codes)
    acknowledged = AuditEntry.objects.get(action="move stop").details["acknowledged"]
    assert [row["code"] for row in acknowledged] == [warning.code for warning in preview.warnings]
    _check_drivable(plan)


def test_a_skill_that_is_missing_is_a_refusal(plan: Plan, crew: list[Installer], office: Membership) -> None:
    stop = _stops(plan)[0]
    Visit.objects.filter(pk=stop.visit_id).update(skills=["electrical"])
    preview = preview_move(stop=_stops(plan)[0], now=NOW, installer=_elsewhere(stop, crew))
    assert "not_allowed" in [refusal.code for refusal in preview.refusals]
    assert preview.differences == []


def test_what_has_begun_stays(plan: Plan, crew: list[Installer], office: Membership) -> None:
    stops = [s for s in _stops(plan) if s.round_id == _stops(plan)[0].round_id]
    if len(stops) < 3:
        pytest.fail("the town's first round should have three stops or more")
    now = stops[0].starts_at + timedelta(minutes=1)
    with pytest.raises(Conflict, match="has departed"):
        preview_move(stop=stops[0], now=now, day=TUESDAY)
    with pytest.raises(InvalidInput, match="have begun"):
        preview_move(stop=stops[-1], now=now, place=1)
    depart(visit=stops[0].visit, by=office, now=now)
    move_stop(stop=_of(stops[-1]), by=office, now=now, place=2)
    after = list(Stop.objects.filter(round=stops[0].round_id).order_by("order"))
    assert [s.pk for s in after[:2]] == [stops[0].pk, stops[-1].pk]
    assert (after[0].starts_at, after[0].leaves_at) == (stops[0].starts_at, stops[0].leaves_at)
    assert after[1].arrives_at >= after[0].leaves_at
    _check_drivable(plan)


def _of(stop: Stop) -> Stop:
    return Stop.objects.select_related("round__installer", "round__plan", "visit__site").get(pk=stop.pk)


def test_what_cannot_be_asked_is_said(plan: Plan, town: Town, crew: list[Installer], office: Membership) -> None:
    stop = _stops(plan)[0]
    for arguments, pointer in (
        ({"day": date(2026, 3, 1)}, "/day"),
        ({"day": date(2027, 3, 1)}, "/day"),
        ({"place": 40}, "/place"),
    ):
        with pytest.raises(InvalidInput) as error:
            preview_move(stop=stop, now=NOW, **arguments)
        assert [fault.pointer for fault in error.value.faults] == [pointer]
    Visit.objects.filter(pk=stop.visit_id).update(state="cancelled")
    with pytest.raises(Conflict, match="cannot be moved"):
        preview_move(stop=_of(stop), now=NOW)
    Plan.objects.update(state="replaced")
    with pytest.raises(Conflict, match="newer plan"):
        preview_move(stop=_of(stop), now=NOW)
