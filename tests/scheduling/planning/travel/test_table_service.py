from __future__ import annotations

from collections.abc import Iterator

import numpy as np
import pytest

from scheduling.planning.errors import PlanningError
from scheduling.planning.travel import table_service
from scheduling.planning.travel.table_service import TableServiceTravel, TripCache
from scheduling.planning.travel.trips import GreatCircleTravel, Place
from tests.scheduling.table_service import Service, running_service, trip

PLACES = [Place(50.0 + k / 50, 9.0 + (k * 7 % 11) / 40) for k in range(9)]


@pytest.fixture
def service() -> Iterator[Service]:
    with running_service() as running:
        yield running


def provider(service: Service, **more) -> TableServiceTravel:
    more.setdefault("sleep", lambda _: None)
    return TableServiceTravel(service.url, **more)


def test_the_table_is_the_services_own(service: Service) -> None:
    table = provider(service).matrix(PLACES[:4], PLACES)
    for i, a in enumerate(PLACES[:4]):
        for j, b in enumerate(PLACES):
            metres, seconds = trip((a.longitude_deg, a.latitude_deg), (b.longitude_deg, b.latitude_deg))
            assert table.metres[i, j] == (round(metres) if i != j else 0)
            assert table.seconds[i, j] == (round(seconds) + 90 if i != j else 0)
    assert table.seconds[0, 1] != table.seconds[1, 0]
    assert table.source == f"table service 127.0.0.1:{service.server.server_port}"
    assert table.metres.dtype == table.seconds.dtype == np.int64


def test_it_asks_in_blocks_and_only_once(service: Service) -> None:
    many = [Place(45.0 + k / 300, 8.0 + k % 13 / 100) for k in range(130)]
    travel = provider(service)
    first = travel.matrix(many, many)
    assert len(service.requests) == 9  # three times fifty by three times fifty
    second = travel.matrix(many[:50], many)
    assert len(service.requests) == 9
    assert np.array_equal(first.seconds[:50], second.seconds)
    travel.matrix([*many, Place(46.0, 9.9)], many[:3])
    assert service.requests[9:] == [(1, 3)]


def test_where_there_is_no_road_the_model_stands_in_and_says_so(service: Service) -> None:
    service.no_road_to = round(PLACES[2].longitude_deg, 5)
    table = provider(service).matrix(PLACES[:2], PLACES[:3])
    model = GreatCircleTravel().matrix(PLACES[:2], PLACES[:3])
    assert table.seconds[0, 2] == model.seconds[0, 2]
    assert table.seconds[0, 1] != model.seconds[0, 1]
    assert "2 of 6 trips by straight line" in table.source
    assert "no road known" in table.source


@pytest.mark.parametrize("status", [500, 503, 429])
def test_an_overloaded_service_is_asked_again(service: Service, status: int) -> None:
    service.refuse = [status, status]
    waited: list[float] = []
    table = provider(service, sleep=waited.append).matrix(PLACES[:2], PLACES[:2])
    assert "by straight line" not in table.source
    assert waited == [0.2, 0.4]


def test_a_refusal_is_not_asked_again(service: Service) -> None:
    service.refuse = [400, 400, 400]
    table = provider(service).matrix(PLACES, PLACES)
    assert len(service.refuse) == 2
    assert "72 of 81 trips" in table.source
    assert "it answered 400 (NoTable)" in table.source
    assert np.array_equal(table.seconds, GreatCircleTravel().matrix(PLACES, PLACES).seconds)


def test_a_slow_service_is_not_waited_for(service: Service) -> None:
    service.wait_s = 0.5
    table = provider(service, timeout_s=0.05, attempts=2).matrix(PLACES, PLACES)
    assert "it timed out" in table.source


def test_no_service_at_all() -> None:
    travel = TableServiceTravel("http://127.0.0.1:9", attempts=1, timeout_s=0.5)
    table = travel.matrix(PLACES[:3], PLACES[:3])
    assert "it was out of reach" in table.source
    assert np.array_equal(table.metres, GreatCircleTravel().matrix(PLACES[:3], PLACES[:3]).metres)
    assert len(travel.cache) == 0  # what the model stood in for is asked for again next time


@pytest.mark.parametrize(
    "answer",
    [
        b"<html>busy</html>",
        {"code": "InvalidQuery"},
        ["Ok"],
        {"code": "Ok"},
        {"code": "Ok", "durations": [[1.0]]},
        {"code": "Ok", "durations": "soon"},
        {"code": "Ok", "durations": [["a", "b"], ["c", "d"]]},
        {"code": "Ok", "durations": [[0, -5], [4, 0]], "distances": [[0, 5], [4, 0]]},
    ],
)
def test_nonsense_is_not_believed(service: Service, answer: object) -> None:
    service.answer = answer
    table = provider(service).matrix(PLACES[:2], PLACES[:2])
    assert "its answer was no table" in table.source
    assert np.array_equal(table.seconds, GreatCircleTravel().matrix(PLACES[:2], PLACES[:2]).seconds)


@pytest.mark.parametrize(("spare_bytes", "is_believed"), [(-1, False), (0, True), (1, True)])
def test_an_answer_is_read_up_to_its_largest_length(
    service: Service, monkeypatch: pytest.MonkeyPatch, spare_bytes: int, is_believed: bool
) -> None:
    answer = b'{"code": "Ok", "durations": [[0, 5], [4, 0]], "distances": [[0, 50], [40, 0]]}'
    service.answer = answer
    monkeypatch.setattr(table_service, "_LARGEST_ANSWER_BYTES", len(answer) + spare_bytes)
    source = provider(service).matrix(PLACES[:2], PLACES[:2]).source
    assert ("by straight line" not in source) == is_believed
    assert ("it is too long" in source) != is_believed


def test_a_service_that_tells_no_distances(service: Service) -> None:
    service.with_distances = False
    table = provider(service, parking_s=0).matrix(PLACES[:2], PLACES[:2])
    model = GreatCircleTravel().matrix(PLACES[:2], PLACES[:2])
    assert table.metres[0, 1] == model.metres[0, 1]
    assert table.seconds[0, 1] != model.seconds[0, 1]


def test_the_same_door_twice_is_no_trip(service: Service) -> None:
    twice = [PLACES[0], Place(PLACES[0].latitude_deg + 1e-7, PLACES[0].longitude_deg)]
    table = provider(service).matrix(twice, twice)
    assert not table.seconds.any()
    assert service.requests == []


@pytest.mark.parametrize(("degrees", "are_two"), [(4e-6, False), (6e-6, True)])
def test_doors_are_told_apart_from_half_a_metre_on(service: Service, degrees: float, are_two: bool) -> None:
    """A hundred thousandth of a degree is about a metre, and a place is told to the nearest."""
    here = Place(50.0, 9.0)
    for there in (Place(50.0 + degrees, 9.0), Place(50.0, 9.0 + degrees)):
        table = provider(service).matrix([here], [there])
        assert bool(table.metres.any()) == are_two
    assert len(service.requests) == 2 * are_two


def test_the_longest_unused_trip_is_forgotten_first() -> None:
    cache = TripCache(capacity=2)
    a, b, c = ("p", (0.0, 0.0), (1.0, 1.0)), ("p", (0.0, 0.0), (2.0, 2.0)), ("p", (0.0, 0.0), (3.0, 3.0))
    cache.put(a, (1, 1))
    cache.put(b, (2, 2))
    assert cache.get(a) == (1, 1)
    cache.put(c, (3, 3))
    assert (cache.get(a), cache.get(b), cache.get(c)) == ((1, 1), None, (3, 3))


@pytest.mark.parametrize(
    ("arguments", "field"),
    [
        ({"base_url": "ftp://example.org"}, "base_url"),
        ({"base_url": "example.org"}, "base_url"),
        ({"timeout_s": 0.0}, "timeout_s"),
        ({"attempts": 0}, "attempts"),
        ({"places_per_request": 1}, "places_per_request"),
    ],
)
def test_a_wrong_setting_is_named(arguments: dict, field: str) -> None:
    with pytest.raises(PlanningError) as caught:
        TableServiceTravel(**{"base_url": "http://example.org", **arguments})
    assert caught.value.field == field
