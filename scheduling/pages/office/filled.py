"""What was filled in, as the interface takes it: it says itself what is wrong with a value."""

from collections.abc import Mapping
from typing import Any

from accounts.pages.forms import row_id


def filled_in(form: Mapping[str, Any], *names: str) -> dict[str, Any]:
    """What was filled in under these names; what is empty is left out."""
    return {name: str(form[name]).strip() for name in names if str(form.get(name, "")).strip()}


def whole_number(text: str) -> int | str:
    """A whole number, or the text itself, of which the interface says what is wrong with it."""
    number = row_id(text.strip())
    return text if number is None else number


def named_row(form: Mapping[str, Any], name: str) -> int:
    """The id of a row that a form names; what is none names no row."""
    return row_id(str(form.get(name, ""))) or 0
