"""A browser that nobody uses is signed out, and one in use stays for two weeks at most."""

from datetime import UTC, datetime, timedelta

import pytest
import time_machine
from django.db import connection
from django.test.utils import CaptureQueriesContext
from rest_framework.test import APIClient

from accounts.models import BrowserSession, Membership
from tests.factories import PASSWORD

START = datetime(2026, 3, 2, 8, 0, tzinfo=UTC)
ME = "/api/v1/me/"


@pytest.fixture
def browser(office: Membership) -> APIClient:
    client = APIClient()
    with time_machine.travel(START, tick=False):
        signed_in = client.post("/api/v1/session/", {"email": office.user.email, "password": PASSWORD})
    assert signed_in.status_code == 200, signed_in.content
    return client


def status(browser: APIClient, after: timedelta) -> int:
    with time_machine.travel(START + after, tick=False):
        return int(browser.get(ME).status_code)


def test_a_browser_that_nobody_used_for_half_a_day_is_signed_out(browser: APIClient, settings) -> None:
    assert settings.SESSION_COOKIE_AGE == 12 * 3600
    assert status(browser, timedelta(hours=11, minutes=59)) == 200
    assert status(browser, timedelta(hours=24, minutes=1)) == 401


def test_one_in_use_stays_and_the_list_says_when_it_was_used(browser: APIClient) -> None:
    for hours in range(0, 100, 10):
        assert status(browser, timedelta(hours=hours)) == 200
    assert BrowserSession.objects.get().last_used_at == START + timedelta(hours=90)


def test_one_in_use_is_not_written_with_every_request(browser: APIClient) -> None:
    status(browser, timedelta(minutes=0))
    with time_machine.travel(START + timedelta(minutes=9), tick=False), CaptureQueriesContext(connection) as asked:
        browser.get(ME)
    assert not [query for query in asked.captured_queries if query["sql"].startswith("UPDATE")]


def test_after_two_weeks_of_use_it_ends_all_the_same(browser: APIClient) -> None:
    used = [status(browser, timedelta(hours=hours)) for hours in range(0, 14 * 24 + 10, 10)]
    assert used[:-1] == [200] * (len(used) - 1)
    assert used[-1] == 401
    assert not BrowserSession.objects.exists()
