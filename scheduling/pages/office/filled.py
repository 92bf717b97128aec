"""What was filled in, as the interface takes it: it says itself what is wrong with a value."""

from collections.abc import Mapping
from typing import Any


def filled_in(form: Mapping[str, Any], *names: str) -> dict[str, Any]:
    """What was filled in under these names; what is empty is left out."""
    return {name: str(form[name]).strip() for name in names if str(form.get(name, "")).strip()}


def whole_number(text: str) -> int | str:
    """A whole number, or the text itself, of which the interface says what is wrong with it."""
    return int(text) if text.strip().isdigit() and len(text.strip()) < 19 else text
