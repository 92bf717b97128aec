"""Which item of the catalogue serves: the cheapest of its purpose, or the one whose capacity fits the site."""

import math
from collections.abc import Sequence
from typing import Final

from fleet.engineering.formulas.restrictor import restrictor_flow
from fleet.engineering.sizing.offer import Item

# A restrictor within this share of the size asked for does (common practice, no source).
RESTRICTOR_TOLERANCE: Final = 0.2
# Common practice, no source.
LEAST_DAYS_BETWEEN_REGENERATIONS: Final = 2.0


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


def by_capacity(purpose: str, catalogue: Sequence[Item], flow_l_per_day: float) -> Item | None:
    """Return the cheapest item of a purpose that takes a flow.

    Parameters
    ----------
    purpose : str
        A name of `PURPOSES`.
    catalogue : sequence of Item
        One that states no flow is taken as able, and only where no other is.
    flow_l_per_day : float
        Through it, 0 or more.

    Returns
    -------
    Item or None
        None where none does.

    Raises
    ------
    EngineeringError
        Not here.

    Examples
    --------
    >>> stock = [Item("D1", "", "accessory", 90.0, purpose="degassing", rated_flow_l_per_day=100.0),
    ...     Item("D2", "", "accessory", 165.0, purpose="degassing", rated_flow_l_per_day=240.0)]
    >>> [item and item.code for item in (by_capacity("degassing", stock, flow) for flow in (100.0, 101.0, 241.0))]
    ['D1', 'D2', None]
    """
    able = [
        item
        for item in catalogue
        if item.purpose == purpose and (item.rated_flow_l_per_day or math.inf) >= flow_l_per_day
    ]
    return min(able, key=lambda item: (not item.rated_flow_l_per_day, item.price, item.code), default=None)


def fitting_softener(
    catalogue: Sequence[Item], flow_l_per_day: float, feed_l_per_day: float, hardness_meq_per_l: float
) -> Item | None:
    """Return the cheapest softener that takes the flow of a unit and is regenerated no more than every other day.

    Parameters
    ----------
    catalogue : sequence of Item
        What is stated of a softener counts: its flow, and the volume and capacity of its resin.
    flow_l_per_day : float
        Of the feed while the unit runs, 0 or more.
    feed_l_per_day : float
        Feed of a whole day, 0 or more.
    hardness_meq_per_l : float
        0 or more.

    Returns
    -------
    Item or None
        None where none does. Every other day is common practice, no source.

    Raises
    ------
    EngineeringError
        Not here.

    Examples
    --------
    >>> stock = [Item(f"S{volume:g}", "", "accessory", 50.0 * volume, purpose="softener", resin_volume_l=volume,
    ...     resin_capacity_eq_per_l=1.0) for volume in (4.0, 8.0)]
    >>> [fitting_softener(stock, 900.0, feed, 5.0).code for feed in (400.0, 401.0)]
    ['S4', 'S8']
    """
    daily_eq = feed_l_per_day * hardness_meq_per_l / 1000.0

    def lasts(item: Item) -> bool:
        if not item.resin_volume_l or not item.resin_capacity_eq_per_l:
            return True
        return item.resin_volume_l * item.resin_capacity_eq_per_l >= LEAST_DAYS_BETWEEN_REGENERATIONS * daily_eq

    return by_capacity("softener", [item for item in catalogue if lasts(item)], flow_l_per_day)


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
