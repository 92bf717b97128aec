"""Updates carry an ETag; a stale one changes nothing (RFC 9110 sections 8.8.3, 13.1.1 and 13.1.2)."""

import threading
from typing import Any

import pytest
from django.db import connection
from rest_framework.test import APIClient

from accounts.models import Client, Membership
from tests.cast import ApiFor


@pytest.fixture
def address(first_client: Client) -> str:
    return f"/api/v1/clients/{first_client.pk}/"


def test_the_tag_is_strong_and_changes_with_the_thing(as_office: APIClient, address: str) -> None:
    before = as_office.get(address).headers["ETag"]
    assert before.startswith('"')
    assert as_office.get(address).headers["ETag"] == before
    changed = as_office.patch(address, {"phone": "1"}).headers["ETag"]
    assert changed != before
    assert as_office.get(address).headers["ETag"] == changed
    assert as_office.patch(address, {"phone": ""}).headers["ETag"] == before


def test_what_one_holds_already_is_not_sent_again(as_office: APIClient, address: str) -> None:
    tag = as_office.get(address).headers["ETag"]
    for held in (tag, f'"other", {tag}', f"W/{tag}", "*"):
        answer = as_office.get(address, headers={"If-None-Match": held})
        assert (answer.status_code, answer.content) == (304, b"")
        assert answer.headers["ETag"] == tag
    assert as_office.get(address, headers={"If-None-Match": '"other"'}).status_code == 200


@pytest.mark.parametrize("method", ["patch", "delete"])
def test_a_stale_tag_changes_nothing(as_office: APIClient, address: str, method: str, first_client: Client) -> None:
    stale = as_office.get(address).headers["ETag"]
    as_office.patch(address, {"phone": "1"})
    for tag in (stale, f"W/{as_office.get(address).headers['ETag']}", '"made up"'):
        answer = getattr(as_office, method)(address, {"phone": "2"}, headers={"If-Match": tag})
        assert (answer.status_code, answer.json()["code"]) == (412, "changed_since")
    first_client.refresh_from_db()
    assert first_client.phone == "1"


@pytest.mark.parametrize("method", ["patch", "delete"])
def test_the_newest_tag_or_any_lets_the_change_through(as_office: APIClient, address: str, method: str) -> None:
    fresh = as_office.get(address).headers["ETag"]
    for tag in (f'"other", {fresh}', "*") if method == "patch" else (fresh,):
        answer = getattr(as_office, method)(address, {"notes": "x"}, headers={"If-Match": tag})
        assert answer.status_code in (200, 204)


@pytest.mark.parametrize("tag", ["", "abc", '"', "W/abc", '"a", b'])
@pytest.mark.parametrize("header", ["If-Match", "If-None-Match"])
def test_a_tag_without_its_quotes_is_refused(as_office: APIClient, address: str, header: str, tag: str) -> None:
    method = as_office.patch if header == "If-Match" else as_office.get
    answer = method(address, {}, headers={header: tag})
    assert answer.status_code == 400
    assert answer.json()["errors"][0]["header"] == header


def test_a_stale_tag_on_what_is_not_there_is_still_not_found(as_office: APIClient) -> None:
    answer = as_office.patch("/api/v1/clients/4711/", {}, headers={"If-Match": '"x"'})
    assert answer.status_code == 404


@pytest.mark.django_db(transaction=True)
def test_of_two_who_change_the_same_version_one_succeeds(
    office: Membership, first_client: Client, api_for: ApiFor
) -> None:
    address = f"/api/v1/clients/{first_client.pk}/"
    callers = [api_for(office) for _ in range(4)]
    tag = callers[0].get(address).headers["ETag"]
    gate = threading.Barrier(len(callers))
    answers: list[Any] = []

    def change(api: APIClient, phone: str) -> None:
        try:
            gate.wait(timeout=30)
            answers.append(api.patch(address, {"phone": phone}, headers={"If-Match": tag}))
        finally:
            connection.close()

    threads = [threading.Thread(target=change, args=[api, str(n)]) for n, api in enumerate(callers)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join(timeout=60)
    assert sorted(answer.status_code for answer in answers) == [200, 412, 412, 412]
    first_client.refresh_from_db()
    assert [answer.json()["phone"] for answer in answers if answer.status_code == 200] == [first_client.phone]
