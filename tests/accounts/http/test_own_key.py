"""A server that signs with the key of its source answers this machine alone, whatever address it listens on."""

import pytest
from django.core.exceptions import MiddlewareNotUsed
from django.http import HttpResponse
from django.test import RequestFactory

from accounts.http.own_key import OwnKeyMiddleware

pytestmark = pytest.mark.interface


def answer(place: str, **headers: str) -> int:
    door = OwnKeyMiddleware(lambda request: HttpResponse("in"))
    return door(RequestFactory().get("/api/v1/me/", REMOTE_ADDR=place, headers=headers)).status_code


@pytest.mark.parametrize("place", ["127.0.0.1", "127.8.9.10", "::1", ""])
def test_without_a_key_of_its_own_a_server_answers_this_machine(place: str, settings) -> None:
    settings.HAS_OWN_KEY = False
    assert answer(place) == 200


@pytest.mark.parametrize("place", ["192.168.1.20", "203.0.113.9", "2001:db8::7", "::ffff:203.0.113.9", "elsewhere"])
def test_without_a_key_of_its_own_a_server_refuses_everybody_else(place: str, settings) -> None:
    settings.HAS_OWN_KEY = False
    assert answer(place) == 503


@pytest.mark.parametrize("header", ["X-Forwarded-For", "Forwarded", "X-Real-IP", "X-Forwarded-Host"])
def test_whom_a_proxy_on_this_machine_brings_is_refused_too(header: str, settings) -> None:
    settings.HAS_OWN_KEY = False
    assert answer("127.0.0.1", **{header: "for=203.0.113.9"}) == 503


@pytest.mark.parametrize("setting", ["HAS_OWN_KEY", "DEBUG"])
def test_with_a_key_or_on_a_developers_machine_nothing_stands_in_the_way(setting: str, settings) -> None:
    settings.HAS_OWN_KEY = False
    setattr(settings, setting, True)
    with pytest.raises(MiddlewareNotUsed):
        OwnKeyMiddleware(lambda request: HttpResponse("in"))
