"""What water each use wants, and the published limits a reading is held against.

A limit met here is an indication, never a certificate: laboratory grades also need organic carbon, silica and bacteria,
and drinking water needs an accredited laboratory.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date
from typing import Final

from fleet.engineering.arrays import Numbers, Result, in_range
from fleet.engineering.errors import EngineeringError
from fleet.engineering.formulas.conductivity import rebase_tds_mg_per_l

# ISO 3696:1987, uS/cm at 25 degC.
_ISO_3696: Final[Mapping[str, float]] = {"1": 0.1, "2": 1.0, "3": 5.0}
# ASTM D1193-99e1: conductivity uS/cm at 25 degC, total organic carbon ug/L, silica ug/L (None where there is no limit).
_ASTM_D1193: Final[Mapping[str, tuple[float, float | None, float | None]]] = {
    "I": (0.056, 50.0, 3.0),
    "II": (1.0, 50.0, 3.0),
    "III": (0.25, 200.0, 500.0),
    "IV": (5.0, None, None),
}
# 40 CFR 143.3, mg/L; aesthetic goals, not federally enforceable. The starred ones are from memory.
_US_SECONDARY: Final[Mapping[str, float]] = {
    "tds": 500.0,
    "chloride": 250.0,
    "sulfate": 250.0,
    "iron": 0.3,
    "manganese": 0.05,
    "aluminum": 0.2,  # upper end of 0.05 to 0.2, from memory
    "copper": 1.0,  # from memory
    "fluoride": 2.0,  # from memory
    "silver": 0.1,  # from memory
    "zinc": 5.0,  # from memory
    "foaming_agents": 0.5,  # from memory
}
_SECONDARY_ALIASES: Final[Mapping[str, str]] = {
    "total_dissolved_solids": "tds",
    "sulphate": "sulfate",
    "aluminium": "aluminum",
    "fe": "iron",
    "mn": "manganese",
}
US_SECONDARY_PH: Final = (6.5, 8.5)
# 40 CFR 141.65, mg/L: chlorine and chloramines as Cl2, chlorine dioxide as ClO2 (from memory).
_US_MRDL: Final[Mapping[str, float]] = {"chlorine": 4.0, "chloramine": 4.0, "chlorine_dioxide": 0.8}
_MRDL_ALIASES: Final[Mapping[str, str]] = {
    "chloramines": "chloramine",
    "monochloramine": "chloramine",
    "free_chlorine": "chlorine",
}
# WHO background document on TDS, 1996: upper ends of the taste bands, mg/L.
_WHO_TASTE: Final = ((300.0, "excellent"), (600.0, "good"), (900.0, "fair"), (1200.0, "poor"))
# Lead and Copper Rule Improvements: 15 ug/L, 10 from this day on.
_LEAD_RULE_CHANGE: Final = date(2027, 11, 1)
COFFEE_TDS_MG_PER_L: Final = 150.0
COFFEE_TDS_RANGE_MG_PER_L: Final = (75.0, 250.0)
COFFEE_SCALE_FACTOR: Final = 0.7


@dataclass(frozen=True)
class Target:
    """What one use wants from the water.

    Attributes
    ----------
    use : str
        ``"reef"``, ``"planted"``, ``"drinking"``, ``"coffee"`` or ``"laboratory"``.
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


_PRACTICE: Final = "common practice, no source"
TARGETS: Final[Mapping[str, Target]] = {
    "reef": Target(
        "reef", 0.0, 1.0, True, 0.90, _PRACTICE,
        "Reef aquaria want 0 mg/L shown, no chlorine, no ammonia and no silica.",
    ),
    "planted": Target(
        "planted", 0.0, 20.0, False, 0.90, _PRACTICE,
        "Planted and freshwater aquaria do well with 20 mg/L or less before minerals are added back.",
    ),
    "drinking": Target(
        "drinking", 0.0, 50.0, False, 0.75,
        "common practice, no source; NSF/ANSI 58 asks for 75 % TDS reduction of a system",
        "There is no health limit for TDS; below 50 mg/L is usual after reverse osmosis.",
    ),
    "coffee": Target(
        "coffee", 75.0 / COFFEE_SCALE_FACTOR * 0.5, 250.0 / COFFEE_SCALE_FACTOR * 0.5, False, 0.85,
        "common practice, no source: brewing water of 75 to 250 mg/L on the scale of mixed salts",
        "Coffee wants about 107 mg/L on this scale (54 to 179), so minerals are added back or blended in.",
    ),
    "laboratory": Target(
        "laboratory", 0.0, 0.5, True, 0.90, "ISO 3696:1987 grade 2, 1 uS/cm",
        "Laboratory water needs a conductivity in line; a hand-held TDS meter cannot prove a grade.",
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
    return TARGETS[_look_up("use", use, TARGETS, {})]


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
    return _ISO_3696[_look_up("grade", grade, _ISO_3696, {})]


def astm_d1193_max_conductivity_us_per_cm(water_type: str) -> float:
    """Return the highest conductivity of an ASTM D1193-99e1 type, 25 degC; III is purer than II in conductivity.

    Parameters
    ----------
    water_type : {"I", "II", "III", "IV"}
        Type.

    Returns
    -------
    float
        uS/cm.

    Raises
    ------
    EngineeringError
        Unknown type.

    Examples
    --------
    >>> astm_d1193_max_conductivity_us_per_cm("III")
    0.25
    """
    return _ASTM_D1193[_astm(water_type)][0]


def astm_d1193_max_toc_ug_per_l(water_type: str) -> float:
    """Return the highest organic carbon of an ASTM D1193-99e1 type, ug/L; type IV has no limit and raises.

    Examples
    --------
    >>> astm_d1193_max_toc_ug_per_l("I")
    50.0
    """
    return _limited(_ASTM_D1193[_astm(water_type)][1], "organic carbon")


def astm_d1193_max_silica_ug_per_l(water_type: str) -> float:
    """Return the highest silica of an ASTM D1193-99e1 type, ug/L; type IV has no limit and raises.

    Examples
    --------
    >>> astm_d1193_max_silica_ug_per_l("III")
    500.0
    """
    return _limited(_ASTM_D1193[_astm(water_type)][2], "silica")


def us_secondary_level_mg_per_l(parameter: str) -> float:
    """Return a secondary level of 40 CFR 143.3: an aesthetic goal, not federally enforceable.

    Parameters
    ----------
    parameter : str
        ``"iron"``, ``"manganese"``, ``"chloride"``, ``"sulfate"``, ``"tds"``, ``"copper"`` and so on.

    Returns
    -------
    float
        mg/L.

    Raises
    ------
    EngineeringError
        Unknown parameter.

    Examples
    --------
    >>> us_secondary_level_mg_per_l("iron")
    0.3
    """
    return _US_SECONDARY[_look_up("parameter", parameter, _US_SECONDARY, _SECONDARY_ALIASES)]


def us_mrdl_mg_per_l(disinfectant: str) -> float:
    """Return the maximum residual disinfectant level of 40 CFR 141.65.

    Parameters
    ----------
    disinfectant : {"chlorine", "chloramine", "chlorine_dioxide"}
        What the supplier adds.

    Returns
    -------
    float
        mg/L, as Cl2 (chlorine dioxide as ClO2).

    Raises
    ------
    EngineeringError
        Unknown disinfectant.

    Examples
    --------
    >>> us_mrdl_mg_per_l("chloramine")
    4.0
    """
    return _US_MRDL[_look_up("disinfectant", disinfectant, _US_MRDL, _MRDL_ALIASES)]


def who_palatability_class(tds_mg_per_l: float) -> str:
    """Return the taste class of a TDS: "excellent", "good", "fair", "poor" or "unacceptable".

    Parameters
    ----------
    tds_mg_per_l : float
        0 or more.

    Returns
    -------
    str
        Class of the WHO background document of 1996; taste, not health.

    Raises
    ------
    EngineeringError
        Negative or missing.

    Examples
    --------
    >>> who_palatability_class(450.0)
    'good'
    """
    tds = float(in_range(tds_mg_per_l, "tds_mg_per_l", 0.0, unit="mg/L"))
    if tds != tds:
        raise EngineeringError("tds_mg_per_l", "Without a TDS there is no taste class.")
    for upper, name in _WHO_TASTE:
        if tds < upper or (upper == _WHO_TASTE[-1][0] and tds <= upper):
            return name
    return "unacceptable"


def coffee_tds_target_mg_per_l(scale: str | float) -> float:
    """Return the TDS target of brewing water on a meter's scale.

    Parameters
    ----------
    scale : {"mixed_salts", "nacl", "0.5", "0.7"} or float
        ``"mixed_salts"`` is the scale of the published 150 mg/L; ``"nacl"`` the 0.5 scale; or a factor of 0.4 to 1.0.

    Returns
    -------
    float
        mg/L on that scale.

    Raises
    ------
    EngineeringError
        Unknown scale.

    Examples
    --------
    >>> coffee_tds_target_mg_per_l("mixed_salts")
    150.0
    >>> round(coffee_tds_target_mg_per_l("nacl"), 1)
    107.1
    """
    factor_of = {"mixed_salts": COFFEE_SCALE_FACTOR, "nacl": 0.5}
    text = str(scale).strip().lower()
    try:
        factor = factor_of[text] if text in factor_of else float(text)
    except ValueError:
        raise EngineeringError(
            "scale", f"{scale!r} is not a scale; use 'mixed_salts', 'nacl' or a meter factor."
        ) from None
    return float(rebase_tds_mg_per_l(COFFEE_TDS_MG_PER_L, COFFEE_SCALE_FACTOR, factor))


def meter_reading_mg_per_l(tds_mg_per_l: Numbers, tds_factor: Numbers, meter_factor: Numbers) -> Result:
    """Return what a meter of one factor shows for a target given on another.

    Parameters
    ----------
    tds_mg_per_l : float or ndarray
        Target, 0 to 50000 mg/L.
    tds_factor, meter_factor : float or ndarray
        Scale of the target and of the meter, 0.4 to 1.0 mg/L per uS/cm.

    Returns
    -------
    float or ndarray
        mg/L on the meter's scale.

    Raises
    ------
    EngineeringError
        Out of range.

    Examples
    --------
    >>> round(meter_reading_mg_per_l(150.0, 0.7, 0.5), 1)
    107.1
    """
    return rebase_tds_mg_per_l(tds_mg_per_l, tds_factor, meter_factor)


def us_lead_action_level_ug_per_l(on: date | str) -> float:
    """Return the US action level of lead on a day: a trigger for utilities, not a safe level.

    Parameters
    ----------
    on : date or ISO text
        1991-06-07 (Lead and Copper Rule, from memory) or later.

    Returns
    -------
    float
        15 ug/L, from 2027-11-01 on 10 ug/L (Lead and Copper Rule Improvements; confirm before use, rules change).

    Raises
    ------
    EngineeringError
        Not a date, or before the rule.

    Examples
    --------
    >>> us_lead_action_level_ug_per_l("2028-01-01")
    10.0
    """
    try:
        day = date.fromisoformat(on) if isinstance(on, str) else on
    except ValueError:
        raise EngineeringError("date", f"{on!r} is not a date; write it as 2027-11-01.") from None
    if day < date(1991, 6, 7):
        raise EngineeringError("date", "There was no US action level for lead before 1991-06-07.")
    return 10.0 if day >= _LEAD_RULE_CHANGE else 15.0


def _look_up(field: str, value: object, table: Mapping[str, object], aliases: Mapping[str, str]) -> str:
    text = str(value).strip()
    lowered = text.lower().replace(" ", "_")
    key = text if text in table else aliases.get(lowered, lowered)
    if isinstance(value, bool) or key not in table:
        raise EngineeringError(field, f"{value!r} is not known; use one of {', '.join(table)}.")
    return key


def _astm(water_type: object) -> str:
    return _look_up("water_type", str(water_type).upper(), _ASTM_D1193, {})


def _limited(limit: float | None, quantity: str) -> float:
    if limit is None:
        raise EngineeringError("water_type", f"This type has no limit for {quantity}.")
    return limit
