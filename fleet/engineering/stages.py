"""The stages of a unit whose parts wear out."""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Final, Literal

from accounts.language import gettext_noop

STAGES: Final = ("sediment", "carbon", "membrane", "resin", "post_carbon", "remineralisation", "uv")
"""In the order of the water."""

HOURS_PER_DAY: Final = 24.0


@dataclass(frozen=True)
class Sign:
    """A reading that says outright whether what stands in a stage still does its work.

    Attributes
    ----------
    quantity : str
        The reading quantity.
    least : float
        Below it the cartridge or lamp is exhausted, in the unit in which the quantity is kept.
    over : str
        The quantity it is read against: then `least` is of the difference. Empty: of the value itself.
    meaning : str
        What a sentence calls the value.
    unit : str
        Behind the value in a sentence; ``"%"`` for a share.
    """

    quantity: str
    least: float
    over: str
    meaning: str
    unit: str

    @property
    def quantities(self) -> tuple[str, ...]:
        """All that has to be read for it."""
        return (self.quantity, self.over) if self.over else (self.quantity,)


@dataclass(frozen=True)
class Finishing:
    """A stage behind the membrane that finishes the water for whoever drinks it, and wears in one plain way.

    Attributes
    ----------
    load : {"product_l", "burning_h"}
        What wears it a day: litres of product, or hours by the clock.
    label : str
        Attribute of a catalogue item that states how much of it the item takes.
    usual_label : float
        What a label usually states, in L or h; where one is silent.
    maximum_service_time_days : float
        Age at which it is replaced whatever it shows, where its label does not say; infinite: no such age.
    signs : tuple of Sign
        Readings that tell of it, the surest first.
    """

    load: Literal["product_l", "burning_h"]
    label: str
    usual_label: float
    maximum_service_time_days: float
    signs: tuple[Sign, ...] = ()


FINISHING: Final[Mapping[str, Finishing]] = {
    # In-line carbon behind a tank is changed every half to whole year, or at the litres of its label.
    "post_carbon": Finishing("product_l", "rated_volume_l", 4000.0, 365.0),
    # Calcite gives alkalinity while there is enough of it. 6.5 is the lower end of what 40 CFR 143.3 recommends of
    # drinking water; the rise of TDS over the permeate is common practice.
    "remineralisation": Finishing(
        "product_l",
        "rated_volume_l",
        4000.0,
        365.0,
        (
            Sign("remineralised_ph", 6.5, "", gettext_noop("pH behind the cartridge"), ""),
            Sign(
                "remineralised_tds_mg_per_l",
                10.0,
                "permeate_tds_mg_per_l",
                gettext_noop("rise of TDS over the cartridge"),
                "mg/L",
            ),
        ),
    ),
    # A low-pressure lamp fades while it still shines: it is changed after about 9,000 hours, and burns day and night.
    # Below 70 % of a new one its dose is no longer what the label promises.
    "uv": Finishing(
        "burning_h",
        "rated_burning_hours",
        9000.0,
        float("inf"),
        (Sign("uv_intensity_fraction", 0.7, "", gettext_noop("UV intensity"), "%"),),
    ),
}
"""Stages that need no model of their own, each by its record. The figures are common practice, no source, but for what
is said beside them."""


def rated_days(stage: str, burning_hours: float | None, days: float | None) -> float | None:
    """Return the age at which a label retires a cartridge or lamp; None where it names none.

    Parameters
    ----------
    stage : str
        One of `STAGES`.
    burning_hours : float or None
        Hours that the label of a lamp states; the usual ones where it is silent. It burns day and night: whoever
        switches it off lets water pass that nothing disinfected.
    days : float or None
        Maximum service time of the label.

    Returns
    -------
    float or None
        Days.

    Raises
    ------
    EngineeringError
        Not here.

    Examples
    --------
    >>> rated_days("uv", None, None), rated_days("uv", 7200.0, 365.0), rated_days("resin", None, 365.0)
    (375.0, 300.0, 365.0)
    """
    finishing = FINISHING.get(stage)
    if finishing is None or finishing.load != "burning_h":
        return days
    by_hours = (burning_hours or finishing.usual_label) / HOURS_PER_DAY
    return by_hours if days is None else min(by_hours, days)
