"""Stored values as people read them: in their system's units, with the digits once sent."""

import numpy as np

from fleet.engineering.errors import EngineeringError
from fleet.engineering.kinds import Kind
from fleet.engineering.units.quantities import find_kind
from fleet.engineering.units.registry import SYSTEMS
from fleet.engineering.units.spelling import canonical_expression, expression_of, magnitude


def to_display(value: float, kind: Kind | str, system: str) -> tuple[float, str]:
    """Express a stored value in the caller's system, rounded so that the digits once sent come back.

    Parameters
    ----------
    value : float
        Canonical value.
    kind : Kind or str
        The kind or its name.
    system : {"us", "metric"}
        Which units to show.

    Returns
    -------
    (float, str)
        Value at nine significant digits, and its unit.

    Raises
    ------
    EngineeringError
        If the system is unknown.

    Examples
    --------
    >>> to_display(413.685437590, "pressure", "us")
    (60.0, 'psi')
    >>> to_display(15.0, "temperature", "us")
    (59.0, 'degF')
    """
    quantity_kind = find_kind(kind)
    if system not in SYSTEMS:
        raise EngineeringError("unit_system", f"{system!r} is not a unit system; use 'us' or 'metric'.")
    unit = quantity_kind.display_units[system]
    return to_unit(value, unit, quantity_kind), unit


def to_unit(value: float, unit: str, kind: Kind | str) -> float:
    """Express a canonical value in a named unit of its kind, at nine significant digits.

    Parameters
    ----------
    value : float
        In the canonical unit of the kind.
    unit : str
        Any accepted spelling.
    kind : Kind or str
        The kind or its name.

    Returns
    -------
    float
        In `unit`.

    Raises
    ------
    EngineeringError
        Unknown kind, a unit the kind cannot be in.

    Examples
    --------
    >>> to_unit(283.9058838, "US gpd", "flow")
    75.0
    """
    return float(f"{express(value, unit, kind):.9g}")


def express(value: float, unit: str, kind: Kind | str) -> float:
    """Express a canonical value in a named unit of its kind, without rounding.

    Parameters
    ----------
    value : float
        In the canonical unit of the kind.
    unit : str
        Any accepted spelling.
    kind : Kind or str
        The kind or its name.

    Returns
    -------
    float
        In `unit`.

    Raises
    ------
    EngineeringError
        Unknown kind, a unit the kind cannot be in.

    Examples
    --------
    >>> round(express(100.0, "dH", "hardness"), 3)
    5.603
    """
    quantity_kind = find_kind(kind)
    expression = expression_of(unit, quantity_kind, "unit")
    return float(magnitude(np.asarray(float(value)), canonical_expression(quantity_kind), expression))
