"""How many requests a caller has in a minute: one count for all processes, told in every answer."""

import re
from datetime import UTC, datetime, timedelta
from typing import Any

import pytest
import time_machine
from django.core.files.uploadedfile import SimpleUploadedFile
from rest_framework.test import APIClient

from accounts.http import parsers
from accounts.models import Membership, RequestCount
from accounts.services.budgets import ADDRESS, OF_ROLE, Budget, forget_counts, forget_held, take
from accounts.services.tidying import tidy
from fleet.api import intake
from tests import factories

NOW = datetime(2026, 3, 2, 8, 0, tzinfo=UTC)
UNITS = "/api/v1/units/"
SMALL = Budget("small", 40)


def handed_out(caller: str, count: int, now: datetime = NOW) -> list[bool]:
    return [take(budget=SMALL, caller=caller, now=now).is_within for _ in range(count)]


@pytest.mark.django_db
def test_a_caller_has_so_many_and_in_the_next_minute_as_many_again() -> None:
    assert handed_out("one", 41) == [True] * 40 + [False]
    assert handed_out("another", 1) == [True]
    assert handed_out("one", 1, NOW + timedelta(seconds=59)) == [False]
    assert handed_out("one", 41, NOW + timedelta(seconds=60)) == [True] * 40 + [False]


@pytest.mark.django_db
def test_all_processes_together_hand_out_no_more_than_the_budget() -> None:
    given = 0
    for _ in range(100):
        # Another process remembers nothing of what this one took.
        forget_held()
        given += sum(handed_out("one", 1))
    assert 0 < given <= SMALL.requests
    assert given == SMALL.requests / SMALL.share


@pytest.mark.django_db
def test_the_count_is_a_row_written_now_and_then(django_assert_num_queries: Any) -> None:
    handed_out("one", 1)
    with django_assert_num_queries(0):
        handed_out("one", SMALL.share - 1)
    row = RequestCount.objects.get()
    assert (row.handed_out, "one" in row.key) == (SMALL.share, False)
    tidy(now=NOW + timedelta(hours=23))
    assert RequestCount.objects.exists()
    assert forget_counts(now=NOW + timedelta(hours=25)) == 1


@pytest.mark.django_db
def test_an_answer_says_what_is_left_and_when_there_is_more(
    as_client: APIClient, client_member: Membership, settings: Any
) -> None:
    settings.REQUEST_BUDGET_PERCENT = 10
    with time_machine.travel(NOW + timedelta(seconds=20), tick=False):
        answers = [as_client.get(UNITS) for _ in range(31)]
    first, last_within, over = answers[0], answers[29], answers[30]
    assert first.headers["RateLimit-Policy"] == '"client";q=30;w=60'
    assert first.headers["RateLimit"] == '"client";r=29;t=40'
    assert (last_within.status_code, last_within.headers["RateLimit"]) == (200, '"client";r=0;t=40')
    assert (over.status_code, over.json()["code"]) == (429, "too_many_requests")
    assert (over.headers["Retry-After"], over.headers["RateLimit"]) == ("40", '"client";r=0;t=40')
    with time_machine.travel(NOW + timedelta(seconds=60), tick=False):
        assert as_client.get(UNITS).status_code == 200


@pytest.mark.django_db
def test_the_budget_is_of_a_token_and_its_size_of_the_role(
    api_for: Any, owner: Membership, settings: Any, api: APIClient
) -> None:
    settings.REQUEST_BUDGET_PERCENT = 1
    one, other = api_for(owner), api_for(owner)
    unit = factories.UnitFactory(company=owner.company)
    meter = api_for(owner, meter_unit_id=unit.pk)
    with time_machine.travel(NOW, tick=False):
        assert [one.get(UNITS).status_code for _ in range(13)] == [200] * 12 + [429]
        assert other.get(UNITS).status_code == 200
        # What is refused for another reason is counted too.
        assert [meter.get(UNITS).status_code for _ in range(2)] == [403, 429]
        assert "RateLimit" not in api.get(UNITS).headers
    assert {role.value: budget.requests for role, budget in OF_ROLE.items()} == {
        "owner": 1200, "office": 1200, "installer": 600, "client": 300,
    }  # fmt: skip


@pytest.mark.django_db
def test_all_browsers_of_a_member_share_one(office: Membership, settings: Any) -> None:
    settings.REQUEST_BUDGET_PERCENT = 1
    body = {"email": office.user.email, "password": factories.PASSWORD}
    browsers = [APIClient(), APIClient()]
    with time_machine.travel(NOW, tick=False):
        for browser in browsers:
            assert browser.post("/api/v1/session/", body).status_code == 200
        codes = [browsers[turn % 2].get(UNITS).status_code for turn in range(13)]
    assert codes == [200] * 12 + [429]


@pytest.mark.django_db
def test_strangers_are_counted_by_address_or_by_network(api: APIClient) -> None:
    def asks(place: str) -> Any:
        return APIClient(REMOTE_ADDR=place).post("/api/v1/session/", {"email": "a@b.example", "password": "x"})

    with time_machine.travel(NOW, tick=False):
        first = asks("2001:db8:0:7::1")
        assert first.headers["RateLimit-Policy"] == f'"address";q={ADDRESS.requests};w=60'
        for number in range(2, ADDRESS.requests + 1):
            asks(f"2001:db8:0:7::{number:x}")
        over = asks("2001:db8:0:7:1:2:3:4")
        assert (over.status_code, over.headers["Retry-After"]) == (429, "60")
        assert asks("2001:db8:0:8::1").status_code == 401


def test_the_same_sent_again_without_a_key_is_carried_out_and_told(
    as_office: APIClient, as_installer: APIClient
) -> None:
    assert "Warning" not in as_office.post("/api/v1/sizing/", {}).headers
    unit = factories.UnitFactory(company=Membership.objects.get(role="office").company)
    reading = f"{UNITS}{unit.pk}/readings/"
    sent = {"inlet_pressure": "60 psi"}
    with time_machine.travel(NOW, tick=False):
        answers = [as_office.post(reading, sent) for _ in range(20)]
        assert {answer.status_code for answer in answers} <= {200, 201}, answers[-1].content
        warnings = [answer.headers.get("Warning", "") for answer in answers]
        assert "Warning" not in as_installer.post(reading, sent).headers
        assert "Warning" not in as_office.post(reading, {"inlet_pressure": "61 psi"}).headers
        with_key = [as_office.post(reading, sent, headers={"Idempotency-Key": "k1"}) for _ in range(2)]
    assert warnings[0] == ""
    assert all(re.match(r'299 - "The same was sent here \d+ times', text) for text in warnings[1:])
    assert "20 times within ten minutes" in warnings[-1]
    assert not any("Warning" in answer.headers for answer in with_key)
    with time_machine.travel(NOW + timedelta(minutes=10, seconds=1), tick=False):
        assert "Warning" not in as_office.post(reading, sent).headers


def test_a_form_that_is_too_long_is_refused_before_it_is_read(as_office: APIClient, monkeypatch: Any) -> None:
    monkeypatch.setattr(parsers, "MOST_BYTES_OF_A_FORM", 2_000)
    monkeypatch.setattr(intake, "MOST_BYTES_IN_PIECES", 2_000)
    monkeypatch.setattr(intake, "BESIDE_A_LOG", 0)
    for path in ("readings/upload/", "imports/"):
        file = SimpleUploadedFile("log.csv", b"unit,taken at\n" + b"x" * 3_000)
        refused = as_office.post(f"/api/v1/{path}", {"file": file}, format="multipart")
        assert (refused.status_code, refused.json()["code"]) == (413, "too_large")
