"""What an offer needs beside the cartridges, looked for in the catalogue by its purpose."""

from collections.abc import Sequence
from typing import Final

from fleet.engineering.sizing.offer import Fitting, Item

# A restrictor within this share of the size asked for does (common practice, no source).
RESTRICTOR_TOLERANCE: Final = 0.2


def fitting(
    purpose: str, catalogue: Sequence[Item], *, size: str, reason: str, flow_l_per_day: float | None = None
) -> Fitting:
    """Return a fitting with the cheapest item of the catalogue that has this purpose, or with none.

    Parameters
    ----------
    purpose : str
        One of `PURPOSES`.
    catalogue : sequence of Item
        All of it.
    size, reason : str
        What is needed, and why, as sentences.
    flow_l_per_day : float, optional
        Flow it must have; an item that states one must lie within 20 % of it.

    Returns
    -------
    Fitting
        `item` is None where the catalogue has none.

    Raises
    ------
    EngineeringError
        Not here.

    Examples
    --------
    >>> stock = [Item("R9", "900 mL/min", "accessory", 4.6, purpose="flow_restrictor", rated_flow_l_per_day=1296.0)]
    >>> fitting("flow_restrictor", stock, size="", reason="", flow_l_per_day=1200.0).item.code
    'R9'
    >>> fitting("flow_restrictor", stock, size="", reason="", flow_l_per_day=600.0).item is None
    True
    """
    found = [item for item in catalogue if item.purpose == purpose and _fits(item, flow_l_per_day)]
    return Fitting(purpose, min(found, key=lambda item: (item.price, item.code), default=None), size, reason)


def _fits(item: Item, flow_l_per_day: float | None) -> bool:
    if flow_l_per_day is None or item.rated_flow_l_per_day is None:
        return True
    return abs(item.rated_flow_l_per_day - flow_l_per_day) <= RESTRICTOR_TOLERANCE * flow_l_per_day
