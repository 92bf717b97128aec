"""What counts as exhausted at a unit: one object, read by whoever judges, forecasts, sizes or tells.

The house has a limit for everything (`HOUSE`). A company may be stricter, for all its units or for one use of the
water, and a unit may be: the tightest holds. Only the product TDS of the house gives way to what a unit's use asks for:
a planted aquarium that allows 30 mg/L needs no water of 1 mg/L. `fleet.services.limits` makes the object of a unit, and
of many at once.

Two limits depend on the day they are looked at: a lead is exhausted at a share of what enters it, so its limit in mg/L
moves with the permeate, or the chlorine, of that day.
"""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, fields, replace
from typing import Any, Final, Generic, TypeVar

import numpy as np
from numpy.typing import NDArray

from fleet.engineering.stages import FINISHING, HOURS_PER_DAY

Value = TypeVar("Value")


@dataclass(frozen=True)
class Limits(Generic[Value]):
    """Limits of exhaustion of one unit (floats), or of many (arrays with one value a unit).

    Attributes
    ----------
    product_tds_mg_per_l
        Product TDS above which single or lag resin is exhausted; without resin what the use allows.
    lead_resin_fraction
        Outlet over permeate TDS at which a lead resin is exhausted.
    chlorine_mg_per_l
        Chlorine after the last carbon at which it is exhausted: free, or total on chloraminated water.
    lead_carbon_fraction
        Share of its feed chlorine at which a lead carbon is exhausted.
    carbon_maximum_service_time_days
        Days since first installed after which carbon leaves whatever it shows (biological growth). The label of an item
        may say otherwise, for any stage; see `maximum_service_time_days`.
    membrane_flow_fraction
        Normalised permeate flow over the membrane's own run-in value below which it is exhausted.
    minimum_rejection_fraction
        Normalised rejection below which the membrane no longer serves.
    prefilter_differential_pressure_kpa, prefilter_outlet_fraction, prefilter_margin_kpa, prefilter_margin_from_kpa,
    prefilter_least_kpa
        See `prefilter_limit_kpa`.
    prefilter_series_fraction
        Share of that limit for each of two sediment filters in series.
    """

    product_tds_mg_per_l: Value
    lead_resin_fraction: Value
    chlorine_mg_per_l: Value
    lead_carbon_fraction: Value
    carbon_maximum_service_time_days: Value
    membrane_flow_fraction: Value
    minimum_rejection_fraction: Value
    prefilter_differential_pressure_kpa: Value
    prefilter_outlet_fraction: Value
    prefilter_margin_kpa: Value
    prefilter_margin_from_kpa: Value
    prefilter_least_kpa: Value
    prefilter_series_fraction: Value

    def prefilter_limit_kpa(self, outlet_kpa: Any) -> Any:
        """Return the differential pressure over one sediment filter past which it is exhausted, kPa.

        The smallest of `prefilter_differential_pressure_kpa`, `prefilter_outlet_fraction` of the outlet pressure and,
        where that is above `prefilter_margin_from_kpa`, its margin over `prefilter_margin_kpa`; `prefilter_least_kpa`
        at least.

        Parameters
        ----------
        outlet_kpa : float or ndarray
            Pressure behind the filter, gauge; NaN where it is not known: `prefilter_differential_pressure_kpa` alone.

        Returns
        -------
        float or ndarray
            As `outlet_kpa`.

        Examples
        --------
        >>> float(HOUSE.prefilter_limit_kpa(300.0)), round(float(HOUSE.prefilter_limit_kpa(390.0)), 2)
        (45.0, 45.26)
        >>> float(HOUSE.prefilter_limit_kpa(600.0)), float(HOUSE.prefilter_limit_kpa(np.nan))
        (68.95, 68.95)
        """
        own: Limits[Any] = self
        limit = np.fmin(own.prefilter_differential_pressure_kpa, own.prefilter_outlet_fraction * outlet_kpa)
        over = outlet_kpa > own.prefilter_margin_from_kpa
        limit = np.where(over, np.fmin(limit, outlet_kpa - own.prefilter_margin_kpa), limit)
        return np.maximum(limit, own.prefilter_least_kpa)

    def take(self, units: Any) -> "Limits[Any]":
        """Return the limits of these units, of limits of many: an index or an array of them."""
        return Limits(**{field.name: getattr(self, field.name)[units] for field in fields(self)})


HOUSE: Final[Limits[float]] = Limits(
    product_tds_mg_per_l=1.0,  # one step of the usual meter; common practice, no source
    lead_resin_fraction=0.95,  # common practice, no source
    chlorine_mg_per_l=0.1,  # total chlorine: dialysis practice, from memory
    lead_carbon_fraction=0.5,  # common practice, no source
    carbon_maximum_service_time_days=365.0,  # common practice, no source
    membrane_flow_fraction=0.85,  # 10 to 15 % lost: membrane makers' cleaning advice, from memory
    minimum_rejection_fraction=0.90,  # common practice, no source
    prefilter_differential_pressure_kpa=68.95,  # 10 psi; this and its like: common practice, no source
    prefilter_outlet_fraction=0.15,
    prefilter_margin_kpa=344.74,  # 50 psi
    prefilter_margin_from_kpa=379.21,  # 55 psi
    prefilter_least_kpa=27.58,  # 4 psi
    prefilter_series_fraction=0.6,
)
"""What holds where nobody is stricter."""

USUAL_SERVICE_TIME_DAYS: Final[Mapping[str, float]] = {
    "sediment": 182.6,
    "carbon": HOUSE.carbon_maximum_service_time_days,
    "membrane": 1095.0,
    "resin": 182.6,
    **{
        stage: min(
            finishing.maximum_service_time_days,
            finishing.usual_label / HOURS_PER_DAY if finishing.load == "burning_h" else float("inf"),
        )
        for stage, finishing in FINISHING.items()
    },
}
"""How often cartridges are replaced by the calendar, by stage: what sizing reckons with where a label says nothing, and
the habit that forecasts are measured against. No limits, but for carbon. Common practice, no source."""

_HIGHER_IS_STRICTER: Final = frozenset({"minimum_rejection_fraction", "membrane_flow_fraction"})

_EXHAUSTED_AT: Final = frozenset(
    {"lead_resin_fraction", "chlorine_mg_per_l", "lead_carbon_fraction", "membrane_flow_fraction"}
)
"""Limits that belong to what is exhausted; a value at any other limit is still within it."""


def tightest(stated: Iterable[Mapping[str, float | None]], *, has_resin: bool = True) -> Limits[float]:
    """Return the limits of a unit: the tightest of the house's and of all that was stated.

    The product TDS of the house holds only where nobody states one.

    Parameters
    ----------
    stated : iterable of mapping
        Field of `Limits` -> its value, None or absent where nothing was stated: of the company, of a use, of the unit.
    has_resin : bool
        Whether the unit has resin. Without it the house has no limit for the product TDS either, and it is infinite
        when nobody states one.

    Returns
    -------
    Limits
        Of one unit.

    Raises
    ------
    AttributeError
        When a field is named that `Limits` does not have.

    Examples
    --------
    >>> tightest([{"product_tds_mg_per_l": 30.0}, {"lead_resin_fraction": 0.5}]).lead_resin_fraction
    0.5
    >>> tightest([{"product_tds_mg_per_l": 30.0}]).product_tds_mg_per_l
    30.0
    >>> tightest([{"product_tds_mg_per_l": 2.0}, {"product_tds_mg_per_l": 30.0}]).product_tds_mg_per_l
    2.0
    >>> tightest([]).product_tds_mg_per_l, tightest([], has_resin=False).product_tds_mg_per_l
    (1.0, inf)
    """
    sources = list(stated)
    is_stated = any(source.get("product_tds_mg_per_l") is not None for source in sources)
    limits = HOUSE if has_resin and not is_stated else replace(HOUSE, product_tds_mg_per_l=float("inf"))
    for source in sources:
        changes = {
            name: stricter(name, value, getattr(limits, name)) for name, value in source.items() if value is not None
        }
        limits = replace(limits, **changes)
    return limits


def stricter(name: str, one: Any, other: Any) -> Any:
    """Return the stricter of two values of a limit.

    Parameters
    ----------
    name : str
        Field of `Limits`.
    one, other : float or ndarray
        Its values, in the unit that the name says.

    Returns
    -------
    float or ndarray
        The higher one where more is stricter (rejection, flow of a membrane), else the lower one.

    Raises
    ------
    ValueError
        When the arrays do not broadcast.

    Examples
    --------
    >>> float(stricter("product_tds_mg_per_l", 0.5, 1.0)), float(stricter("membrane_flow_fraction", 0.9, 0.85))
    (0.5, 0.9)
    """
    both = np.maximum(one, other) if name in _HIGHER_IS_STRICTER else np.minimum(one, other)
    return float(both) if both.ndim == 0 else both


def is_exhausted_at(name: str) -> bool:
    """Return whether a value exactly at this limit counts as exhausted.

    Parameters
    ----------
    name : str
        Field of `Limits`.

    Returns
    -------
    bool
        False where only what is past the limit does.

    Raises
    ------
    EngineeringError
        Not here.

    Examples
    --------
    >>> is_exhausted_at("chlorine_mg_per_l"), is_exhausted_at("product_tds_mg_per_l")
    (True, False)
    """
    return name in _EXHAUSTED_AT


def is_exhausted(name: str, value: Any, limit: Any) -> Any:
    """Return whether a value counts as exhausted by a limit.

    Parameters
    ----------
    name : str
        Field of `Limits`.
    value, limit : float or ndarray
        What was read and the limit of the unit, in the unit that the name says.

    Returns
    -------
    bool or ndarray
        False where either is NaN.

    Raises
    ------
    ValueError
        When the arrays do not broadcast.

    Examples
    --------
    >>> is_exhausted("chlorine_mg_per_l", 0.1, 0.1), is_exhausted("product_tds_mg_per_l", 1.0, 1.0)
    (True, False)
    >>> is_exhausted("minimum_rejection_fraction", 0.89, 0.9)
    True
    """
    past = value < limit if name in _HIGHER_IS_STRICTER else value > limit
    return (past | (value == limit)) if is_exhausted_at(name) else past


def stacked(limits: Sequence[Limits[float]]) -> Limits[NDArray[np.floating[Any]]]:
    """Return the limits of many units as arrays, in their order.

    Examples
    --------
    >>> stacked([HOUSE, HOUSE]).carbon_maximum_service_time_days.tolist()
    [365.0, 365.0]
    """
    names = [field.name for field in fields(Limits)]
    return Limits(**{name: np.array([getattr(one, name) for one in limits], dtype=np.float64) for name in names})


def maximum_service_time_days(label_days: Any, limit_days: Any) -> Any:
    """Return the days from first installation after which a cartridge leaves whatever it shows.

    Parameters
    ----------
    label_days : float or ndarray
        What its label says; NaN where it says nothing.
    limit_days : float or ndarray
        `carbon_maximum_service_time_days` of the unit; infinite for a stage without such a limit. A label may exceed
        the limit of the house, and never a stricter one.

    Returns
    -------
    float or ndarray
        Days.

    Raises
    ------
    ValueError
        When the arrays do not broadcast.

    Examples
    --------
    >>> cases = (np.nan, 365.0), (500.0, 365.0), (500.0, 200.0)
    >>> [float(maximum_service_time_days(label, limit)) for label, limit in cases]
    [365.0, 500.0, 200.0]
    """
    stated = np.where(np.asarray(limit_days) < HOUSE.carbon_maximum_service_time_days, limit_days, np.inf)
    return np.where(np.isfinite(label_days), np.minimum(label_days, stated), limit_days)
