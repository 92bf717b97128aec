"""A report of a fault says where it is, and nothing of who was concerned."""

import json
import logging
from collections.abc import Iterator
from typing import Any

import pytest
import sentry_sdk
from django.core.handlers.wsgi import WSGIHandler
from django.test import RequestFactory
from sentry_sdk.transport import Transport

from accounts.observing.reports import LEFT_OUT, bare, options

NAME = "Zqxv Harbour Bar"
SECRET = "MTI-cz9k2v-7d5f3c0f6f1b4f6e9b1d:1vXq"


class Kept(Transport):
    """Keeps the reports that would leave."""

    def __init__(self) -> None:
        super().__init__()
        self.reports: list[dict[str, Any]] = []

    def capture_envelope(self, envelope: Any) -> None:
        self.reports += [event for item in envelope.items if (event := item.get_event()) is not None]


@pytest.fixture
def reports() -> Iterator[list[dict[str, Any]]]:
    kept = Kept()
    client = sentry_sdk.Client(**options("https://key@reports.example/1"), transport=kept)
    with sentry_sdk.isolation_scope(), sentry_sdk.new_scope() as scope:
        before = sentry_sdk.get_global_scope().client
        sentry_sdk.get_global_scope().set_client(client)
        scope.set_client(client)
        yield kept.reports
        sentry_sdk.get_global_scope().set_client(before)


@pytest.mark.django_db
def test_a_fault_is_reported_without_what_was_sent(
    reports: list[dict[str, Any]], monkeypatch: pytest.MonkeyPatch
) -> None:
    def broken() -> None:
        phone = "0170-zqxv"
        raise RuntimeError(f"Key (name)=({NAME}) and {phone} are no good")

    monkeypatch.setattr("accounts.observing.probes.readiness", broken)
    headers = {"X-Request-ID": "proxy-1.7", "Cookie": "a=zqxv", "Authorization": "Bearer zqxv"}
    environ = RequestFactory().get("/readyz", {"note": "zqxv"}, headers=headers).META
    statuses: list[str] = []
    # The way of a server, which the client of tests does not take.
    b"".join(WSGIHandler()(environ, lambda status, sent: statuses.append(status)))
    assert statuses == ["500 Internal Server Error"]
    assert len(reports) == 1
    (fault,) = reports[0]["exception"]["values"]
    assert (fault["type"], fault["value"]) == ("RuntimeError", LEFT_OUT)
    assert any(frame["function"] == "broken" for frame in fault["stacktrace"]["frames"])
    assert reports[0]["request"] == {"method": "GET", "url": "http://testserver/readyz"}
    assert reports[0]["tags"]["request_id"] == "proxy-1.7"
    # The library shows the lines of the code around; those of this test name what is looked for.
    for frame in fault["stacktrace"]["frames"]:
        if frame["function"] == "broken":
            frame.clear()
    told = json.dumps(reports, default=str).lower()
    for word in ("zqxv", "bearer", "cookie", "note="):
        assert word not in told, word


def test_a_line_of_the_log_is_reported_in_its_form_alone(reports: list[dict[str, Any]]) -> None:
    logging.getLogger("some.room").error("%s cannot be reached", NAME)
    logging.getLogger("some.room").error(f"{NAME} cannot be reached")
    assert [report["logentry"]["message"] for report in reports] == ["%s cannot be reached", LEFT_OUT]
    assert "Zqxv" not in json.dumps(reports, default=str)


def test_the_secret_of_a_link_is_not_reported() -> None:
    told = bare({"request": {"url": f"https://water.example/answer/{SECRET}/?a=b", "data": {"a": "b"}}}, {})
    assert told["request"] == {"url": "https://water.example/answer/(hidden)/"}
