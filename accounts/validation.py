"""Checks of single values that more than one room needs."""

import re
import zoneinfo
from functools import cache

from django.core.exceptions import ValidationError


@cache
def _zones() -> frozenset[str]:
    return frozenset(zoneinfo.available_timezones())


def check_time_zone(name: str) -> None:
    """Refuse what is not a name of the IANA time zone database."""
    if name not in _zones():
        raise ValidationError(f"'{name[:64]}' is not an IANA time zone: write one such as Europe/Berlin or UTC.")


def check_currency(code: str) -> None:
    """Refuse what cannot be an ISO 4217 code."""
    if not re.fullmatch(r"[A-Z]{3}", code):
        raise ValidationError(f"'{code[:8]}' is not a currency: write three capital letters such as EUR (ISO 4217).")
