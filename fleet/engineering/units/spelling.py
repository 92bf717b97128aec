"""From a unit as people write it to the registry's unit, and numbers from one to the other."""

import re
import tokenize
from typing import Final

import numpy as np
import pint

from fleet.engineering.arrays import FloatArray
from fleet.engineering.errors import EngineeringError
from fleet.engineering.kinds import GALLON_SENTENCE, Kind
from fleet.engineering.units.quantities import find_kind
from fleet.engineering.units.registry import registry

_LONE_GALLON = re.compile(r"(?<![A-Za-z])(gal|gals|gallon|gallons)(?![A-Za-z])", re.IGNORECASE)
_PINT_NAME = re.compile(r"^[A-Za-z_]+(?: ?[*/] ?[A-Za-z_]+)*$")
_LONGEST_UNIT: Final = 40


def accepted_forms(kind: Kind | str) -> str:
    """Return the accepted ways to write a kind, for messages and documentation.

    Examples
    --------
    >>> accepted_forms("ph")
    "'7.4' or '7.4 pH'"
    """
    forms = [f"'{form}'" for form in find_kind(kind).forms]
    return forms[0] if len(forms) == 1 else f"{', '.join(forms[:-1])} or {forms[-1]}"


def expression_of(unit: str, kind: Kind, field: str) -> str:
    """Find the registry's unit for a spelling: exactly, then without regard to case, then by the registry itself.

    Parameters
    ----------
    unit : str
        As a person wrote it; empty is accepted only where the kind allows a bare number.
    kind : Kind
        What it is a unit of.
    field : str
        Name to report.

    Returns
    -------
    str
        Name of the registry.

    Raises
    ------
    EngineeringError
        Unknown or ambiguous unit, or one that is refused by name.

    Examples
    --------
    >>> expression_of("PSI", find_kind("pressure"), "inlet_pressure")
    'psi'
    """
    text = " ".join(
        unit.replace("°dH", "dH").replace("µ", "u").replace("μ", "u").replace("°", "deg").replace("³", "3").split()
    )
    if not text and kind.bare_number_ok:
        return canonical_expression(kind)
    if not text:
        raise EngineeringError(field, f"A number alone does not say its unit; write {accepted_forms(kind)}.")
    if text in kind.refused:
        raise EngineeringError(field, f"{_first_capital(kind.refused[text])}.")
    if text in kind.spellings:
        return kind.spellings[text]
    folded = text.casefold()
    for spelling, reason in kind.refused.items():
        if folded == spelling.casefold():
            raise EngineeringError(field, f"{_first_capital(reason)}.")
    matches = {expression for spelling, expression in kind.spellings.items() if spelling.casefold() == folded}
    if len(matches) == 1:
        return matches.pop()
    if kind.name in ("flow", "volume") and _LONE_GALLON.search(text) and not re.search(r"us|imp|uk", folded):
        raise EngineeringError(field, f"{GALLON_SENTENCE}.")
    if kind.open_to_pint and len(text) <= _LONGEST_UNIT and _PINT_NAME.match(text):
        expression = _by_pint(text, kind)
        if expression:
            return expression
    units = ", ".join(spelling for spelling in kind.spellings if spelling)
    raise EngineeringError(
        field, f"{shorten(unit)} is not a unit this can be in; write {accepted_forms(kind)} (known units: {units})."
    )


def canonical_expression(kind: Kind) -> str:
    """Return the registry's name of the unit a kind is stored in.

    Examples
    --------
    >>> canonical_expression(find_kind("pressure"))
    'kilopascal'
    """
    return kind.spellings.get(kind.canonical_unit, kind.spellings.get("", ""))


def magnitude(values: FloatArray, source: str, target: str) -> FloatArray:
    """Convert numbers from one of the registry's units to another of the same dimension.

    Parameters
    ----------
    values : ndarray
        Numbers, NaN where missing.
    source, target : str
        Names of the registry.

    Returns
    -------
    ndarray
        Converted numbers.

    Raises
    ------
    pint.DimensionalityError
        Units of different dimensions, which no kind holds.

    Examples
    --------
    >>> float(magnitude(np.asarray(1.0), "bar", "kilopascal"))
    100.0
    """
    if source == target:
        return values
    if source in ("degC", "degF", "kelvin") and target in ("degC", "degF", "kelvin"):
        quantity = registry.Quantity(values, source)
        # An offset conversion loses the last digits (59 degF must be 15 degC and 113 degF must not be above 45 degC).
        converted = np.asarray(quantity.to(target).magnitude, dtype=np.float64)
        # A number far beyond any temperature has no such digits, and rounding it would overflow.
        return np.where(np.abs(converted) < 1e6, np.round(np.clip(converted, -1e6, 1e6), 9), converted)
    return values * _factor(source, target)


def _first_capital(sentence: str) -> str:
    return sentence[:1].upper() + sentence[1:]


def shorten(sent: object) -> str:
    """Return what was sent, for a message, cut where it is long.

    Examples
    --------
    >>> shorten("60 psi")
    "'60 psi'"
    """
    text = repr(sent)
    return text if len(text) <= 60 else f"{text[:57]}..."


def _by_pint(text: str, kind: Kind) -> str:
    try:
        unit = registry.parse_units(text)
        if unit.dimensionality == registry.parse_units(canonical_expression(kind)).dimensionality:
            return str(unit)
    except (pint.PintError, ValueError, TypeError, AttributeError, KeyError, tokenize.TokenError):
        return ""
    return ""


_factors: dict[tuple[str, str], float] = {}


def _factor(source: str, target: str) -> float:
    """Scale between two multiplicative units; remembered, since a file asks for the same one a million times."""
    key = (source, target)
    if key not in _factors:
        ratio = registry.parse_expression(source) / registry.parse_expression(target)
        _factors[key] = float(ratio.to("dimensionless").magnitude)
    return _factors[key]
