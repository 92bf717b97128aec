"""A receiver of events: a real HTTP server on this machine that keeps what it got and answers as it is told."""

import threading
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer


@dataclass
class Received:
    path: str
    headers: dict[str, str]
    body: bytes


@dataclass
class Receiver:
    port: int
    received: list[Received] = field(default_factory=list)
    #: Status of the next answers; `location` is where a redirect leads.
    status: int = 204
    location: str = ""

    @property
    def host(self) -> str:
        return f"localhost:{self.port}"


@contextmanager
def running_receiver() -> Iterator[Receiver]:
    class Handler(BaseHTTPRequestHandler):
        def do_POST(self) -> None:
            body = self.rfile.read(int(self.headers["Content-Length"]))
            headers = {name.lower(): value for name, value in self.headers.items()}
            receiver.received.append(Received(self.path, headers, body))
            self.send_response(receiver.status)
            if receiver.location:
                self.send_header("Location", receiver.location)
            self.end_headers()

        def log_message(self, *_: object) -> None:
            pass

    server = ThreadingHTTPServer(("127.0.0.1", 0), Handler)
    receiver = Receiver(server.server_address[1])
    thread = threading.Thread(target=server.serve_forever, kwargs={"poll_interval": 0.02}, daemon=True)
    thread.start()
    try:
        yield receiver
    finally:
        server.shutdown()
        server.server_close()
        thread.join()
