"""Every answer and every log line names its request."""

import json
import logging
from logging.config import dictConfig

import pytest
from django.conf import settings
from rest_framework.test import APIClient

from accounts.observing.logs import NamesTheRequest
from accounts.observing.requests import current_request

pytestmark = pytest.mark.interface


@pytest.mark.parametrize("path", ["/healthz", "/api/v1/problems/", "/api/v1/nowhere/"])
def test_every_answer_names_its_request(path: str) -> None:
    first, second = (APIClient().get(path).headers["X-Request-ID"] for _ in range(2))
    assert len(first) == 32
    assert first != second


def test_the_name_that_a_proxy_gave_is_kept() -> None:
    assert APIClient().get("/healthz", headers={"X-Request-ID": "proxy-1.7"}).headers["X-Request-ID"] == "proxy-1.7"


@pytest.mark.parametrize("sent", ["short", "x" * 65, "two words of it", "line\nbreak-in-it"])
def test_a_name_that_could_spoil_a_log_is_not_kept(sent: str) -> None:
    assert len(APIClient().get("/healthz", headers={"X-Request-ID": sent}).headers["X-Request-ID"]) == 32


def test_outside_of_a_request_there_is_no_name() -> None:
    APIClient().get("/healthz")
    assert current_request() == ""


def test_a_log_line_is_json_where_that_is_asked_for(capsys: pytest.CaptureFixture[str]) -> None:
    handler = logging.StreamHandler()
    handler.addFilter(NamesTheRequest())
    plain = settings.LOGGING["formatters"]["json"]
    config = {"version": 1, "incremental": False, "disable_existing_loggers": False, "formatters": {"json": plain}}
    dictConfig(
        config
        | {
            "filters": settings.LOGGING["filters"],
            "handlers": {"out": {"class": "logging.StreamHandler", "formatter": "json", "filters": ["request"]}},
            "loggers": {"told": {"handlers": ["out"], "propagate": False}},
        }
    )
    logging.getLogger("told").warning('said "%s"', "so")
    line = json.loads(capsys.readouterr().err)
    assert (line["message"], line["levelname"], line["name"], line["request_id"]) == (
        'said "so"',
        "WARNING",
        "told",
        "-",
    )
