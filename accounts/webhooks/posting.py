"""One POST to a place that was checked: no redirects, no proxy, a few seconds; of the answer, its status alone.

The library's own connection would look the name up a second time, and wait anew for each byte of a slow answer.
"""

import http.client
import io
import socket
import ssl
from collections.abc import Mapping
from time import monotonic
from typing import Any, Final, cast

from accounts.webhooks.places import Place

CONNECT_SECONDS: Final = 5
#: For the whole of an attempt.
MOST_SECONDS: Final = 15


def post(place: Place, body: bytes, headers: Mapping[str, str]) -> int:
    """Post a body and give the status of the answer.

    Raises
    ------
    OSError
        Where nobody answers there, its certificate is not of that name, or it takes too long.
    http.client.HTTPException
        Where the answer is none of HTTP.
    """
    ends = monotonic() + MOST_SECONDS
    connection = http.client.HTTPConnection(place.host, place.port)
    connection.sock = _connect(place, ends)
    connection.response_class = lambda sock, *args, **kwargs: http.client.HTTPResponse(  # type: ignore[assignment]
        cast(socket.socket, _UntilThen(sock, ends)), *args, **kwargs
    )
    try:
        connection.putrequest("POST", place.path, skip_host=True, skip_accept_encoding=True)
        for name, value in {"Host": place.host_header, "Content-Length": str(len(body)), **headers}.items():
            connection.putheader(name, value)
        connection.putheader("Connection", "close")
        connection.endheaders(body)
        return connection.getresponse().status
    finally:
        connection.close()


def _connect(place: Place, ends: float) -> socket.socket:
    failed: OSError | None = None
    for address in place.addresses:
        try:
            raw = socket.create_connection((address, place.port), timeout=min(CONNECT_SECONDS, _left(ends)))
        except OSError as error:
            failed = error
            continue
        raw.settimeout(_left(ends))
        if not place.is_https:
            return raw
        try:
            return ssl.create_default_context().wrap_socket(raw, server_hostname=place.host)
        except BaseException:
            raw.close()
            raise
    raise failed or OSError("the name means no address")


def _left(ends: float) -> float:
    """Seconds that are left; raises TimeoutError where none are."""
    left = ends - monotonic()
    if left <= 0:
        raise TimeoutError(f"no answer within {MOST_SECONDS} seconds")
    return left


class _UntilThen:
    """A socket to read an answer from until a moment, however slowly it comes."""

    def __init__(self, sock: socket.socket, ends: float) -> None:
        self._sock, self._ends = sock, ends

    def makefile(self, *_: Any, **__: Any) -> io.BufferedReader:
        return io.BufferedReader(_Slow(self._sock, self._ends))


class _Slow(io.RawIOBase):
    def __init__(self, sock: socket.socket, ends: float) -> None:
        self._sock, self._ends = sock, ends

    def readable(self) -> bool:
        return True

    def readinto(self, buffer: Any) -> int:
        self._sock.settimeout(_left(self._ends))
        return self._sock.recv_into(buffer)
