"""The limits of exhaustion as columns beside the units of a fleet."""

from dataclasses import fields, replace
from typing import Any

import numpy as np

from fleet.engineering.limits import HOUSE, Limits, stricter
from fleet.forecasting.inputs.tables import Fleet, Floats


def limits_of_fleet(fleet: Fleet, limits: Limits[Any] | None = None) -> Limits[Floats]:
    """Return the limits of every unit of a fleet, tightened by what its own table says.

    Parameters
    ----------
    fleet
        A product TDS target of a unit tightens a limit that was stated and takes the place of the house's; a minimum
        rejection takes the place of either, since it is what the use needs.
    limits
        Of all units alike (floats), or one value for each (arrays); of the house when None. Doing it twice changes
        nothing.

    Returns
    -------
    One value for every row of `fleet.units`.
    """
    given = HOUSE if limits is None else limits
    count = len(fleet.units)
    every: Limits[Floats] = Limits(
        **{field.name: np.broadcast_to(getattr(given, field.name), count).astype(np.float64) for field in fields(given)}
    )
    stated_tds = np.full(count, np.inf) if limits is None else every.product_tds_mg_per_l
    target, rejection = fleet.units.product_tds_target_mg_per_l, fleet.units.minimum_rejection_fraction
    return replace(
        every,
        product_tds_mg_per_l=np.where(
            target > 0, stricter("product_tds_mg_per_l", stated_tds, target), every.product_tds_mg_per_l
        ),
        minimum_rejection_fraction=np.where(np.isfinite(rejection), rejection, every.minimum_rejection_fraction),
    )
