from __future__ import annotations

import json
import threading
import time
from collections.abc import Iterator
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from urllib.parse import parse_qs, urlsplit

import numpy as np
import pytest

from scheduling.planning.errors import PlanningError
from scheduling.planning.travel import GreatCircleTravel, Place
from scheduling.planning.travel_service import TableServiceTravel, TripCache

PLACES = [Place(50.0 + k / 50, 9.0 + (k * 7 % 11) / 40) for k in range(9)]


class Service:
    """A table service on this machine: seconds and metres told from the coordinates, different in each direction."""

    def __init__(self) -> None:
        self.asked: list[tuple[int, int]] = []
        self.refuse: list[int] = []
        self.wait_s = 0.0
        self.answer: object = None
        self.no_road_to: float | None = None
        self.with_distances = True
        service = self

        class Handler(BaseHTTPRequestHandler):
            def do_GET(self) -> None:
                time.sleep(service.wait_s)
                status = service.refuse.pop(0) if service.refuse else 200
                body = service.reply(self.path) if status == 200 else {"code": "NoTable", "message": "no"}
                data = body if isinstance(body, bytes) else json.dumps(body).encode()
                self.send_response(status)
                self.send_header("Content-Length", str(len(data)))
                self.end_headers()
                self.wfile.write(data)

            def log_message(self, *_: object) -> None:
                pass

        self.server = ThreadingHTTPServer(("127.0.0.1", 0), Handler)
        self.server.daemon_threads = True
        self.thread = threading.Thread(target=self.server.serve_forever, args=(0.02,), daemon=True)
        self.thread.start()

    @property
    def url(self) -> str:
        return f"http://127.0.0.1:{self.server.server_port}"

    def reply(self, path: str) -> object:
        if self.answer is not None:
            return self.answer
        parts = urlsplit(path)
        assert parts.path.startswith("/table/v1/driving/")
        spots = [tuple(map(float, x.split(","))) for x in parts.path.rsplit("/", 1)[1].split(";")]
        query = parse_qs(parts.query)
        rows, columns = ([int(x) for x in query[name][0].split(";")] for name in ("sources", "destinations"))
        self.asked.append((len(rows), len(columns)))
        assert len(spots) <= 100
        answer: dict[str, object] = {"code": "Ok"}
        answer["durations"] = [
            [None if spots[j][0] == self.no_road_to else trip(spots[i], spots[j])[1] for j in columns] for i in rows
        ]
        if self.with_distances:
            answer["distances"] = [[trip(spots[i], spots[j])[0] for j in columns] for i in rows]
        return answer


def trip(a: tuple[float, ...], b: tuple[float, ...]) -> tuple[float, float]:
    """Metres and seconds between (longitude, latitude) pairs; uphill, to the north, takes longer."""
    way = abs(a[0] - b[0]) * 71_000.4 + abs(a[1] - b[1]) * 111_000.4
    return way, way / 12.0 + (120.0 if b[1] > a[1] else 0.0)


@pytest.fixture
def service() -> Iterator[Service]:
    running = Service()
    yield running
    running.server.shutdown()
    running.server.server_close()


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
    assert len(service.asked) == 9  # three times fifty by three times fifty
    second = travel.matrix(many[:50], many)
    assert len(service.asked) == 9
    assert np.array_equal(first.seconds[:50], second.seconds)
    travel.matrix([*many, Place(46.0, 9.9)], many[:3])
    assert service.asked[9:] == [(1, 3)]


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
    assert service.asked == []


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
        ({"profile": "../etc"}, "profile"),
        ({"timeout_s": 0.0}, "timeout_s"),
        ({"attempts": 0}, "attempts"),
        ({"places_per_request": 1}, "places_per_request"),
    ],
)
def test_a_wrong_setting_is_named(arguments: dict, field: str) -> None:
    with pytest.raises(PlanningError) as caught:
        TableServiceTravel(**{"base_url": "http://example.org", **arguments})
    assert caught.value.field == field
