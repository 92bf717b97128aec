"""Who reports a leak, no water or a bad taste is answered at once, and all follows; when it is gone, nobody calls.

Every step is a call over HTTP, by the role that makes it.
"""

from datetime import UTC, datetime, timedelta
from typing import Any
from zoneinfo import ZoneInfo

import pytest
import time_machine
from rest_framework.test import APIClient

from accounts.models import Client, Company, Membership
from fleet.models import Finding, Unit
from scheduling.models import CompanyPolicy, Message, Need
from scheduling.services.people.messages import call_back_by
from tests import factories

NOW = datetime(2026, 3, 2, 9, 50, tzinfo=UTC)
Caught = Any

REPORTS = [
    ("water_on_floor", "water_leak", "repair", "close its feed valve"),
    ("no_water", "no_water_not_explained", "inspect", "its feed valve is open"),
    ("taste_or_odour", "tank_biofilm", "sanitise", "do not drink this water"),
    ("container_overflows", "float_valve_does_not_close", "repair", "close the feed valve"),
]


@pytest.fixture(autouse=True)
def clock() -> Any:
    with time_machine.travel(NOW, tick=False) as traveller:
        yield traveller


@pytest.fixture
def unit(company: Company, first_client: Client, office: Membership) -> Unit:
    company.phone = "555 0199"
    company.save()
    first_client.phone, first_client.email = "555 0100", "clara@first.example"
    first_client.save()
    site = factories.SiteFactory(
        company=company, client=first_client, name="Harbour tanks", address="3 Quay Lane", time_zone="Europe/Berlin"
    )
    return factories.UnitFactory(
        company=company,
        site=site,
        code="H-7",
        use=Unit.Use.DRINKING,
        commissioned_on=(NOW - timedelta(days=200)).date(),
        has_float_valve=True,
    )


def see(api: APIClient, unit: Unit, hook: Caught, **observations: bool) -> int:
    with hook(execute=True):
        answer = api.post(f"/api/v1/units/{unit.pk}/readings/", {"observations": observations}, format="json")
    assert answer.status_code == 201, answer.content
    return int(answer.json()["id"])


def messages(api: APIClient, **wanted: str) -> list[dict[str, Any]]:
    rows: list[dict[str, Any]] = api.get("/api/v1/messages/").json()["results"]
    return [row for row in rows if all(row[name] == value for name, value in wanted.items())]


def matters(api: APIClient, kind: str) -> list[dict[str, Any]]:
    by_kind = api.get("/api/v1/attention/").json()["by_kind"]
    return next(row["matters"] for row in by_kind if row["kind"] == kind)


@pytest.mark.parametrize(("seen", "cause", "kind", "to_do"), REPORTS)
@pytest.mark.parametrize("reporter", ["client", "installer"])
def test_a_report_opens_all_that_follows_from_it(
    seen: str,
    cause: str,
    kind: str,
    to_do: str,
    reporter: str,
    unit: Unit,
    as_client: APIClient,
    as_installer: APIClient,
    as_office: APIClient,
    django_capture_on_commit_callbacks: Caught,
) -> None:
    see(as_client if reporter == "client" else as_installer, unit, django_capture_on_commit_callbacks, **{seen: True})
    finding = Finding.objects.get(unit=unit, cause=cause, state="open")
    need = Need.objects.get(finding=finding, state="open")
    assert (need.kind, need.is_urgent) == (kind, True)
    (told,) = messages(as_office, kind="found")
    assert (told["audience"], told["state"], told["finding"]) == ("office", "waiting", finding.pk)
    kinds = ("bad_water", "faults")
    assert [row["unit_code"] for kind_ in kinds for row in matters(as_office, kind_) if row["unit"]] == ["H-7"]
    (call,) = [row for row in matters(as_office, "calls") if row["unit"] == unit.pk]
    assert (call["phone"], call["site_name"]) == ("555 0100", "Harbour tanks")
    assert call["settle"]["path"] == f"/api/v1/messages/{messages(as_office, kind='call_back')[0]['id']}/called/"
    (answer,) = messages(as_client)
    assert (answer["kind"], answer["finding"], answer["audience"]) == ("report_noted", finding.pk, "client")
    for words in (to_do, "H-7", "Harbour tanks", "555 0100", "Monday 2 March, 15:00", "555 0199", "certifies"):
        assert words in answer["body"], answer["body"]
    status = as_client.get(f"/api/v1/units/{unit.pk}/status/").json()
    assert any(to_do in sentence for sentence in status["findings"])
    assert (status["water"] == "not_good") == (seen == "taste_or_odour")


def test_the_same_report_again_is_answered_once(
    unit: Unit, as_client: APIClient, as_office: APIClient, django_capture_on_commit_callbacks: Caught, clock: Any
) -> None:
    for _ in range(3):
        see(as_client, unit, django_capture_on_commit_callbacks, water_on_floor=True)
        clock.shift(timedelta(minutes=10))
    assert sorted(row["kind"] for row in messages(as_office)) == ["call_back", "found", "report_noted"]


def test_the_letter_says_who_saw_it(
    unit: Unit,
    as_installer: APIClient,
    as_office: APIClient,
    django_capture_on_commit_callbacks: Caught,
) -> None:
    """An installer at the unit, or the office, which was told by telephone; neither is the client's own report."""
    see(as_office, unit, django_capture_on_commit_callbacks, water_on_floor=True)
    see(as_installer, unit, django_capture_on_commit_callbacks, no_water=True)
    letters = messages(as_office, kind="report_noted")
    assert len(letters) == 2
    for who in ("our office noted", "our installer reports"):
        assert sum(f"{who} on Monday 2 March at 10:50: " in letter["body"] for letter in letters) == 1, letters
    assert not any(letter["subject"].startswith("Your report") for letter in letters)


def test_what_can_wait_is_answered_without_the_promise_of_a_call(
    unit: Unit,
    as_client: APIClient,
    as_installer: APIClient,
    as_office: APIClient,
    django_capture_on_commit_callbacks: Caught,
) -> None:
    see(as_client, unit, django_capture_on_commit_callbacks, unusual_noise=True)
    (answer,) = messages(as_office)
    assert (answer["kind"], "will call you" in answer["body"]) == ("report_noted", False)
    assert "on our next visit" in answer["body"]
    see(as_installer, unit, django_capture_on_commit_callbacks, pump_cycles_rapidly=True)
    assert len(messages(as_office)) == 1, "what an installer sees and can wait is work, and no letter"


@pytest.mark.parametrize("way", ["gone", "taken_back", "dismissed"])
def test_once_it_is_gone_nobody_calls_and_nothing_stays_open(
    way: str, unit: Unit, as_client: APIClient, as_office: APIClient, django_capture_on_commit_callbacks: Caught
) -> None:
    reading = see(as_client, unit, django_capture_on_commit_callbacks, water_on_floor=True, taste_or_odour=True)
    assert len(matters(as_office, "calls")) == 2
    with django_capture_on_commit_callbacks(execute=True):
        if way == "gone":
            body = {"observations": {"water_on_floor": False, "taste_or_odour": False}}
            with time_machine.travel(NOW + timedelta(minutes=5), tick=False):
                done = [as_client.post(f"/api/v1/units/{unit.pk}/readings/", body, format="json")]
        elif way == "taken_back":
            done = [as_office.post(f"/api/v1/readings/{reading}/void/", {"reason": "another house"}, format="json")]
        else:
            done = [
                as_office.post(f"/api/v1/findings/{pk}/dismiss/", {"note": "rain came in"}, format="json")
                for pk in Finding.objects.filter(unit=unit, state="open").values_list("pk", flat=True)
            ]
    assert [answer.status_code // 100 for answer in done] == [2] * len(done), done[0].content
    assert not Finding.objects.filter(unit=unit, cause__in=("water_leak", "tank_biofilm"), state="open").exists()
    assert not Need.objects.filter(unit=unit, state="open", is_urgent=True).exists()
    assert {row["state"] for row in messages(as_office)} == {"replaced"}
    assert [matters(as_office, kind) for kind in ("calls", "bad_water")] == [[], []]
    assert as_client.get(f"/api/v1/units/{unit.pk}/status/").json()["water"] != "not_good"


def test_a_call_that_was_made_is_off_the_list(
    unit: Unit, as_client: APIClient, as_office: APIClient, django_capture_on_commit_callbacks: Caught
) -> None:
    see(as_client, unit, django_capture_on_commit_callbacks, no_water=True)
    (call,) = matters(as_office, "calls")
    assert as_office.post(call["settle"]["path"], {"note": "the main was shut"}, format="json").status_code == 200
    assert matters(as_office, "calls") == []


def test_a_unit_that_was_switched_off_gives_no_water_and_nobody_wonders(
    unit: Unit, as_client: APIClient, as_office: APIClient, django_capture_on_commit_callbacks: Caught
) -> None:
    see(as_client, unit, django_capture_on_commit_callbacks, no_water=True, is_switched_off=True)
    assert not Finding.objects.filter(unit=unit, cause="no_water_not_explained").exists()
    assert messages(as_office, kind="found") == []


@pytest.mark.parametrize(
    ("told_at", "hours", "by"),
    [
        ("2026-03-02T10:50", 4, "2026-03-02T15:00"),
        ("2026-03-02T15:30", 4, "2026-03-02T19:30"),
        ("2026-03-02T16:30", 4, "2026-03-03T12:00"),
        ("2026-03-02T23:30", 1, "2026-03-03T09:00"),
        ("2026-03-02T03:10", 2, "2026-03-02T10:00"),
        # the clocks go forward in the night: the hour of the wall clock counts
        ("2026-03-28T22:00", 4, "2026-03-29T12:00"),
    ],
)
def test_a_call_is_promised_within_the_hours_of_the_telephone(told_at: str, hours: int, by: str) -> None:
    """Worked by hand: so many hours on, between 08:00 and 20:00."""
    zone = ZoneInfo("Europe/Berlin")
    promised = call_back_by(datetime.fromisoformat(told_at).replace(tzinfo=zone), hours, zone)
    assert promised.replace(tzinfo=None).isoformat(timespec="minutes") == by


def test_a_day_without_an_hour_is_answered_as_the_day(
    as_client: APIClient, unit: Unit, django_capture_on_commit_callbacks: Caught
) -> None:
    with django_capture_on_commit_callbacks(execute=True):
        sent = {"taken_at": "2026-03-01", "observations": {"no_water": True}}
        assert as_client.post(f"/api/v1/units/{unit.pk}/readings/", sent, format="json").status_code == 201
    (letter,) = Message.objects.filter(kind="report_noted")
    assert "your report of Sunday 1 March. We understood" in letter.body
    assert "12:00" not in letter.body.partition("somebody will call")[0]


def test_a_call_promised_for_the_next_day_stands_on_the_day_it_is_due(
    unit: Unit, as_client: APIClient, as_office: APIClient, django_capture_on_commit_callbacks: Caught
) -> None:
    CompanyPolicy.objects.create(company=unit.company, settings={"call_back_hours": 10})
    see(as_client, unit, django_capture_on_commit_callbacks, no_water=True)
    (call,) = matters(as_office, "calls")
    assert "Tuesday 3 March" in call["sentence"]
    assert call["day"] == "2026-03-03"
