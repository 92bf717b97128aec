"""What a unit should read when the work on it is done, at the condition it was read at last."""

from collections.abc import Mapping
from dataclasses import dataclass

from fleet.engineering.formulas.mass_balance import waste_ratio
from fleet.engineering.limits import Limits
from fleet.engineering.sizing.commissioning import Promise, commissioning_checks
from fleet.models import CatalogueItem, Reading, Stage, Unit
from fleet.services.sizing.sizing import rating_of


@dataclass(frozen=True, slots=True)
class Expected:
    """One quantity after the work, in the unit its name ends in; `low` and `high` are None where there is no limit.

    `if_not` says what to look for when it is outside.
    """

    quantity: str
    value: float | None
    low: float | None
    high: float | None
    if_not: str


def expected_readings(
    *, unit: Unit, limits: Limits[float], membrane: CatalogueItem | None, last: Reading | None, unit_system: str
) -> list[Expected]:
    """The readings to expect after the work, by the rules that judge a new unit.

    Parameters
    ----------
    unit
        With `positions` at hand.
    limits
        Of this unit.
    membrane
        What stands in it when the work is done; None or without a rating: nothing can be expected of its flow.
    last
        The newest reading; flow and permeate TDS follow from its pressure, temperature and feed TDS, and are left out
        where one of them was not read.
    unit_system
        Of the sentences.
    """
    rating = rating_of(membrane) if membrane is not None else None
    if rating is None:
        return []
    reading: Mapping[str, float] = {
        name: float(value)
        for name in Reading.QUANTITIES
        if last is not None and (value := getattr(last, name)) is not None
    }
    has_resin = any(position.stage == Stage.RESIN for position in unit.positions.all())
    promise = Promise(
        rating=rating,
        waste_ratio=float(waste_ratio(unit.design_recovery_fraction)),
        product_tds_mg_per_l=limits.product_tds_mg_per_l if has_resin else None,
        restrictor="capillary" if unit.restrictor == Unit.Restrictor.CAPILLARY else "orifice",
    )
    has_carbon = any(position.stage == Stage.CARBON for position in unit.positions.all())
    return [
        Expected(check.quantity, check.promised, check.low, check.high, check.if_not_kept)
        for check in commissioning_checks(promise, reading, unit_system, limits=limits)
        if (check.low is not None or check.high is not None)
        and (has_carbon or not check.quantity.startswith("carbon_outlet"))
    ]
