"""How often one may knock, and from where somebody knocks.

How often passwords may be tried stands in `accounts.services.brakes`; here is only how much one address may ask for at
all, counted by the cache of each process. Nothing trusts X-Forwarded-For beyond the proxies that the settings name.
"""

import hashlib
from typing import Any

from rest_framework.request import Request
from rest_framework.throttling import BaseThrottle, SimpleRateThrottle


def place_of(request: Any) -> str:
    """The network address that a request comes from; empty where a server on a socket file is told none."""
    return BaseThrottle().get_ident(request) or ""


class AddressThrottle(SimpleRateThrottle):
    """All requests of one kind from one address."""

    scope = "sign-in-address"
    rate = "60/min"

    def get_cache_key(self, request: Request, view: Any) -> str:
        return f"{self.scope}:{hashlib.sha256(place_of(request).encode()).hexdigest()}"
