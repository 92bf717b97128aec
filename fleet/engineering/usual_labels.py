"""What a label usually says, by kind and format, where nobody knows it any more; marked as assumed wherever it is kept.

Common practice, no source, all of it (the numbers stand in `usual`). The flow of a membrane is never assumed: elements
of one size are sold with flows from one to four.
"""

from collections.abc import Mapping
from typing import Final

from fleet.engineering.usual import (
    LABEL_PRESSURE_KPA,
    LABEL_RECOVERY,
    LABEL_REJECTION,
    LABEL_TDS_MG_PER_L,
    LABEL_TEMPERATURE_DEGC,
    RESIN_CAPACITY_EQ_PER_L,
    RESIN_VOLUME_L,
)

LABEL_ATTRIBUTES: Final[Mapping[str, tuple[str, ...]]] = {
    "membrane": (
        "membrane_material",
        "rejection_fraction",
        "rated_flow_l_per_day",
        "rated_pressure_kpa",
        "rated_temperature_degc",
        "rated_tds_mg_per_l",
        "rated_recovery_fraction",
    ),
    "resin": ("resin_volume_l", "resin_capacity_eq_per_l"),
}
"""Kind -> what of its label the engineering cannot do without. Of sediment and carbon that is nothing: they are
forecast by age and by what the fleet teaches where their labels are silent."""

_ANY_MEMBRANE: Final[Mapping[str, float | str]] = {
    "membrane_material": "polyamide",
    "rejection_fraction": LABEL_REJECTION,
    "rated_temperature_degc": LABEL_TEMPERATURE_DEGC,
    "rated_recovery_fraction": LABEL_RECOVERY,
}
_SMALL_MEMBRANE: Final[Mapping[str, float | str]] = {
    "rated_pressure_kpa": LABEL_PRESSURE_KPA,
    "rated_tds_mg_per_l": LABEL_TDS_MG_PER_L,
}
_SMALL_ELEMENTS: Final = ("", "element_1812", "element_2012", "element_3012")
"""Sizes that are rated at one condition; an element without a size is taken for one of them. Wider ones are rated for
tap water or for brackish water, at pressures from 7 to 15 bar."""
_RESIN_VOLUMES_L: Final[Mapping[str, float]] = {
    "": RESIN_VOLUME_L,
    "10_inch": RESIN_VOLUME_L,
    "20_inch": 2 * RESIN_VOLUME_L,
}
"""Of wide cartridges, in-line ones and vessels, beds differ too much to be assumed."""


def usual_label(kind: str, cartridge_size: str) -> dict[str, float | str]:
    """What a label usually says of a kind and size, by attribute; an attribute that nobody can assume is not there.

    Examples
    --------
    >>> usual_label("resin", "20_inch")
    {'resin_capacity_eq_per_l': 0.457, 'resin_volume_l': 1.2}
    >>> "rated_flow_l_per_day" in usual_label("membrane", ""), usual_label("carbon", "10_inch")
    (False, {})
    """
    if kind == "membrane":
        return {**_ANY_MEMBRANE, **(_SMALL_MEMBRANE if cartridge_size in _SMALL_ELEMENTS else {})}
    label: dict[str, float | str] = {}
    if kind == "resin":
        label["resin_capacity_eq_per_l"] = RESIN_CAPACITY_EQ_PER_L
        if cartridge_size in _RESIN_VOLUMES_L:
            label["resin_volume_l"] = _RESIN_VOLUMES_L[cartridge_size]
    return label
