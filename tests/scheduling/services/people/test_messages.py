"""Every move of a visit tells those concerned, once, in words they can use; and the outbox sends each at most once."""

from datetime import UTC, date, datetime, timedelta
from typing import Any

import pytest
from django.core import mail
from django.core.mail.backends.locmem import EmailBackend

from accounts.errors import Conflict
from accounts.language import speak
from accounts.models import AuditEntry, Client, Membership
from fleet.engineering.positions import position_name_for_client
from fleet.models import Position
from scheduling.models import Installer, Message, Need, Plan, Stop, Visit
from scheduling.services.needs.needs import refresh_needs
from scheduling.services.people.messages import note_call, send_messages
from scheduling.services.people.words import done_lines, work_text
from scheduling.services.rounds.plans import plan_rounds, publish_plan
from scheduling.services.rounds.replanning import Happened, InstallerIsOut, replan_day
from scheduling.services.visits.outcomes import TaskOutcome
from scheduling.services.visits.visits import (
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
from scheduling.services.work.records import record_work
from scheduling.services.work.report import WorkDone, WorkReport
from tests.pseudo_language import PSEUDO, english_in
from tests.scheduling.night import run_night
from tests.scheduling.town import NOW, Town

# Tuesday and Wednesday, from ten to twelve in Berlin
TUESDAY = (datetime(2026, 3, 3, 9, 0, tzinfo=UTC), datetime(2026, 3, 3, 11, 0, tzinfo=UTC))
WEDNESDAY = (datetime(2026, 3, 4, 9, 0, tzinfo=UTC), datetime(2026, 3, 4, 11, 0, tzinfo=UTC))


@pytest.fixture
def reef(town: Town, first_client: Client) -> Client:
    Client.objects.filter(pk=first_client.pk).update(name="Reef House", email="reef@house.example", phone="0123")
    first_client.refresh_from_db()
    return first_client


@pytest.fixture
def visit(town: Town, reef: Client) -> Visit:
    town.installer("Ada")
    site = town.site(client=reef, name="Reef House", address="Quay 3", east_km=2.0)
    town.forecast(town.position(town.unit(site), "carbon"), 0)
    run_night(town)
    return Visit.objects.get()


def _told(**filters: Any) -> list[tuple[str, str]]:
    return [(m.audience, m.kind) for m in Message.objects.filter(**filters).order_by("pk")]


def _newest(**filters: Any) -> Message:
    return Message.objects.filter(**filters).order_by("-pk")[0]


def _offer(visit: Visit, by: Membership) -> Visit:
    return offer_visit(visit=visit, by=by, windows=[TUESDAY, WEDNESDAY], now=NOW)


# Written out by hand: from which state, by which move, who reads what.
TELLS = [
    ("proposed", _offer, [("client", "offered")]),
    (
        "proposed",
        lambda v, by: confirm_visit(visit=v, by=by, appointment_at=TUESDAY[0], now=NOW),
        [("client", "confirmed")],
    ),
    ("offered", lambda v, by: unconfirm_visit(visit=v, by=by, note="", now=NOW), [("client", "withdrawn")]),
    ("offered", lambda v, by: cancel_visit(visit=v, by=by, note="", now=NOW), [("client", "cancelled")]),
    ("proposed", lambda v, by: cancel_visit(visit=v, by=by, note="", now=NOW), []),
    (
        "confirmed",
        lambda v, by: confirm_visit(visit=v, by=by, appointment_at=WEDNESDAY[0], now=NOW),
        [("client", "moved")],
    ),
    ("confirmed", lambda v, by: confirm_visit(visit=v, by=by, appointment_at=TUESDAY[0], now=NOW), []),
    ("confirmed", lambda v, by: unconfirm_visit(visit=v, by=by, note="", now=NOW), [("client", "withdrawn")]),
    ("confirmed", lambda v, by: cancel_visit(visit=v, by=by, note="", now=NOW), [("client", "cancelled")]),
    ("confirmed", lambda v, by: depart(visit=v, by=by, now=NOW), [("client", "on_the_way")]),
    ("on_the_way", lambda v, by: begin_visit(visit=v, by=by, now=NOW), []),
    (
        "in_progress",
        lambda v, by: report_not_done(visit=v, by=by, obstacle="no_access", note="Dog.", now=NOW),
        [("client", "not_done"), ("office", "not_done")],
    ),
]


@pytest.mark.parametrize(("state", "move", "told"), TELLS)
def test_each_move_tells_those_concerned(
    visit: Visit, office: Membership, state: str, move: Any, told: list[tuple[str, str]]
) -> None:
    offers = [{"opens_at": at.isoformat(), "closes_at": to.isoformat()} for at, to in (TUESDAY, WEDNESDAY)]
    appointment = TUESDAY[0] if state in ("confirmed", "on_the_way", "in_progress") else None
    Visit.objects.update(state=state, appointment_at=appointment, offers=offers if state == "offered" else [])
    move(visit, office)
    assert _told() == told
    for message in Message.objects.filter(audience="client"):
        assert (message.state, message.email, message.client.name) == ("waiting", "reef@house.example", "Reef House")


def test_the_same_windows_sent_again_are_told_once(visit: Visit, office: Membership) -> None:
    _offer(visit, office)
    _offer(visit, office)
    assert _told() == [("client", "offered")]
    others = [TUESDAY, (WEDNESDAY[0], WEDNESDAY[1] - timedelta(minutes=30))]
    offer_visit(visit=visit, by=office, windows=others, now=NOW)
    assert _told() == [("client", "offered")] * 2
    # withdrawn in between, they are news
    unconfirm_visit(visit=visit, by=office, note="", now=NOW)
    offer_visit(visit=visit, by=office, windows=others, now=NOW)
    assert [kind for _, kind in _told()].count("offered") == 3


def test_windows_are_offered_and_confirmed_on_the_clock_of_the_site(
    visit: Visit, office: Membership, client_member: Membership
) -> None:
    _offer(visit, office)
    assert "Tuesday 3 March, between 10:00 and 12:00" in _newest().body
    assert "to replace the carbon" in _newest().body
    accept_offer(visit=visit, by=client_member, opens_at=WEDNESDAY[0], now=NOW)
    assert _told() == [("client", "offered"), ("client", "confirmed"), ("office", "offer_taken")]
    message = Message.objects.get(kind="confirmed")
    assert "Reef House, Quay 3 on Wednesday 4 March, between 10:00 and 11:00" in message.body
    assert Message.objects.get(kind="offer_taken").state == "to_read"


def test_an_odd_minute_becomes_a_window(visit: Visit, office: Membership) -> None:
    confirm_visit(visit=visit, by=office, appointment_at=datetime(2026, 3, 3, 8, 37, tzinfo=UTC), now=NOW)
    assert "between 09:30 and 10:30" in _newest().body
    assert "09:37" not in _newest().body


def test_on_the_way_says_when_to_expect_whom(visit: Visit, office: Membership) -> None:
    publish_plan(plan=Plan.objects.get(), by=office, now=NOW)
    stop = Stop.objects.get()
    Stop.objects.update(driving_minutes=22)
    depart(visit=visit, by=stop.round.installer.membership, now=datetime(2026, 3, 2, 8, 0, tzinfo=UTC))
    message = _newest(kind="on_the_way")
    # 09:22 in Berlin
    assert "Ada is on the way to Reef House, Quay 3 and should be there between 09:15 and 09:45." in message.body
    assert message.useful_until == datetime(2026, 3, 2, 9, 22, tzinfo=UTC)
    assert send_messages(now=datetime(2026, 3, 2, 9, 23, tzinfo=UTC))["expired"] == 1
    assert mail.outbox == []


@pytest.mark.parametrize(
    ("best_day", "said"), [(date(2026, 4, 7), "Tuesday 7 April"), (date(2026, 2, 26), "Monday 2 March")]
)
def test_done_says_what_was_done_and_what_comes_next(
    best_day: date, said: str, visit: Visit, town: Town, installer: Membership
) -> None:
    unit = visit.tasks.get().need.unit
    membrane = town.position(unit, "membrane")
    Need.objects.create(
        company=town.company,
        site=visit.site,
        unit=unit,
        position=membrane,
        kind="replace",
        key="later",
        minutes=20,
        best_day=best_day,
        created_at=NOW,
        updated_at=NOW,
    )
    work = [WorkDone("replace", unit, town.position(unit, "carbon"), removal="exhausted")]
    report = WorkReport(site=visit.site, visit=visit, reference="r1", work=work, done_at=NOW)
    record_work(report=report, by=installer, now=NOW + timedelta(hours=3))
    record_work(report=report, by=installer, now=NOW + timedelta(hours=9))
    assert _told() == [("client", "done")]
    body = _newest().body
    assert f"{unit.code}: the carbon filter was replaced" in body
    assert f"What comes next: replace the membrane, around {said}." in body


def test_a_visit_completed_by_hand_says_what_was_done(visit: Visit, office: Membership) -> None:
    need = visit.tasks.get().need
    Need.objects.update(kind="inspect", position=None, label="")
    complete_visit(visit=visit, by=office, tasks=[TaskOutcome(Need.objects.get(), True)], now=NOW)
    assert f"{need.unit.code}: the unit was looked over" in _newest().body
    assert "Nothing else is due now." in _newest().body


@pytest.mark.parametrize("obstacle", Visit.Obstacle.values)
def test_what_could_not_be_done_names_reason_and_next_step(visit: Visit, office: Membership, obstacle: str) -> None:
    report_not_done(visit=visit, by=office, obstacle=obstacle, note="The dog bites.", now=NOW)
    client, staff = Message.objects.get(audience="client"), Message.objects.get(audience="office")
    assert "could not do the work" in client.body
    assert len(client.body.strip().split("\n\n")) == 4
    # what an installer notes is for the office
    assert "dog" not in client.body
    assert "The dog bites." in staff.body


def test_whom_a_time_was_noted_for_on_the_telephone_nobody_calls_again(
    visit: Visit, reef: Client, office: Membership
) -> None:
    Client.objects.filter(pk=reef.pk).update(email="")
    at = (NOW + timedelta(days=2)).replace(hour=9, minute=0)
    noted = confirm_visit(visit=Visit.objects.get(), by=office, appointment_at=at, now=NOW)
    message = Message.objects.get(audience="client")
    assert (message.kind, message.state, message.called_by) == ("confirmed", "called", office)
    # of another time, which nobody has told them, they hear
    confirm_visit(visit=noted, by=office, appointment_at=at + timedelta(hours=2), now=NOW)
    assert Message.objects.get(audience="client", kind="moved").state == "to_call"


def test_a_client_without_an_address_is_on_the_call_list(visit: Visit, reef: Client, office: Membership) -> None:
    Client.objects.filter(pk=reef.pk).update(email="")
    _offer(Visit.objects.get(), office)
    message = Message.objects.get()
    assert (message.state, message.email) == ("to_call", "")
    assert send_messages(now=NOW)["sent"] == 0
    assert mail.outbox == []
    noted = note_call(message=message, by=office, note="Tuesday suits.", now=NOW)
    assert (noted.state, noted.called_by, noted.call_note) == ("called", office, "Tuesday suits.")
    with pytest.raises(Conflict, match="nobody has to call"):
        note_call(message=message, by=office, note="", now=NOW)


def test_what_is_rolled_back_tells_nobody(visit: Visit, office: Membership, monkeypatch: pytest.MonkeyPatch) -> None:
    def fails(**_: Any) -> None:
        raise RuntimeError("the audit trail is full")

    monkeypatch.setattr("scheduling.services.visits.visits.record", fails)
    with pytest.raises(RuntimeError):
        _offer(visit, office)
    assert not Message.objects.exists()
    assert Visit.objects.get().state == "proposed"


def test_each_message_is_sent_once(visit: Visit, office: Membership) -> None:
    _offer(visit, office)
    assert send_messages(now=NOW) == {"sent": 1, "put_off": 0, "to_call": 0, "to_read": 0, "expired": 0}
    assert send_messages(now=NOW + timedelta(minutes=1))["sent"] == 0
    (letter,) = mail.outbox
    assert letter.to == ["reef@house.example"]
    assert letter.subject == "Choose a time for our visit to Reef House"
    assert (_newest().state, _newest().sent_at) == ("sent", NOW)


def test_a_server_that_refuses_is_tried_again_and_then_somebody_calls(
    visit: Visit, office: Membership, monkeypatch: pytest.MonkeyPatch
) -> None:
    def refuses(self: EmailBackend, messages: Any) -> int:
        raise ConnectionRefusedError("no server there")

    _offer(visit, office)
    with monkeypatch.context() as patch:
        patch.setattr(EmailBackend, "send_messages", refuses)
        at, tried = NOW, []
        for _ in range(6):
            counts = send_messages(now=at)
            tried.append("put_off" if counts["put_off"] else "to_call")
            assert send_messages(now=at) == dict.fromkeys(counts, 0)
            at = _newest().next_attempt_at
        assert tried == ["put_off"] * 5 + ["to_call"]
    message = _newest()
    assert (message.state, message.attempts) == ("to_call", 6)
    assert message.trouble == "ConnectionRefusedError: no server there"
    assert send_messages(now=at)["sent"] == 0


def test_a_server_that_comes_back_gets_the_message(
    visit: Visit, office: Membership, monkeypatch: pytest.MonkeyPatch
) -> None:
    def refuses(self: EmailBackend, messages: Any) -> int:
        raise TimeoutError

    _offer(visit, office)
    with monkeypatch.context() as patch:
        patch.setattr(EmailBackend, "send_messages", refuses)
        send_messages(now=NOW)
    assert send_messages(now=NOW + timedelta(minutes=5))["sent"] == 1
    assert len(mail.outbox) == 1


def test_nobody_knows_whether_it_left_so_somebody_calls(visit: Visit, office: Membership) -> None:
    _offer(visit, office)
    Message.objects.update(state="sending", attempts=1)
    assert send_messages(now=NOW + timedelta(minutes=59))["to_call"] == 0
    assert send_messages(now=NOW + timedelta(minutes=61))["to_call"] == 1
    assert mail.outbox == []


def test_a_name_with_a_line_break_makes_no_second_header(visit: Visit, office: Membership) -> None:
    visit.site.name = "Reef\nBcc: spy@evil.example\r\nHouse"
    visit.site.save()
    _offer(Visit.objects.get(), office)
    assert send_messages(now=NOW)["sent"] == 1
    assert mail.outbox[0].recipients() == ["reef@house.example"]
    assert "\n" not in mail.outbox[0].subject


def test_an_offer_that_lapses_is_told_once(visit: Visit, town: Town, office: Membership) -> None:
    _offer(visit, office)
    for hours in (1, 2):
        propose_visits(company=town.company, now=WEDNESDAY[0] + timedelta(hours=hours))
    assert _told() == [("client", "offered"), ("client", "offer_lapsed")]


def test_publishing_tells_installers_what_changed_and_clients_whose_time_moved(
    town: Town, reef: Client, office: Membership
) -> None:
    ada, ben = town.installer("Ada"), town.installer("Ben", east_km=12.0)
    for k in range(6):
        site = town.site(client=reef, east_km=2.0 * k)
        town.forecast(town.position(town.unit(site), "carbon"), 0)
    refresh_needs(company=town.company, now=NOW)
    propose_visits(company=town.company, now=NOW)
    plan = publish_plan(
        plan=plan_rounds(company=town.company, by=None, now=NOW, iterations=200).plan, by=office, now=NOW
    )
    assert _told() == []
    stop = Stop.objects.filter(round__plan=plan).select_related("round__installer", "visit").latest("starts_at")
    ill = stop.round.installer
    six = NOW + timedelta(hours=1)
    happened = Happened(installers_out=[InstallerIsOut(ill, six)])
    repaired = replan_day(plan=plan, by=office, now=six, happened=happened, iterations=200, publish=True)
    assert repaired.differences
    for someone in (ada, ben):
        own_sentences = [row["sentence"] for row in repaired.differences if someone.pk in row["tell_installers"]]
        sent_messages = Message.objects.filter(installer=someone, kind="rounds_changed")
        assert sent_messages.count() == (1 if own_sentences else 0)
        for message in sent_messages:
            assert all(sentence in message.body for sentence in own_sentences)
            assert message.email == someone.membership.user.email
    publish_plan(plan=repaired, by=office, now=six)
    assert Message.objects.filter(audience="installer").count() <= 2


def test_a_cancelled_stop_is_told_to_its_installer(visit: Visit, office: Membership) -> None:
    publish_plan(plan=Plan.objects.get(), by=office, now=NOW)
    cancel_visit(visit=Visit.objects.get(), by=office, note="", now=NOW)
    assert _told() == [("installer", "cancelled")]
    assert _newest().installer == Installer.objects.get()
    assert not AuditEntry.objects.filter(subject_kind="message").exists()


@pytest.mark.parametrize(("through", "kind"), [(NOW.date(), "moved"), (NOW.date() + timedelta(days=30), "cannot_keep")])
def test_a_confirmed_time_that_nobody_can_keep_is_told(
    visit: Visit, office: Membership, through: date, kind: str
) -> None:
    ten = datetime(2026, 3, 2, 9, 0, tzinfo=UTC)
    confirm_visit(visit=visit, by=office, appointment_at=ten, now=NOW)
    plan = plan_rounds(company=visit.company, by=None, now=NOW, iterations=50).plan
    plan = publish_plan(plan=plan, by=office, now=NOW)
    Message.objects.all().delete()
    out = InstallerIsOut(Installer.objects.get(), NOW + timedelta(hours=1), through)
    replan_day(
        plan=plan,
        by=office,
        now=NOW + timedelta(hours=1),
        happened=Happened(installers_out=[out]),
        days=5,
        iterations=50,
        publish=True,
    )
    message = Message.objects.get(kind=kind)
    if kind == "moved":
        assert (message.audience, message.state) == ("client", "waiting")
        assert "It was planned for Monday 2 March, between 10:00 and 11:00." in message.body
        assert Visit.objects.get().appointment_at > ten
    else:
        assert (message.audience, message.state) == ("office", "to_call")
        assert "nobody can keep the confirmed time, Monday 2 March" in message.body


def test_what_the_client_has_just_confirmed_is_no_news_to_them(visit: Visit, office: Membership) -> None:
    plan = publish_plan(plan=Plan.objects.get(), by=office, now=NOW)
    stop = Stop.objects.get(round__plan=plan)
    at = stop.starts_at.replace(second=0) + timedelta(hours=3)
    confirm_visit(visit=Visit.objects.get(), by=office, appointment_at=at, now=NOW)
    fresh = publish_plan(
        plan=plan_rounds(company=visit.company, by=None, now=NOW, iterations=50).plan, by=office, now=NOW
    )
    (row,) = fresh.differences
    assert (row["kind"], row["tell_client"]) == ("retimed", False)
    assert row["tell_installers"] == [Installer.objects.get().pk]


@pytest.mark.parametrize(("stage", "kind"), [("carbon", "carbon filter"), ("resin", "resin cartridge")])
def test_a_client_reads_which_cartridges_were_rotated(stage: str, kind: str) -> None:
    place = Position(stage=stage, role="lead")
    assert work_text([Need(kind=Need.Kind.ROTATE, position=place)]) == (
        f"replace the first {kind} and move the second one forward"
    )
    assert done_lines([("S1-1", "rotate", place)]) == [
        f"S1-1: the first {kind} was discarded, the second one moved forward and a fresh one fitted behind it"
    ]
    # a record may have lost its position
    assert work_text([Need(kind=Need.Kind.ROTATE)]) == "replace the first cartridge and move the second one forward"


@pytest.mark.parametrize(("state", "move", "told"), [row for row in TELLS if row[2]])
def test_a_message_is_wholly_in_the_language_that_is_spoken(
    visit: Visit, office: Membership, state: str, move: Any, told: list[tuple[str, str]]
) -> None:
    offers = [{"opens_at": at.isoformat(), "closes_at": to.isoformat()} for at, to in (TUESDAY, WEDNESDAY)]
    appointment = TUESDAY[0] if state in ("confirmed", "on_the_way", "in_progress") else None
    Visit.objects.update(state=state, appointment_at=appointment, offers=offers if state == "offered" else [])
    with speak(PSEUDO):
        move(visit, office)
    facts = ("Reef House", "Quay 3", "Ada", visit.company.name, "Dog")
    for message in Message.objects.all():
        assert english_in(message.subject, *facts) == []
        assert english_in(message.body, *facts) == []


def test_a_client_reads_of_the_first_and_the_second_cartridge() -> None:
    lead, lag = (Position(stage="resin", role=role) for role in ("lead", "lag"))
    needs = [
        Need(kind=Need.Kind.REPLACE, position=lead, label="Lead resin"),
        Need(kind=Need.Kind.REPLACE, position=lag, label="Lag resin"),
        Need(kind=Need.Kind.REPLACE, position=Position(stage="carbon", role="single"), label="Carbon"),
    ]
    first, second = (position_name_for_client("resin", role) for role in ("lead", "lag"))
    assert work_text(needs) == f"replace the {first}, replace the {second} and replace the carbon filter"
