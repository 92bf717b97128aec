"""Which booster pump of the catalogue does: by the feed it moves and the pressure it holds while it does."""

from collections.abc import Sequence

from fleet.engineering.arrays import in_range
from fleet.engineering.sizing.offer import Item


def fitting_pump(catalogue: Sequence[Item], feed_l_per_day: float, pressure_kpa: float) -> Item | None:
    """Return the cheapest booster pump that moves so much feed at so much pressure.

    Parameters
    ----------
    catalogue : sequence of Item
        The rating of a pump is the feed it moves against its rated pressure; one that states no flow or no pressure is
        taken as able, and only where no other is.
    feed_l_per_day : float
        Permeate and concentrate together, above 0.
    pressure_kpa : float
        Wanted at the membrane inlet, gauge, above 0.

    Returns
    -------
    Item or None
        None where none does.

    Raises
    ------
    EngineeringError
        Out of range.

    Examples
    --------
    >>> stock = [Item("P1", "", "accessory", 60.0, purpose="booster_pump", rated_flow_l_per_day=1440.0,
    ...     rated_pressure_kpa=600.0), Item("P2", "", "accessory", 92.0, purpose="booster_pump",
    ...     rated_flow_l_per_day=4000.0, rated_pressure_kpa=600.0)]
    >>> [fitting_pump(stock, feed, 552.0).code for feed in (1400.0, 1500.0)], fitting_pump(stock, 1400.0, 700.0)
    (['P1', 'P2'], None)
    """
    feed = float(in_range(feed_l_per_day, "feed_l_per_day", 0.0, unit="L/day", open_low=True))
    pressure = float(in_range(pressure_kpa, "pressure_kpa", 0.0, unit="kPa", open_low=True))
    pumps = [
        item
        for item in catalogue
        if item.purpose == "booster_pump"
        and (item.rated_flow_l_per_day or feed) >= feed
        and (item.rated_pressure_kpa or pressure) >= pressure
    ]
    return min(pumps, key=lambda item: (not _states_rating(item), item.price, item.code), default=None)


def _states_rating(item: Item) -> bool:
    return bool(item.rated_flow_l_per_day and item.rated_pressure_kpa)
