"""Limits of exhaustion as they are stated for a fleet of files: 'membrane_flow_fraction=0.8'."""

import math
from collections.abc import Iterable
from dataclasses import fields, replace
from difflib import get_close_matches
from typing import Any, Final

from fleet.engineering.limits import HOUSE, Limits

_MOST: Final = {"_fraction": 1.0, "_kpa": 2_000.0, "_mg_per_l": 5_000.0, "_days": 36_525.0}
"""By the ending of a limit's name, the largest value that can be meant."""


def limits_from(stated: Iterable[str]) -> Limits[Any] | None:
    """Read stated limits; those that are not stated are the house's, and None stands for nothing but those.

    Parameters
    ----------
    stated
        'name=value' each; a field of `Limits`, in the unit that its name ends with.

    Raises
    ------
    ValueError
        When a name is unknown or stated twice, or a value is no number or cannot be meant.

    Examples
    --------
    >>> limits_from(["membrane_flow_fraction=0.8"]).membrane_flow_fraction
    0.8
    """
    values: dict[str, float] = {}
    names = [field.name for field in fields(HOUSE)]
    for text in stated:
        name, _, value = (part.strip() for part in text.partition("="))
        if name not in names:
            nearest = get_close_matches(name, names, 1)
            hint = f"did you mean {nearest[0]}?" if nearest else f"write one of {', '.join(names)}."
            raise ValueError(f"{text!r}: there is no limit {name!r}; {hint}")
        if name in values:
            raise ValueError(f"{text!r}: {name} is stated twice; state it once.")
        values[name] = _number(text, name, value)
    return replace(HOUSE, **values) if values else None


def _number(text: str, name: str, value: str) -> float:
    most = next(most for ending, most in _MOST.items() if name.endswith(ending))
    try:
        number = float(value)
    except ValueError:
        number = math.nan
    if not 0.0 < number <= most:
        raise ValueError(
            f"{text!r}: {name} must be a number above 0 and no more than {most:g}, as {name}={_usual(name)}."
        )
    return number


def _usual(name: str) -> str:
    return f"{getattr(HOUSE, name):g}"
