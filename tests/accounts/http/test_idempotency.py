"""Retry is safe: the same key and body are carried out once and answered alike."""

import threading
from datetime import timedelta
from typing import Any

import pytest
import time_machine
from django.core.files.uploadedfile import SimpleUploadedFile
from django.db import OperationalError, connection
from rest_framework.exceptions import Throttled
from rest_framework.test import APIClient

from accounts.api.clients import ClientViewSet
from accounts.models import AuditEntry, Client, Membership, StoredAnswer
from accounts.services import answers
from accounts.services.tidying import tidy
from fleet.models import IntakeBatch
from tests import factories
from tests.cast import ApiFor

CLIENTS = "/api/v1/clients/"
NOW = factories.NOW


def post(api: APIClient, body: Any, key: str = "k1", **more: Any) -> Any:
    return api.post(CLIENTS, body, headers={"Idempotency-Key": key}, **more)


def test_the_same_key_and_body_make_one_row_and_one_answer(as_office: APIClient) -> None:
    first = post(as_office, {"name": "Reef Room", "phone": "1"})
    again = post(as_office, {"phone": "1", "name": "Reef Room"})
    assert first.status_code == again.status_code == 201
    assert first.content == again.content
    for header in ("Content-Type", "Location", "ETag"):
        assert first.headers[header] == again.headers[header]
    assert Client.objects.count() == 1
    assert AuditEntry.objects.filter(action="create client").count() == 1


def test_without_a_key_each_call_counts(as_office: APIClient) -> None:
    assert as_office.post(CLIENTS, {"name": "A"}).status_code == 201
    assert as_office.post(CLIENTS, {"name": "A"}).status_code == 409


def test_the_key_may_stand_in_the_quotes_the_draft_asks_for(as_office: APIClient) -> None:
    assert post(as_office, {"name": "A"}, '"k1"').content == post(as_office, {"name": "A"}, "k1").content


def test_the_same_key_for_another_body_or_address_is_refused(as_office: APIClient) -> None:
    post(as_office, {"name": "A"})
    other = post(as_office, {"name": "B"})
    assert (other.status_code, other.json()["code"]) == (422, "idempotency_key_reused")
    elsewhere = as_office.post("/api/v1/units/", {"name": "A"}, headers={"Idempotency-Key": "k1"})
    assert elsewhere.status_code in (404, 422)
    assert list(Client.objects.values_list("name", flat=True)) == ["A"]


def test_a_refusal_is_an_answer_too(as_office: APIClient) -> None:
    first = post(as_office, {"name": ""})
    assert first.status_code == 400
    assert post(as_office, {"name": ""}).content == first.content
    assert post(as_office, {"name": "A"}).status_code == 422
    assert not Client.objects.exists()


def test_a_conflict_may_be_tried_again_with_the_same_key(as_office: APIClient, first_client: Client) -> None:
    assert post(as_office, {"name": first_client.name}).status_code == 409
    assert not StoredAnswer.objects.exists()
    Client.objects.all().delete()
    assert post(as_office, {"name": first_client.name}).status_code == 201


@pytest.mark.parametrize(("error", "status"), [(Throttled(), 429), (OperationalError("database is locked"), 503)])
def test_what_passes_by_itself_is_not_kept(
    as_office: APIClient, monkeypatch: pytest.MonkeyPatch, error: Exception, status: int
) -> None:
    def fail(*args: object) -> None:
        raise error

    with monkeypatch.context() as patch:
        patch.setattr(ClientViewSet, "perform_create", fail)
        assert post(as_office, {"name": "A"}).status_code == status
    assert post(as_office, {"name": "A"}).status_code == 201


def test_after_a_slip_of_the_server_nothing_is_stored_and_the_retry_works(
    as_office: APIClient, monkeypatch: pytest.MonkeyPatch
) -> None:
    as_office.raise_request_exception = False

    def fail(*args: object) -> None:
        raise ZeroDivisionError

    with monkeypatch.context() as patch:
        # The row is written by then: it must go with the answer that was never given.
        patch.setattr(ClientViewSet, "reread", fail)
        assert post(as_office, {"name": "A"}).status_code == 500
    assert not Client.objects.exists()
    assert not StoredAnswer.objects.exists()
    assert post(as_office, {"name": "A"}).status_code == 201


def test_the_answer_is_stored_if_and_only_if_the_work_is(as_office: APIClient, monkeypatch: pytest.MonkeyPatch) -> None:
    as_office.raise_request_exception = False

    def fail(**kwargs: object) -> None:
        raise OperationalError("the power went out")

    with monkeypatch.context() as patch:
        patch.setattr(answers, "keep", fail)
        assert post(as_office, {"name": "A"}).status_code == 500
    assert not Client.objects.exists()
    assert post(as_office, {"name": "A"}).status_code == 201


def test_while_the_first_runs_the_second_waits(as_office: APIClient, office: Membership) -> None:
    statuses = []

    def meanwhile(view: Any, serializer: Any) -> Client:
        statuses.append(post(as_office, {"name": "A"}))
        return original(view, serializer)

    original = ClientViewSet.perform_create
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(ClientViewSet, "perform_create", meanwhile)
        assert post(as_office, {"name": "A"}).status_code == 201
    (second,) = statuses
    assert (second.status_code, second.json()["code"]) == (409, "still_running")
    assert second.headers["Retry-After"] == "1"
    assert Client.objects.count() == 1


def test_a_claim_whose_process_died_is_taken_over_by_one_caller(office: Membership) -> None:
    def claim(at: Any) -> str:
        return answers.claim(by=office, key="k", route="/r/", digest="d", now=at).outcome

    assert claim(NOW) == "claimed"
    assert claim(NOW + answers.CLAIMED_FOR - timedelta(seconds=1)) == "running"
    assert claim(NOW + answers.CLAIMED_FOR) == "claimed"
    assert claim(NOW + answers.CLAIMED_FOR) == "running"


def test_an_answer_is_kept_for_two_days(as_office: APIClient, office: Membership) -> None:
    office.tokens.update(expiry=NOW + timedelta(days=30))
    with time_machine.travel(NOW, tick=False) as clock:
        post(as_office, {"name": "A"})
        clock.shift(timedelta(hours=48))
        assert post(as_office, {"name": "A"}).status_code == 201
        clock.shift(timedelta(seconds=1))
        # By now the key is fresh, and the name is taken.
        assert post(as_office, {"name": "A"}).status_code == 409


def test_keys_of_different_people_and_meters_do_not_meet(
    as_office: APIClient, as_owner: APIClient, owner: Membership
) -> None:
    assert post(as_office, {"name": "A"}).status_code == 201
    assert post(as_owner, {"name": "B"}).status_code == 201
    outcomes = []
    for unit in (None, 1, 2):
        owner.meter_unit_id = unit
        outcomes.append(answers.claim(by=owner, key="k9", route="/r/", digest="d", now=NOW).outcome)
    assert outcomes == ["claimed"] * 3


@pytest.mark.parametrize("key", ["", " ", '""', "x" * 121, "é", "a\tb"])
def test_a_key_that_cannot_be_is_refused(as_office: APIClient, key: str) -> None:
    answer = post(as_office, {"name": "A"}, key)
    assert answer.status_code == 400
    assert answer.json()["errors"][0]["header"] == "Idempotency-Key"
    assert not Client.objects.exists()


def test_a_body_that_cannot_be_read_takes_no_key(as_office: APIClient) -> None:
    headers = {"Idempotency-Key": "k1"}
    broken = as_office.generic("POST", CLIENTS, b"{", content_type="application/json", headers=headers)
    assert broken.status_code == 400
    assert post(as_office, {"name": "A"}).status_code == 201


def test_a_file_is_the_same_by_its_content_and_name(as_office: APIClient) -> None:
    def upload(content: bytes, name: str = "log.csv") -> Any:
        file = SimpleUploadedFile(name, content, content_type="text/csv")
        headers = {"Idempotency-Key": "k1"}
        return as_office.post("/api/v1/readings/upload/", {"file": file}, format="multipart", headers=headers)

    first = upload(b"unit,taken at\nU,2026-03-01T08:00:00Z\n")
    assert first.status_code == 202, first.content
    assert upload(b"unit,taken at\nU,2026-03-01T08:00:00Z\n").content == first.content
    assert upload(b"unit,taken at\nU,2026-03-01T09:00:00Z\n").status_code == 422
    assert upload(b"unit,taken at\nU,2026-03-01T08:00:00Z\n", "other.csv").status_code == 422
    assert IntakeBatch.objects.count() == 1


def test_old_answers_go_when_the_house_is_tidied(office: Membership) -> None:
    factories.StoredAnswerFactory(membership=office, created_at=NOW - timedelta(hours=49))
    recent_answer = factories.StoredAnswerFactory(membership=office, created_at=NOW - timedelta(hours=47))
    assert tidy(now=NOW).answers == 1
    assert StoredAnswer.objects.get() == recent_answer
    assert tidy(now=NOW).answers == 0


@pytest.mark.django_db(transaction=True)
def test_of_many_at_once_one_is_carried_out(office: Membership, api_for: ApiFor) -> None:
    callers = [api_for(office) for _ in range(6)]
    gate = threading.Barrier(len(callers))
    answers: list[Any] = []

    def call(api: APIClient) -> None:
        try:
            gate.wait(timeout=30)
            answers.append(post(api, {"name": "A"}))
        finally:
            connection.close()

    threads = [threading.Thread(target=call, args=[api]) for api in callers]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join(timeout=60)
    assert len(answers) == len(callers)
    assert {answer.status_code for answer in answers} <= {201, 409}
    assert len({answer.content for answer in answers if answer.status_code == 201}) == 1
    assert {answer.json()["code"] for answer in answers if answer.status_code == 409} <= {"still_running"}
    assert Client.objects.count() == 1
    assert post(callers[0], {"name": "A"}).status_code == 201
