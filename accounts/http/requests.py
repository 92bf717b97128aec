"""What the door adds to a request: the membership it acts for and the moment it came."""

from datetime import datetime
from typing import Any

from django.utils import timezone
from rest_framework.request import Request

from accounts.models import Membership


def membership_of(request: Any) -> Membership | None:
    """Give the membership the request acts for; None for a stranger."""
    return getattr(request, "membership", None)


def now_of(request: Request) -> datetime:
    """Give the moment the request came: the clock is read once for each request."""
    moment: datetime | None = getattr(request, "now", None)
    if moment is None:
        moment = timezone.now()
        request.now = moment  # type: ignore[attr-defined]
    return moment
