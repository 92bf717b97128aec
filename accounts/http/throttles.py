"""How often one may knock: signing in is slowed down, so that passwords cannot be tried out.

Nothing here trusts X-Forwarded-For beyond the proxies the settings name. The counts are kept by the cache of each
process; with several processes, the sum is what an attacker gets.
"""

import hashlib
from typing import Any

from rest_framework.request import Request
from rest_framework.throttling import SimpleRateThrottle


class _SignInThrottle(SimpleRateThrottle):
    def get_ident(self, request: Request) -> str:
        # A server that listens on a socket file may name no address: such callers are counted together.
        return super().get_ident(request) or ""

    def _key(self, *parts: str) -> str:
        return f"{self.scope}:{hashlib.sha256(':'.join(parts).encode()).hexdigest()}"


class AddressThrottle(_SignInThrottle):
    """All attempts from one address."""

    scope = "sign-in-address"
    rate = "60/min"

    def get_cache_key(self, request: Request, view: Any) -> str:
        return self._key(self.get_ident(request))


class PersonThrottle(_SignInThrottle):
    """Attempts from one address for one person."""

    scope = "sign-in-person"
    rate = "10/min"

    def get_cache_key(self, request: Request, view: Any) -> str:
        return self._key(self.get_ident(request), _person(request))


class AccountThrottle(_SignInThrottle):
    """Attempts from anywhere for one person; so many that a person is never kept out by mistake."""

    scope = "sign-in-account"
    rate = "200/hour"

    def get_cache_key(self, request: Request, view: Any) -> str:
        return self._key(_person(request))


SIGN_IN_THROTTLES = [AddressThrottle, PersonThrottle, AccountThrottle]


def _person(request: Request) -> str:
    """Name whom an attempt is for: the email that was sent, or the member who asks."""
    if request.user is not None and request.user.is_authenticated:
        return f"user {request.user.pk}"
    email = request.data.get("email") if isinstance(request.data, dict) else None
    return str(email)[:200].strip().lower()
