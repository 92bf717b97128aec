"""How often one may knock, from where somebody knocks, and what an answer says of it.

How often passwords may be tried stands in `accounts.services.brakes`, how many requests a caller has in
`accounts.services.budgets`. Nothing trusts X-Forwarded-For beyond the proxies that the settings name.
"""

from typing import Any

from django.conf import settings
from rest_framework.exceptions import Throttled
from rest_framework.request import Request
from rest_framework.throttling import BaseThrottle

from accounts.http.requests import membership_of, now_of
from accounts.models import AccessToken
from accounts.services.brakes import network_of
from accounts.services.budgets import ADDRESS, METER, OF_ROLE, WINDOW_SECONDS, Spending, take

_SPENDING = "budget_spending"


def place_of(request: Any) -> str:
    """The network address that a request comes from; empty where a server on a socket file is told none."""
    return BaseThrottle().get_ident(request) or ""


class AddressThrottle(BaseThrottle):
    """All requests of one kind from one address, or from the network that an IPv6 connection is given."""

    scope = "sign-in-address"

    def allow_request(self, request: Request, view: Any) -> bool:
        """Count the request, and say whether it is within the budget of its address."""
        caller = f"{self.scope}\n{network_of(place_of(request))}"
        self.spending = take(budget=ADDRESS, caller=caller, now=now_of(request))
        setattr(request, _SPENDING, self.spending)
        return self.spending.is_within

    def wait(self) -> float:
        """Seconds until it may be asked again."""
        return float(self.spending.seconds)


def spend(request: Request) -> None:
    """Count a request of a member against the budget of their token, or of their browsers together.

    Raises
    ------
    Throttled
        When nothing is left of it.
    """
    membership = membership_of(request)
    percent = settings.REQUEST_BUDGET_PERCENT
    if membership is None or not percent:
        return
    token = request.auth if isinstance(request.auth, AccessToken) else None
    caller = f"token {token.pk}" if token is not None else f"browsers of {membership.pk}"
    budget = METER if membership.meter_unit_id is not None else OF_ROLE[membership.Role(membership.role)]
    spending = take(budget=budget, caller=caller, now=now_of(request), percent=percent)
    setattr(request, _SPENDING, spending)
    if not spending.is_within:
        raise Throttled(wait=spending.seconds)


def tell_budget(request: Any, response: Any) -> None:
    """Say in the answer what the caller has and what is left of it.

    The headers are those of an IETF draft, "RateLimit header fields for HTTP" (draft-ietf-httpapi-ratelimit-headers,
    version 8 and later; from memory).
    """
    spending: Spending | None = getattr(request, _SPENDING, None)
    if spending is None:
        return
    name = spending.budget.name
    response.headers["RateLimit-Policy"] = f'"{name}";q={spending.budget.requests};w={WINDOW_SECONDS}'
    response.headers["RateLimit"] = f'"{name}";r={spending.left};t={spending.seconds}'
