"""The name of a request goes along with the work it asks for."""

from typing import Any

import pytest
from celery import shared_task, signals
from rest_framework.test import APIClient

from accounts.observing.requests import current_request, named
from accounts.observing.tasks import begin, end, name_task

pytestmark = pytest.mark.interface


class Asked:
    """A task as a worker sees it."""

    def __init__(self, *, is_eager: bool = False, **headers: str) -> None:
        self.request = type("Request", (), {"is_eager": is_eager, **headers})


def test_a_task_is_sent_with_the_name_of_its_request() -> None:
    headers: dict[str, Any] = {}
    with named("proxy-1.7"):
        signals.before_task_publish.send("some.task", headers=headers)
    assert headers == {"request_id": "proxy-1.7"}


def test_what_nobody_asked_for_is_sent_without_a_name() -> None:
    headers: dict[str, Any] = {}
    name_task(headers=headers)
    assert headers == {}


@pytest.mark.parametrize(("headers", "name"), [({"request_id": "proxy-1.7"}, "proxy-1.7"), ({}, "t-1")])
def test_a_worker_goes_on_under_that_name_or_under_that_of_the_task(headers: dict[str, str], name: str) -> None:
    begin(task_id="t-1", task=Asked(**headers))
    try:
        assert current_request() == name
    finally:
        end(task_id="t-1")
    assert current_request() == ""


@shared_task
def who_asks() -> str:
    return current_request()


def test_in_the_process_that_asks_the_name_stays() -> None:
    with named("proxy-1.7"):
        assert who_asks.apply().get() == "proxy-1.7"
        assert current_request() == "proxy-1.7"


def test_a_problem_names_its_request() -> None:
    answer = APIClient().get("/api/v1/nowhere/")
    assert answer.json()["request_id"] == answer.headers["X-Request-ID"]
    kept = APIClient().get("/api/v1/units/", headers={"X-Request-ID": "proxy-1.7"})
    assert (kept.status_code, kept.json()["request_id"]) == (401, "proxy-1.7")
