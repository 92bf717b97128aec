"""Does a new unit give what sizing promised? Its first readings, judged at the condition they were taken at."""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Final

from fleet.engineering.constants import KILOPASCAL_PER_PSI
from fleet.engineering.errors import EngineeringError
from fleet.engineering.formulas.expected_flow import MembraneRating, expected_permeate_flow_l_per_day
from fleet.engineering.formulas.mass_balance import recovery_from_waste_ratio
from fleet.engineering.formulas.restrictor import restrictor_flow
from fleet.engineering.limits import Limits
from fleet.engineering.sizing.site import site_permeate_tds_mg_per_l
from fleet.engineering.sizing.survey import SiteSurvey
from fleet.engineering.sizing.words import Sentences
from fleet.engineering.sizing.words import commissioning as words
from fleet.engineering.sizing.words.quantities import in_words
from fleet.engineering.units import PRESSURE
from fleet.engineering.usual import (
    LABEL_FLOW_TOLERANCE,
    LAYOUT_TEMPERATURE_DEGC,
    METER_STEP_MG_PER_L,
    NEW_SALT_PASSAGE_OVER_LABEL,
    WASTE_RATIO_TOLERANCE,
)

# How far a new unit may be off what was promised. What counts as exhausted is none of these: that is `Limits`.
# Flow, salt and waste ratio: `usual`. Common practice, no source.
PRESSURE_SHORTFALL_KPA: Final = 10.0 * KILOPASCAL_PER_PSI


@dataclass(frozen=True)
class Promise:
    """What sizing promised of a unit.

    Attributes
    ----------
    rating : MembraneRating
        Label of the membrane; flow and permeate TDS follow from it at the condition of the reading.
    waste_ratio : float
        Concentrate over permeate.
    inlet_pressure_kpa : float, optional
        Membrane inlet; None where nothing was promised.
    product_tds_mg_per_l : float, optional
        Highest product TDS; None where the product is not judged.
    membranes : int
        Side by side; all of one label.
    temperature_degc, layout_pressure_kpa : float, optional
        Water and membrane inlet that the waste ratio was promised for: where the water is colder or the pressure is
        another, one and the same restrictor gives another ratio. None: `LAYOUT_TEMPERATURE_DEGC` or the temperature
        of the reading, either will do; the pressure promised, else that of the reading.
    restrictor : {"orifice", "capillary"}
        How the concentrate follows the pressure.
    """

    rating: MembraneRating
    waste_ratio: float
    inlet_pressure_kpa: float | None = None
    product_tds_mg_per_l: float | None = None
    membranes: int = 1
    temperature_degc: float | None = None
    layout_pressure_kpa: float | None = None
    restrictor: str = "orifice"


@dataclass(frozen=True)
class Check:
    """One promise against one reading.

    `verdict` is ``"kept"``, ``"not_kept"`` or ``"not_read"``; `promised` and `measured` are in the unit at the
    end of the quantity's name; `low` and `high` are the limits, None where there is none. `if_not_kept` tells an
    installer what to look for when a later reading breaks the promise, whatever this one did.
    """

    quantity: str
    verdict: str
    promised: float | None
    measured: float | None
    low: float | None
    high: float | None
    for_installer: str
    for_client: str
    if_not_kept: str


def commissioning_checks(
    promise: Promise, reading: Mapping[str, float], unit_system: str = "metric", *, limits: Limits[float]
) -> tuple[Check, ...]:
    """Return every check of a new unit.

    Parameters
    ----------
    promise : Promise
        What sizing said.
    reading : mapping of str to float
        Canonical quantities of the first reading; what was not read is left out.
    unit_system : {"metric", "us"}
        Of the sentences.
    limits : Limits
        Of the unit: what is past them is not kept, whatever was promised.

    Returns
    -------
    tuple of Check
        Permeate flow, permeate TDS, waste ratio, inlet pressure, product TDS, chlorine behind the carbon.

    Raises
    ------
    EngineeringError
        A promised waste ratio that is not positive.

    Examples
    --------
    >>> from fleet.engineering.limits import HOUSE
    >>> label = MembraneRating(284.0, 345.0, 25.0, 250.0, 0.15, 0.97)
    >>> checks = commissioning_checks(Promise(label, 4.0), {"inlet_pressure_kpa": 345.0, "temperature_degc": 25.0,
    ...     "feed_tds_mg_per_l": 250.0, "permeate_flow_l_per_day": 200.0}, limits=HOUSE)
    >>> [(check.quantity, check.verdict) for check in checks][:2]
    [('permeate_flow_l_per_day', 'not_kept'), ('permeate_tds_mg_per_l', 'not_read')]
    """
    shortfall = in_words(PRESSURE_SHORTFALL_KPA, PRESSURE, unit_system)
    recovery = float(recovery_from_waste_ratio(promise.waste_ratio))
    flow, tds = _expected(promise, reading, recovery)
    permeate, drain = reading.get("permeate_flow_l_per_day"), reading.get("concentrate_flow_l_per_day")
    ratio = drain / permeate if permeate and drain is not None else None
    ratios = _ratios_here(promise, reading, recovery)
    chlorine = reading.get("carbon_outlet_total_chlorine_mg_per_l", reading.get("carbon_outlet_free_chlorine_mg_per_l"))
    checks = [
        _check(
            "permeate_flow_l_per_day",
            flow,
            permeate,
            words.permeate_flow(LABEL_FLOW_TOLERANCE),
            low=_times(flow, 1.0 - LABEL_FLOW_TOLERANCE),
            high=_times(flow, 1.0 + LABEL_FLOW_TOLERANCE),
        ),
        _check(
            "permeate_tds_mg_per_l",
            tds,
            reading.get("permeate_tds_mg_per_l"),
            words.permeate_tds(),
            high=None if tds is None else tds * NEW_SALT_PASSAGE_OVER_LABEL + METER_STEP_MG_PER_L,
        ),
        _check(
            "waste_ratio",
            ratios[0],
            ratio,
            words.waste_ratio(),
            low=min(ratios) * (1.0 - WASTE_RATIO_TOLERANCE),
            high=max(ratios) * (1.0 + WASTE_RATIO_TOLERANCE),
        ),
    ]
    if promise.inlet_pressure_kpa is not None:
        inlet = promise.inlet_pressure_kpa
        least = max(inlet - PRESSURE_SHORTFALL_KPA, 0.0)
        measured = reading.get("inlet_pressure_kpa")
        checks.append(_check("inlet_pressure_kpa", inlet, measured, words.inlet_pressure(shortfall), low=least))
    if promise.product_tds_mg_per_l is not None:
        product = min(promise.product_tds_mg_per_l, limits.product_tds_mg_per_l)
        measured = reading.get("product_tds_mg_per_l")
        checks.append(_check("product_tds_mg_per_l", product, measured, words.product_tds(product), high=product))
    most = limits.chlorine_mg_per_l
    name = "carbon_outlet_total_chlorine_mg_per_l"
    checks.append(_check(name, 0.0, chlorine, words.chlorine(most), high=most, open_high=True))
    return tuple(checks)


def _expected(promise: Promise, reading: Mapping[str, float], recovery: float) -> tuple[float | None, float | None]:
    """Flow and permeate TDS of the label at the condition of the reading; None where it is not known."""
    inlet, feed = reading.get("inlet_pressure_kpa"), reading.get("feed_tds_mg_per_l")
    temperature = reading.get("temperature_degc")
    if inlet is None or temperature is None or not feed:
        return None, None
    permeate, drain = reading.get("permeate_flow_l_per_day"), reading.get("concentrate_flow_l_per_day")
    if permeate and drain and permeate / (permeate + drain) < 0.95:
        recovery = permeate / (permeate + drain)
    try:
        flow = expected_permeate_flow_l_per_day(
            promise.rating,
            pressure_kpa=inlet,
            temperature_degc=temperature,
            tds_mg_per_l=feed,
            recovery_fraction=recovery,
        )
        here = SiteSurvey("reef", 1.0, min(inlet, 1100.0), temperature, temperature, feed)
        return float(flow) * promise.membranes, site_permeate_tds_mg_per_l(promise.rating, here, inlet, recovery)
    except EngineeringError:
        # No driving pressure, or a condition outside the formulas: nothing can be promised of it.
        return None, None


def _ratios_here(promise: Promise, reading: Mapping[str, float], recovery: float) -> tuple[float, ...]:
    """The promised waste ratio at the pressure and temperature of a reading, the likeliest first.

    A restrictor passes what the pressure drives through it; the membrane gives less in colder water. As promised where
    the reading does not tell its condition.
    """
    inlet, temperature = reading.get("inlet_pressure_kpa"), reading.get("temperature_degc")
    feed = reading.get("feed_tds_mg_per_l")
    if not inlet or temperature is None or not feed:
        return (promise.waste_ratio,)
    before = promise.layout_pressure_kpa or promise.inlet_pressure_kpa or inlet
    layouts = (
        (temperature, LAYOUT_TEMPERATURE_DEGC) if promise.temperature_degc is None else (promise.temperature_degc,)
    )

    def permeate(pressure_kpa: float, at_degc: float) -> float:
        flow = expected_permeate_flow_l_per_day(
            promise.rating,
            pressure_kpa=pressure_kpa,
            temperature_degc=at_degc,
            tds_mg_per_l=feed,
            recovery_fraction=recovery,
        )
        return float(flow)

    def concentrate(at_degc: float) -> float:
        """Over that at the temperature given, at the pressure promised."""
        flow = restrictor_flow(
            1.0,
            rated_pressure=before,
            pressure=inlet,
            restrictor_type=promise.restrictor,
            rated_temperature_degc=at_degc,
            temperature_degc=temperature,
        )
        return float(flow)

    try:
        now = permeate(inlet, temperature)
        return tuple(promise.waste_ratio * concentrate(at) * permeate(before, at) / now for at in layouts)
    except (EngineeringError, ZeroDivisionError):
        # no driving pressure, or a condition outside the formulas
        return (promise.waste_ratio,)


def _times(value: float | None, factor: float) -> float | None:
    return None if value is None else value * factor


def _check(
    quantity: str,
    promised: float | None,
    measured: float | None,
    if_not_kept: Sentences,
    *,
    low: float | None = None,
    high: float | None = None,
    open_high: bool = False,
) -> Check:
    if measured is None or promised is None:
        verdict, sentences = "not_read", words.not_measured()
    else:
        above = high is not None and (measured >= high if open_high else measured > high)
        below = low is not None and measured < low
        verdict, sentences = ("not_kept", if_not_kept) if above or below else ("kept", words.as_promised())
    return Check(quantity, verdict, promised, measured, low, high, *sentences, if_not_kept[0])
