"""Which item of the catalogue serves: the cheapest of its purpose, or the one whose capacity fits the site."""

from collections.abc import Sequence
from typing import Final

from fleet.engineering.formulas.restrictor import restrictor_flow
from fleet.engineering.sizing.offer import Item

# A restrictor within this share of the size asked for does (common practice, no source).
RESTRICTOR_TOLERANCE: Final = 0.2


def cheapest(purpose: str, catalogue: Sequence[Item]) -> Item | None:
    """Return the cheapest item of the catalogue that has a purpose, None where there is none.

    Examples
    --------
    >>> stock = [Item("A", "", "accessory", 9.8, purpose="check_valve"), Item("B", "", "accessory", 3.4, purpose="tee")]
    >>> cheapest("check_valve", stock).code, cheapest("softener", stock)
    ('A', None)
    """
    matching = [item for item in catalogue if item.purpose == purpose]
    return min(matching, key=lambda item: (item.price, item.code), default=None)


def nearest_restrictor(catalogue: Sequence[Item], flow_l_per_day: float, inlet_kpa: float) -> Item | None:
    """Return the restrictor of the catalogue that passes nearest to a flow at the pressure of the site.

    Parameters
    ----------
    catalogue : sequence of Item
        A restrictor that states its pressure too is taken as an orifice; one that states no flow comes in any size.
    flow_l_per_day : float
        Concentrate, above 0.
    inlet_kpa : float
        Membrane inlet, gauge, above 0.

    Returns
    -------
    Item or None
        None where none lies within 20 %.

    Raises
    ------
    EngineeringError
        Out of range.

    Examples
    --------
    >>> stock = [Item("R9", "", "accessory", 4.6, purpose="flow_restrictor", rated_flow_l_per_day=1296.0,
    ...     rated_pressure_kpa=414.0)]
    >>> nearest_restrictor(stock, 1200.0, 414.0).code
    'R9'
    >>> nearest_restrictor(stock, 1200.0, 200.0) is None
    True
    """
    far: dict[str, float] = {}
    restrictors = {item.code: item for item in catalogue if item.purpose == "flow_restrictor"}
    for code, item in restrictors.items():
        passes = item.rated_flow_l_per_day
        if passes and item.rated_pressure_kpa:
            passes = float(
                restrictor_flow(
                    passes, rated_pressure=item.rated_pressure_kpa, pressure=inlet_kpa, restrictor_type="orifice"
                )
            )
        # Where no flow is stated it is the last choice among those that do.
        far[code] = abs(passes - flow_l_per_day) / flow_l_per_day if passes else RESTRICTOR_TOLERANCE
    near = [code for code, distance in far.items() if distance <= RESTRICTOR_TOLERANCE]
    return restrictors[min(near, key=lambda code: (far[code], restrictors[code].price, code))] if near else None
