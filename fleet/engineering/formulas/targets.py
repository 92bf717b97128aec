"""What water each use wants.

A limit met here is an indication, never a certificate: laboratory grades also need organic carbon, silica and bacteria,
and drinking water needs an accredited laboratory.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Final

from accounts.language import gettext_noop
from fleet.engineering.errors import EngineeringError
from fleet.engineering.formulas.conductivity import rebase_tds_mg_per_l
from fleet.engineering.units.registry import STORED_TDS_FACTOR

# ISO 3696:1987, uS/cm at 25 degC.
_ISO_3696: Final[Mapping[str, float]] = {"1": 0.1, "2": 1.0, "3": 5.0}
COFFEE_TDS_RANGE_MG_PER_L: Final = (75.0, 250.0)
COFFEE_SCALE_FACTOR: Final = 0.7
"""What the range is told in: mixed salts, mg/L per uS/cm."""


@dataclass(frozen=True)
class Target:
    """What one use wants from the water.

    Attributes
    ----------
    use : str
        A key of `TARGETS`.
    product_tds_low_mg_per_l, product_tds_high_mg_per_l : float
        Wanted range on the 0.5 scale.
    needs_resin : bool
        Whether only an RO/DI unit reaches it.
    minimum_rejection_fraction : float
        Below it the membrane no longer serves the use.
    source : str
        Where the numbers are from.
    sentence : str
        For the client.
    """

    use: str
    product_tds_low_mg_per_l: float
    product_tds_high_mg_per_l: float
    needs_resin: bool
    minimum_rejection_fraction: float
    source: str
    sentence: str


def iso3696_max_conductivity_us_per_cm(grade: int | str) -> float:
    """Return the highest conductivity of an ISO 3696:1987 grade, 25 degC.

    Parameters
    ----------
    grade : {1, 2, 3}
        Grade.

    Returns
    -------
    float
        uS/cm. Conductivity alone never shows compliance.

    Raises
    ------
    EngineeringError
        Unknown grade.

    Examples
    --------
    >>> iso3696_max_conductivity_us_per_cm(2)
    1.0
    """
    return _ISO_3696[_known_key("grade", grade, _ISO_3696)]


def _known_key(field: str, value: object, table: Mapping[str, object]) -> str:
    text = str(value).strip()
    key = text if text in table else text.lower()
    if isinstance(value, bool) or key not in table:
        raise EngineeringError(field, f"{value!r} is not known; use one of {', '.join(table)}.")
    return key


def _on_our_scale(coffee_tds_mg_per_l: float) -> float:
    return float(rebase_tds_mg_per_l(coffee_tds_mg_per_l, COFFEE_SCALE_FACTOR, STORED_TDS_FACTOR))


_PRACTICE: Final = "common practice, no source"
TARGETS: Final[Mapping[str, Target]] = {
    "reef": Target(
        "reef", 0.0, 1.0, True, 0.90, _PRACTICE,
        gettext_noop("Reef aquaria want 0 mg/L shown, no chlorine, no ammonia and no silica."),
    ),
    "planted": Target(
        "planted", 0.0, 20.0, False, 0.90, _PRACTICE,
        gettext_noop("Planted and freshwater aquaria do well with 20 mg/L or less before minerals are added back."),
    ),
    "drinking": Target(
        "drinking", 0.0, 50.0, False, 0.75,
        "common practice, no source; NSF/ANSI 58 asks for 75 % TDS reduction of a system",
        gettext_noop("There is no health limit for TDS; below 50 mg/L is usual after reverse osmosis."),
    ),
    "coffee": Target(
        "coffee", _on_our_scale(COFFEE_TDS_RANGE_MG_PER_L[0]), _on_our_scale(COFFEE_TDS_RANGE_MG_PER_L[1]), False, 0.85,
        "common practice, no source: brewing water of 75 to 250 mg/L on the scale of mixed salts",
        gettext_noop(
            "Coffee wants about 107 mg/L on this scale (54 to 179), so minerals are added back or blended in."
        ),
    ),
    "laboratory": Target(
        "laboratory", 0.0, STORED_TDS_FACTOR * iso3696_max_conductivity_us_per_cm(2), True, 0.90,
        "ISO 3696:1987 grade 2, 1 uS/cm",
        gettext_noop("Laboratory water needs a conductivity in line; a hand-held TDS meter cannot prove a grade."),
    ),
    "hydroponics": Target(
        "hydroponics", 0.0, 100.0, False, 0.85, _PRACTICE,
        gettext_noop("Nutrient solutions start from 100 mg/L or less, so that what plants get is what is dosed."),
    ),
    "fish": Target(
        "fish", 0.0, 50.0, False, 0.90, _PRACTICE,
        gettext_noop("Fish of soft water breed in 50 mg/L or less, hardened again as the species asks; no chlorine."),
    ),
    "other": Target(
        "other", 0.0, 50.0, False, 0.85, _PRACTICE,
        gettext_noop("The limit of this use is the one that was given for it."),
    ),
}  # fmt: skip


def target_for(use: str) -> Target:
    """Return the target of a use.

    Raises
    ------
    EngineeringError
        Unknown use.

    Examples
    --------
    >>> target_for("reef").product_tds_high_mg_per_l
    1.0
    """
    return TARGETS[_known_key("use", use, TARGETS)]
