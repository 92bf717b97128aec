"""Which addresses events may go to: never into the network in which the server itself stands.

A name is looked up once for each attempt, all that it means is checked, and the connection is made to what was checked:
a name that means something else a moment later changes nothing.
"""

import ipaddress
import socket
from dataclasses import dataclass
from urllib.parse import SplitResult, urlsplit

from django.conf import settings

from accounts.errors import InvalidInput

LONGEST_URL = 500
#: Events go to the port of https, or to one from here to the last: below stand mail, terminals and other services of a
#: system (RFC 6335 section 6 calls them system ports), to whom a request must not be sent for a stranger. That the rest
#: is let through is common practice, no source.
FIRST_FREE_PORT = 1024
_HTTPS_PORT = 443
# RFC 6052: such an address means the IPv4 address in its last four bytes.
_TRANSLATED = ipaddress.IPv6Network("64:ff9b::/96")

Address = ipaddress.IPv4Address | ipaddress.IPv6Address


class RefusedPlaceError(Exception):
    """Nothing is sent there; the message says why, and names no address of an inner network."""


@dataclass(frozen=True, slots=True)
class Place:
    """Where a connection is made to: the addresses that were checked, in the order in which they are tried."""

    addresses: tuple[str, ...]
    host: str
    port: int
    is_https: bool
    path: str

    @property
    def host_header(self) -> str:
        """What the header Host says."""
        host = f"[{self.host}]" if ":" in self.host else self.host
        return host if self.port == (_HTTPS_PORT if self.is_https else 80) else f"{host}:{self.port}"


def check_url(url: str) -> None:
    """Refuse an address to which nothing could ever be sent.

    Whether its name means an address that everybody can reach is asked whenever something is sent.

    Raises
    ------
    InvalidInput
        With what would be right.
    """
    try:
        parts = urlsplit(url)
        _check_parts(parts, url)
    except RefusedPlaceError as error:
        raise _invalid(str(error)) from None
    except ValueError:
        raise _invalid("write an address such as https://example.com/hooks.") from None


def resolve(url: str) -> Place:
    """Find out what an address means now, and refuse what is not open to everybody.

    Raises
    ------
    RefusedPlaceError
        Where the address is none, or its name means an address of an inner network.
    OSError
        Where the name is not known.
    """
    parts = urlsplit(url)
    _check_parts(parts, url)
    host, is_https = parts.hostname or "", parts.scheme == "https"
    port = parts.port or (_HTTPS_PORT if is_https else 80)
    found = socket.getaddrinfo(host, port, type=socket.SOCK_STREAM, proto=socket.IPPROTO_TCP)
    addresses = tuple(dict.fromkeys(str(entry[4][0]) for entry in found))
    if not _is_local(parts) and not all(is_public(address) for address in addresses):
        raise RefusedPlaceError(f"{host} means an address that is not open to everybody.")
    path = (parts.path or "/") + (f"?{parts.query}" if parts.query else "")
    return Place(addresses, host, port, is_https, path)


def is_public(text: str) -> bool:
    """Whether an IP address is one of the open internet, whatever way it is written.

    >>> [is_public(text) for text in ("93.184.215.14", "10.0.0.1", "::ffff:127.0.0.1", "169.254.169.254")]
    [True, False, False, False]
    """
    try:
        address: Address = ipaddress.ip_address(text.partition("%")[0])
    except ValueError:
        return False
    if isinstance(address, ipaddress.IPv6Address) and address in _TRANSLATED:
        return is_public(str(ipaddress.IPv4Address(address.packed[-4:])))
    inner = _inside(address)
    if inner is not None and not is_public(str(inner)):
        return False
    closed = address.is_private or address.is_loopback or address.is_link_local or address.is_multicast
    if isinstance(address, ipaddress.IPv6Address):
        # Given up by RFC 3879, and still routed inside networks that have them.
        closed = closed or address.is_site_local
    return address.is_global and not (closed or address.is_reserved or address.is_unspecified)


def _inside(address: Address) -> ipaddress.IPv4Address | None:
    """The IPv4 address that an IPv6 address stands for."""
    if not isinstance(address, ipaddress.IPv6Address):
        return None
    if address.teredo is not None:
        return address.teredo[1]
    return address.ipv4_mapped or address.sixtofour


def _check_parts(parts: SplitResult, url: str) -> None:
    host = parts.hostname
    if len(url) > LONGEST_URL or not url.isascii() or not url.isprintable() or " " in url:
        raise RefusedPlaceError(f"write at most {LONGEST_URL} printable ASCII characters without spaces.")
    if parts.scheme not in ("https", "http") or not host:
        raise RefusedPlaceError("write an address such as https://example.com/hooks.")
    if parts.username is not None or parts.password is not None or parts.fragment:
        raise RefusedPlaceError("leave out names and passwords before the host, and what follows a '#'.")
    port = _port(parts)
    if _is_local(parts):
        return
    if parts.scheme != "https":
        raise RefusedPlaceError("only https is spoken: what is sent on the way must not be read by others.")
    if port < FIRST_FREE_PORT and port != _HTTPS_PORT:
        raise _port_not_open(port)
    try:
        literal = ipaddress.ip_address(host)
    except ValueError:
        labels = host.strip(".").split(".")
        # 127.1 and 0177.0.0.1 are no names: a system may read them as addresses (URL Standard, 'ends in a number').
        if len(labels) == 1 or labels[-1].isdecimal() or labels[-1].startswith("0x"):
            raise RefusedPlaceError(f"{host} is no name that everybody knows; write the whole name.") from None
        return
    if not is_public(str(literal)):
        raise RefusedPlaceError(f"{host} is not open to everybody.")


def _port(parts: SplitResult) -> int:
    """The port that an address names, or that of https where it names none."""
    try:
        port = _HTTPS_PORT if parts.port is None else parts.port
    except ValueError:
        raise _port_not_open(parts.netloc.rpartition(":")[2]) from None
    if port == 0:
        raise _port_not_open(port)
    return port


def _port_not_open(port: int | str) -> RefusedPlaceError:
    return RefusedPlaceError(
        f"nothing is sent to port {port}: leave the port out, which means {_HTTPS_PORT}, or name one from "
        f"{FIRST_FREE_PORT} to 65535."
    )


def _is_local(parts: SplitResult) -> bool:
    """Whether the server's own settings open this host, for development."""
    host = parts.hostname or ""
    return bool({host, f"{host}:{parts.port}"} & set(settings.WEBHOOK_LOCAL_HOSTS))


def _invalid(sentence: str) -> InvalidInput:
    return InvalidInput("url_not_allowed", f"url: {sentence}", pointer="/url")
