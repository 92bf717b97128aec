"""A table service on this machine, for tests: it answers properly, slowly, or not at all, as it is told."""

from __future__ import annotations

import json
import threading
import time
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from urllib.parse import parse_qs, urlsplit


class Service:
    """A table service on this machine: seconds and metres told from the coordinates, different in each direction."""

    def __init__(self) -> None:
        self.requests: list[tuple[int, int]] = []
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
                # whoever asked may have gone away meanwhile
                with suppress(BrokenPipeError):
                    self.wfile.write(data)

            def log_message(self, *_: object) -> None:
                pass

        self.server = ThreadingHTTPServer(("127.0.0.1", 0), Handler)
        self.server.daemon_threads = True
        self.thread = threading.Thread(target=self.server.serve_forever, args=(0.02,), daemon=True)
        self.thread.start()

    @property
    def url(self) -> str:
        return f"http://127.0.0.1:{self.server.server_port}/trips/of/vans"

    def reply(self, path: str) -> object:
        if self.answer is not None:
            return self.answer
        parts = urlsplit(path)
        assert parts.path.startswith("/trips/of/vans/")
        spots = [tuple(map(float, x.split(","))) for x in parts.path.rsplit("/", 1)[1].split(";")]
        query = parse_qs(parts.query)
        rows, columns = ([int(x) for x in query[name][0].split(";")] for name in ("sources", "destinations"))
        self.requests.append((len(rows), len(columns)))
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


@contextmanager
def running_service() -> Iterator[Service]:
    """A service that is gone afterwards."""
    service = Service()
    yield service
    service.server.shutdown()
    service.server.server_close()
