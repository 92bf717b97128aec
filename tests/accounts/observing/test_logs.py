"""No line of the log holds what opens a door."""

import logging

import pytest

from accounts.observing.logs import HidesLinks
from tests.routes import every_route

pytestmark = pytest.mark.interface

SECRET = "MTI-cz9k2v-7d5f3c0f6f1b4f6e9b1d:1vXq"
LINKS = sorted({route.path for route in every_route() if "<token>" in route.path or "<secret>" in route.path})


def line(message: str, *args: object) -> str:
    record = logging.LogRecord("django.request", logging.WARNING, "x.py", 1, message, args, None)
    assert HidesLinks().filter(record)
    return record.getMessage()


@pytest.mark.parametrize("path", LINKS)
def test_the_secret_of_every_link_is_hidden(path: str) -> None:
    address = path.replace("<token>", SECRET).replace("<secret>", SECRET)
    said = line("%s: %s", "Bad Request", address)
    assert SECRET not in said
    assert said.startswith("Bad Request: /")
    assert "(hidden)" in said


def test_there_are_links_to_hide() -> None:
    assert len(LINKS) >= 8


def test_other_lines_stay_as_they_are() -> None:
    assert line("%s: %s", "Not Found", "/api/v1/units/7/") == "Not Found: /api/v1/units/7/"
    assert line("100 % done") == "100 % done"
