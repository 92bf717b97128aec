"""The life of a visit: only legal moves, each on record."""

from datetime import UTC, datetime, timedelta

import pytest

from accounts.errors import Conflict, InvalidInput
from accounts.models import AuditEntry, Membership
from fleet.models import Forecast, Unit
from scheduling.models import Message, Need, Stop, Visit
from scheduling.services.needs.needs import refresh_needs
from scheduling.services.policy import read_policy
from scheduling.services.rounds.plans import plan_rounds
from scheduling.services.visits.outcomes import TaskOutcome
from scheduling.services.visits.visits import (
    LEGAL_MOVES,
    accept_offer,
    begin_visit,
    cancel_visit,
    complete_visit,
    confirm_visit,
    depart,
    offer_visit,
    propose_visits,
    report_not_done,
    unconfirm_visit,
)
from tests.scheduling.night import run_night
from tests.scheduling.town import NOW, Town

# Tuesday and Wednesday, from ten to twelve in Berlin
TUESDAY = (datetime(2026, 3, 3, 9, 0, tzinfo=UTC), datetime(2026, 3, 3, 11, 0, tzinfo=UTC))
WEDNESDAY = (datetime(2026, 3, 4, 9, 0, tzinfo=UTC), datetime(2026, 3, 4, 11, 0, tzinfo=UTC))


@pytest.fixture
def visit(town: Town) -> Visit:
    town.installer("Ada")
    run_night(town, sites=1)
    return Visit.objects.get()


def _all_done() -> list[TaskOutcome]:
    return [TaskOutcome(need, True) for need in Need.objects.filter(state="open")]


MOVES = {
    "offered": lambda visit, by: offer_visit(visit=visit, by=by, windows=[TUESDAY, WEDNESDAY], now=NOW),
    "confirmed": lambda visit, by: confirm_visit(visit=visit, by=by, appointment_at=TUESDAY[0], now=NOW),
    "proposed": lambda visit, by: unconfirm_visit(visit=visit, by=by, note="", now=NOW),
    "on_the_way": lambda visit, by: depart(visit=visit, by=by, now=NOW),
    "in_progress": lambda visit, by: begin_visit(visit=visit, by=by, now=NOW),
    "done": lambda visit, by: complete_visit(visit=visit, by=by, tasks=_all_done(), now=NOW),
    "not_done": lambda visit, by: report_not_done(visit=visit, by=by, obstacle="nobody_in", note="", now=NOW),
    "cancelled": lambda visit, by: cancel_visit(visit=visit, by=by, note="", now=NOW),
}

# Written out by hand and not taken from the code.
LEGAL = {
    "proposed": "offered confirmed on_the_way done not_done cancelled",
    "offered": "offered proposed confirmed on_the_way done not_done cancelled",
    "confirmed": "confirmed proposed on_the_way done not_done cancelled",
    "on_the_way": "in_progress done not_done cancelled",
    "in_progress": "done not_done",
    "done": "",
    "not_done": "",
    "cancelled": "",
}


def test_every_state_has_its_moves() -> None:
    assert set(LEGAL_MOVES) == set(Visit.State.values) == set(LEGAL)


@pytest.mark.parametrize("state", LEGAL)
def test_only_legal_moves_are_made_and_each_is_audited(visit: Visit, office: Membership, state: str) -> None:
    for target, move in MOVES.items():
        appointment = TUESDAY[0] if state in ("confirmed", "on_the_way", "in_progress") else None
        Visit.objects.update(state=state, appointment_at=appointment, obstacle="", closed_at=None)
        Need.objects.update(kind="inspect", position=None, state="open")
        before = AuditEntry.objects.count()
        if target in LEGAL[state].split():
            assert move(visit, office).state == target
            visit.refresh_from_db()
            assert visit.state == target
            assert AuditEntry.objects.count() == before + 1
        else:
            with pytest.raises(Conflict) as error:
                move(visit, office)
            assert error.value.code == "visit_move_not_legal"
            assert "is could" not in error.value.sentence
            assert AuditEntry.objects.count() == before


def test_a_client_takes_up_one_of_the_windows(visit: Visit, office: Membership, client_member: Membership) -> None:
    offer_visit(visit=visit, by=office, windows=[WEDNESDAY, TUESDAY], now=NOW)
    visit.refresh_from_db()
    assert [offer["opens_at"] for offer in visit.offers] == ["2026-03-03T09:00:00+00:00", "2026-03-04T09:00:00+00:00"]
    # TUESDAY[1] as the clock at the site shows it, which in March is an hour ahead of UTC
    with pytest.raises(InvalidInput, match=r"\+01:00 was not offered; choose one of 2026-03-03T10:00:00\+01:00"):
        accept_offer(visit=visit, by=client_member, opens_at=TUESDAY[1], now=NOW)
    accepted = accept_offer(visit=visit, by=client_member, opens_at=WEDNESDAY[0], now=NOW)
    assert (accepted.state, accepted.appointment_at, accepted.offers) == ("confirmed", WEDNESDAY[0], [])
    with pytest.raises(Conflict):
        accept_offer(visit=visit, by=client_member, opens_at=TUESDAY[0], now=NOW)


@pytest.mark.parametrize("state", ["on_the_way", "done", "not_done"])
def test_whoever_has_not_answered_is_visited_all_the_same(visit: Visit, office: Membership, state: str) -> None:
    offer_visit(visit=visit, by=office, windows=[TUESDAY, WEDNESDAY], now=NOW)
    letters = Message.objects.filter(visit=visit, kind="offered", audience="client")
    assert [letter.state for letter in letters] in (["waiting"], ["to_call"])
    Need.objects.update(kind="inspect", position=None, state="open")
    gone = MOVES[state](visit, office)
    assert (gone.state, gone.offers) == (state, [])
    # nobody is asked any more to choose between times of a visit that somebody has driven to
    assert [letter.state for letter in letters.all()] == ["replaced"]
    with pytest.raises(Conflict):
        accept_offer(visit=visit, by=office, opens_at=TUESDAY[0], now=NOW)


def test_a_window_that_has_opened_is_not_taken_up(visit: Visit, office: Membership) -> None:
    offer_visit(visit=visit, by=office, windows=[TUESDAY, WEDNESDAY], now=NOW)
    with pytest.raises(Conflict, match="opened already"):
        accept_offer(visit=visit, by=office, opens_at=TUESDAY[0], now=TUESDAY[0])


def test_windows_that_cannot_be_offered_are_named(visit: Visit, office: Membership) -> None:
    past_window = (NOW - timedelta(hours=2), NOW - timedelta(hours=1))
    backwards = (WEDNESDAY[1], WEDNESDAY[0])
    cases = [
        ([TUESDAY], {"/windows"}),
        ([TUESDAY, TUESDAY], {"/windows/1"}),
        ([TUESDAY, backwards], {"/windows/1/closes_at"}),
        ([past_window, TUESDAY], {"/windows/0/opens_at", "/windows/0/closes_at"}),
        ([TUESDAY, (WEDNESDAY[0], WEDNESDAY[0] + timedelta(hours=9))], {"/windows/1/closes_at"}),
    ]
    for windows, pointers in cases:
        with pytest.raises(InvalidInput) as error:
            offer_visit(visit=visit, by=office, windows=windows, now=NOW)
        assert {fault.pointer for fault in error.value.faults} == pointers
    assert Visit.objects.get().state == "proposed"


def test_a_plan_keeps_room_in_what_was_offered(visit: Visit, town: Town, office: Membership) -> None:
    offer_visit(visit=visit, by=office, windows=[WEDNESDAY, (WEDNESDAY[1], WEDNESDAY[1] + timedelta(hours=1))], now=NOW)
    plan = plan_rounds(company=town.company, by=None, now=NOW, iterations=50).plan
    stop = Stop.objects.get(round__plan=plan, visit=visit)
    assert WEDNESDAY[0] <= stop.starts_at <= WEDNESDAY[1] + timedelta(hours=1)


def test_what_is_offered_or_under_way_is_not_proposed_a_second_time(
    visit: Visit, town: Town, office: Membership
) -> None:
    offer_visit(visit=visit, by=office, windows=[TUESDAY, WEDNESDAY], now=NOW)
    propose_visits(company=town.company, now=NOW)
    assert [v.state for v in Visit.objects.all()] == ["offered"]
    Visit.objects.update(state="in_progress")
    propose_visits(company=town.company, now=NOW)
    assert [v.state for v in Visit.objects.all()] == ["in_progress"]


def _night_after(town: Town) -> list[Visit]:
    refresh_needs(company=town.company, now=NOW)
    propose_visits(company=town.company, now=NOW)
    return list(Visit.objects.order_by("pk"))


def _nothing_due_any_more(town: Town) -> Unit:
    """The one cartridge that is due was found good."""
    position = Need.objects.get().position
    assert position is not None
    position.forecasts.all().delete()
    town.forecast(position, 900)
    return position.unit


def test_what_comes_up_at_a_site_joins_the_visit_that_is_offered(visit: Visit, town: Town, office: Membership) -> None:
    """One trip and not two: its client has agreed to nothing yet."""
    offer_visit(visit=visit, by=office, windows=[TUESDAY, WEDNESDAY], now=NOW)
    before = Visit.objects.get()
    unit = Need.objects.get().unit
    town.forecast(town.position(unit, "sediment"), 2)
    (after,) = _night_after(town)
    assert (after.state, after.offers) == ("offered", before.offers)
    assert [task.need.label for task in after.tasks.all()] == ["sediment filter", "carbon"]
    assert after.minutes == before.minutes + 12
    assert after.revision == before.revision + 1
    assert after.cost_of_leaving > before.cost_of_leaving
    work = sum(need.cost_curve[1] for need in Need.objects.all())
    one_trip = read_policy(company=town.company).planning.visit_price(0.0)
    # a bundle is priced by its distributions and a need by its stored curve, which differ by cents
    assert after.costs[1] == pytest.approx(one_trip + work, abs=0.2)
    assert propose_visits(company=town.company, now=NOW).changed == 0


@pytest.mark.parametrize("state", ["offered", "confirmed"])
def test_what_has_months_to_go_does_not_join_a_visit_of_this_week(
    visit: Visit, town: Town, office: Membership, state: str
) -> None:
    """Another visit comes before it is due: five months of its life are not worth the trip that it seems to save."""
    MOVES[state](visit, office)
    unit = Need.objects.get().unit
    Forecast.objects.update(fresh_life_p10_days=60.0, fresh_life_p50_days=75.0, fresh_life_p90_days=90.0)
    sediment = town.position(unit, "sediment")
    sediment.placements.update(placed_at=NOW - timedelta(days=200), first_installed_at=NOW - timedelta(days=200))
    town.forecast(sediment, 150)
    kept, later = _night_after(town)
    assert [task.need.label for task in kept.tasks.all()] == ["carbon"]
    assert not kept.additions.exists()
    assert later.state == "proposed"
    assert "sediment filter" in {need.label for need in Need.objects.filter(state="open")}


def test_what_is_settled_otherwise_leaves_the_visit_that_is_offered(
    visit: Visit, town: Town, office: Membership
) -> None:
    offer_visit(visit=visit, by=office, windows=[TUESDAY, WEDNESDAY], now=NOW)
    unit = _nothing_due_any_more(town)
    town.forecast(town.position(unit, "sediment"), 2)
    (after,) = _night_after(town)
    assert [(task.need.label, task.need.state) for task in after.tasks.all()] == [("sediment filter", "open")]
    assert (after.state, len(after.offers)) == ("offered", 2)
    assert (after.costs_first_day, after.cost_of_leaving > 0.0) == (NOW.date(), True)


def test_nobody_chooses_a_time_for_a_visit_with_nothing_to_do(visit: Visit, town: Town, office: Membership) -> None:
    offer_visit(visit=visit, by=office, windows=[TUESDAY, WEDNESDAY], now=NOW)
    _nothing_due_any_more(town)
    (after,) = _night_after(town)
    assert (after.state, after.closing_note) == ("cancelled", "Nothing is due here any more.")
    assert not Message.objects.filter(visit=visit, audience="client").exclude(state="replaced").exists()


def test_who_was_offered_a_time_reads_that_nobody_comes(visit: Visit, town: Town, office: Membership) -> None:
    offer_visit(visit=visit, by=office, windows=[TUESDAY, WEDNESDAY], now=NOW)
    Message.objects.update(state="sent", sent_at=NOW)
    _nothing_due_any_more(town)
    _night_after(town)
    assert [m.kind for m in Message.objects.filter(visit=visit).exclude(state="sent")] == ["cancelled"]


def test_what_cannot_wait_for_the_times_offered_takes_them_back(visit: Visit, town: Town, office: Membership) -> None:
    """A filter that is spent today: four weeks of it cost more than another trip."""
    in_four_weeks = [
        (opens + timedelta(days=28), closes + timedelta(days=28)) for opens, closes in (TUESDAY, WEDNESDAY)
    ]
    offer_visit(visit=visit, by=office, windows=in_four_weeks, now=NOW)
    Message.objects.update(state="sent", sent_at=NOW)
    unit = _nothing_due_any_more(town)
    town.forecast(town.position(unit, "sediment"), 0)
    (after,) = _night_after(town)
    assert (after.state, after.offers) == ("proposed", [])
    assert [message.kind for message in Message.objects.filter(visit=visit).exclude(state="sent")] == ["withdrawn"]


def test_an_offer_that_nobody_takes_up_is_a_proposal_again(visit: Visit, town: Town, office: Membership) -> None:
    offer_visit(visit=visit, by=office, windows=[TUESDAY, WEDNESDAY], now=NOW)
    propose_visits(company=town.company, now=WEDNESDAY[0] + timedelta(minutes=1))
    visit.refresh_from_db()
    assert (visit.state, visit.offers) == ("proposed", [])


def test_what_could_not_be_done_is_proposed_again(visit: Visit, town: Town, office: Membership) -> None:
    depart(visit=visit, by=office, now=NOW)
    with pytest.raises(InvalidInput, match="note is required"):
        report_not_done(visit=visit, by=office, obstacle="other", note=" ", now=NOW)
    given_up = report_not_done(visit=visit, by=office, obstacle="no_access", note="The gate is locked.", now=NOW)
    assert (given_up.state, given_up.obstacle, given_up.closed_at) == ("not_done", "no_access", NOW)
    task = given_up.tasks.get()
    assert (task.outcome, task.outcome_reason) == ("not_done", "The gate is locked.")
    assert Need.objects.get().state == "open"
    propose_visits(company=town.company, now=NOW)
    assert Visit.objects.filter(state="proposed", site=visit.site).count() == 1


def test_a_visit_is_not_closed_over_an_open_question(visit: Visit, office: Membership) -> None:
    need = visit.tasks.get().need
    Need.objects.update(kind="inspect", position=None)
    need.refresh_from_db()
    for tasks, pointer in (
        ([], "/tasks"),
        ([TaskOutcome(need, False)], "/tasks/0/reason"),
        ([TaskOutcome(need, False, " ")], "/tasks/0/reason"),
        ([TaskOutcome(need, True), TaskOutcome(need, False, "no")], "/tasks/1/need"),
        ([TaskOutcome(need, False, "No key.")], "/tasks"),
    ):
        with pytest.raises(InvalidInput) as error:
            complete_visit(visit=visit, by=office, tasks=tasks, now=NOW)
        assert [fault.pointer for fault in error.value.faults] == [pointer]
        assert (Visit.objects.get().state, Need.objects.get().state) == ("proposed", "open")
    complete_visit(visit=visit, by=office, tasks=[TaskOutcome(need, True)], now=NOW)
    assert (Need.objects.get().state, Visit.objects.get().tasks.get().outcome) == ("done", "done")


def test_a_changed_cartridge_is_reported_by_a_record(visit: Visit, office: Membership) -> None:
    with pytest.raises(InvalidInput) as error:
        complete_visit(visit=visit, by=office, tasks=[TaskOutcome(Need.objects.get(), True)], now=NOW)
    assert [fault.pointer for fault in error.value.faults] == ["/tasks/0/done"]
    assert "service record" in error.value.faults[0].sentence
