"""Passwords cannot be tried out, and no stranger keeps the right person out by trying."""

from datetime import timedelta
from typing import Any

import pytest
import time_machine
from django.utils import timezone
from rest_framework.test import APIClient

from accounts.errors import TooManyTries
from accounts.models import KnownPlace, Membership, RequestCount, TryCount
from accounts.services import WrongCredentials, check_password_of
from accounts.services.brakes import PERSON, PERSON_HERE, PLACE, forget_tries, network_of
from accounts.services.budgets import forget_held
from accounts.services.links import password_token
from tests import factories

pytestmark = pytest.mark.interface

LOGIN = "/api/v1/login/"
HOME, STRANGER = "192.0.2.7", "203.0.113.9"
NEW_PASSWORD = "heron-basin-lantern-31"


def _fresh_minute() -> None:
    RequestCount.objects.all().delete()
    forget_held()


def attempt(email: str, password: str, place: str) -> Any:
    # How much an address asks for at all is counted apart.
    _fresh_minute()
    return APIClient(REMOTE_ADDR=place).post(LOGIN, {"email": email, "password": password})


def attempts(email: str, places: list[str], count: int) -> list[int]:
    """Wrong tries, as statuses; past the views, which answer what the service says, as they are many."""
    return [_status(email, place) for place in places for _ in range(count)]


def _status(email: str, place: str) -> int:
    try:
        check_password_of(email=email, password="wrong", place=place, now=timezone.now())
    except TooManyTries:
        return 429
    except WrongCredentials:
        return 401
    raise AssertionError("let in")


def test_a_stranger_who_tries_260_times_keeps_out_only_themselves(office: Membership) -> None:
    email = office.user.email
    codes = attempts(email, [STRANGER], 260)
    assert codes == [401] * PERSON_HERE.free + [429] * (260 - PERSON_HERE.free)
    assert attempt(email, "wrong", STRANGER).status_code == 429
    assert attempt(email, factories.PASSWORD, STRANGER).status_code == 429, "not even by a lucky guess"
    assert attempt(email, factories.PASSWORD, HOME).status_code == 200, "from where nobody signed in before"


def test_strangers_from_many_places_keep_nobody_out_who_was_here_before(api: APIClient, office: Membership) -> None:
    email = office.user.email
    assert attempt(email, factories.PASSWORD, HOME).status_code == 200
    codes = attempts(email, [f"198.51.100.{n}" for n in range(26)], 10)
    assert codes.count(401) == PERSON.free, "and then every place that is new for the person waits"
    assert attempt(email, factories.PASSWORD, HOME).status_code == 200
    away = "192.0.2.99"
    assert attempt(email, factories.PASSWORD, away).status_code == 429
    link = f"/api/v1/password-resets/{password_token(office.user)}/"
    assert APIClient(REMOTE_ADDR=away).post(link, {"password": NEW_PASSWORD}).status_code == 204
    assert attempt(email, NEW_PASSWORD, away).status_code == 200, "whoever reads their mail has a way in"


def test_330_other_addresses_do_not_flush_what_was_counted(office: Membership) -> None:
    attempts(office.user.email, [STRANGER], PERSON_HERE.free)
    places = [f"198.51.{number // 250}.{number % 250}" for number in range(330)]
    junk = [attempts(f"junk{number}@people.example", [place], 1) for number, place in enumerate(places)]
    assert junk == [[401]] * 330
    _fresh_minute()
    assert attempt(office.user.email, factories.PASSWORD, STRANGER).status_code == 429


def test_many_persons_from_one_place_are_slowed_but_not_whoever_signed_in_there(
    office: Membership, owner: Membership
) -> None:
    assert attempt(office.user.email, factories.PASSWORD, HOME).status_code == 200
    junk = [attempts(f"junk{number}@people.example", [HOME], 1) for number in range(PLACE.free + 5)]
    codes = [code for codes in junk for code in codes]
    assert codes == [401] * PLACE.free + [429] * 5
    assert attempt(office.user.email, factories.PASSWORD, HOME).status_code == 200
    assert attempt(owner.user.email, factories.PASSWORD, HOME).status_code == 429


def test_waits_double_and_are_forgotten_after_a_quiet_day(office: Membership) -> None:
    email, now = office.user.email, timezone.now()
    waits = []
    with time_machine.travel(now, tick=False) as clock:
        attempts(email, [STRANGER], PERSON_HERE.free - 1)
        for _ in range(9):
            assert attempt(email, "wrong", STRANGER).status_code == 401
            refused = attempt(email, "wrong", STRANGER)
            waits.append(int(refused.headers["Retry-After"]))
            clock.shift(waits[-1])
        assert waits == [60, 120, 240, 480, 960, 1920, 3600, 3600, 3600]
        clock.shift(timedelta(days=1, seconds=1))
        assert attempts(email, [STRANGER], PERSON_HERE.free + 1) == [401] * PERSON_HERE.free + [429]


def test_what_was_right_counts_for_nothing(office: Membership) -> None:
    email = office.user.email
    for _ in range(3):
        attempts(email, [HOME], PERSON_HERE.free - 1)
        assert attempt(email, factories.PASSWORD, HOME).status_code == 200
    assert max(TryCount.objects.values_list("tries", flat=True)) == PERSON_HERE.free - 1


def test_whoever_finds_an_open_session_does_not_try_out_passwords_on_it(
    as_office: APIClient, office: Membership
) -> None:
    body = {"current_password": "wrong", "new_password": NEW_PASSWORD}
    codes = []
    for number in range(PERSON_HERE.free + 1):
        _fresh_minute()
        path = "password" if number % 2 else "email"
        sent = body if number % 2 else {"current_password": "wrong", "email": "x@new.example"}
        codes.append(as_office.post(f"/api/v1/me/{path}/", sent).status_code)
    assert codes == [400] * PERSON_HERE.free + [429]


def test_known_and_unknown_persons_are_counted_alike(office: Membership, django_assert_num_queries: Any) -> None:
    for email in (office.user.email, "nobody@people.example"):
        assert attempts(email, [STRANGER], PERSON_HERE.free + 1) == [401] * PERSON_HERE.free + [429]
        TryCount.objects.all().delete()


def test_letters_are_asked_for_only_so_often_from_one_place(api: APIClient, db: None) -> None:
    codes = []
    for number in range(21):
        _fresh_minute()
        codes.append(api.post("/api/v1/password-resets/", {"email": f"p{number}@people.example"}).status_code)
    assert codes == [202] * 20 + [429]


def test_no_row_tells_who_tried_or_where(office: Membership) -> None:
    attempt(office.user.email, factories.PASSWORD, HOME)
    attempt(office.user.email, "wrong", STRANGER)
    rows = str([*TryCount.objects.values(), *KnownPlace.objects.values()])
    assert not [word for word in (office.user.email, HOME, STRANGER) if word in rows]


def test_one_connection_of_ipv6_is_one_place() -> None:
    # RFC 4291, 2.5.4: the last 64 bits name the interface, which a host chooses itself.
    assert network_of("2001:db8::1") == network_of("2001:db8::ffff:1") != network_of("2001:db8:0:1::1")
    assert network_of("somewhere") == "somewhere"


def test_old_counts_and_places_are_tidied(db: None) -> None:
    now = timezone.now()
    for days in (0.5, 2):
        factories.TryCountFactory(last_at=now - timedelta(days=days))
    for days in (89, 91):
        factories.KnownPlaceFactory(last_at=now - timedelta(days=days))
    assert forget_tries(now=now) == 1
    assert (TryCount.objects.count(), KnownPlace.objects.count()) == (1, 1)
