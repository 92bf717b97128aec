"""What engineering makes of readings: every indicator for every reading at once, or the reason it cannot be had.

Readings come as a struct of arrays under the house's names, NaN where a quantity was not read. Nothing raises for a
single bad reading: the value is left out and its reason says why. No loop runs over readings.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, fields
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from fleet.engineering import reasons
from fleet.engineering.arrays import BoolArray, FloatArray, Numbers
from fleet.engineering.constants import KILOPASCAL_PER_PSI
from fleet.engineering.errors import EngineeringError
from fleet.engineering.expected_flow import MembraneRating
from fleet.engineering.mass_balance import CLOSURE_LIMIT_FRACTION, feed_brine_factor
from fleet.engineering.normalisation import OperatingPoint, signed_net_driving_pressure_kpa
from fleet.engineering.resin import RESOLUTION_STEPS_NEEDED
from fleet.engineering.temperature_correction import water_tcf
from fleet.engineering.viscosity import water_viscosity_mpa_s

ReasonArray = NDArray[np.uint8]

QUANTITIES: Final = (
    "line_pressure_kpa",
    "prefilter_outlet_pressure_kpa",
    "inlet_pressure_kpa",
    "tank_pressure_kpa",
    "temperature_degc",
    "feed_tds_mg_per_l",
    "permeate_tds_mg_per_l",
    "permeate_tds_at_start_mg_per_l",
    "interstage_tds_mg_per_l",
    "product_tds_mg_per_l",
    "concentrate_tds_mg_per_l",
    "permeate_flow_l_per_day",
    "concentrate_flow_l_per_day",
    "feed_free_chlorine_mg_per_l",
    "feed_total_chlorine_mg_per_l",
    "interstage_chlorine_mg_per_l",
    "carbon_outlet_free_chlorine_mg_per_l",
    "carbon_outlet_total_chlorine_mg_per_l",
    "minutes_since_start",
)
TEXTS: Final = ("state", "tank_valve", "pump")
FLAGS: Final = ("tank_is_full", "sampled_after_flush")
# Named by readings too, but no indicator is made of them here.
_PASSED_OVER: Final = ("feed_ph", "product_ph", "totaliser_l", "occasion", "source")

INDICATORS: Final = (
    "rejection_fraction",
    "salt_passage_fraction",
    "recovery_fraction",
    "waste_ratio",
    "net_driving_pressure_kpa",
    "normalised_permeate_flow_l_per_day",
    "normalised_flow_ratio",
    "normalised_salt_passage_fraction",
    "normalised_salt_passage_ratio",
    "flow_over_expected",
    "prefilter_drop_kpa",
    "normalised_prefilter_drop_kpa",
    "lead_outlet_fraction",
    "product_fraction",
    "carbon_removal_fraction",
    "lead_carbon_removal_fraction",
    "salt_balance_closure_fraction",
    "creep_ratio",
)

_RANGES: Final[Mapping[str, tuple[float, float]]] = {
    "temperature_degc": (1.0, 45.0),
    "line_pressure_kpa": (0.0, 2100.0),
    "prefilter_outlet_pressure_kpa": (0.0, 2100.0),
    "inlet_pressure_kpa": (0.0, 2100.0),
    "tank_pressure_kpa": (0.0, 2100.0),
}
_TDS_RANGE: Final = (0.0, 50000.0)
_ANY_POSITIVE: Final = (0.0, 1.0e9)
_LEAST_CHLORINE_MG_PER_L: Final = 0.1
MINUTES_TO_STEADY: Final = 5.0


@dataclass(frozen=True)
class UnitContext:
    """What must be known about the unit behind each reading: scalars, or arrays of one value a reading.

    Attributes
    ----------
    standard_inlet_pressure_kpa, standard_temperature_degc, standard_feed_tds_mg_per_l,
    standard_permeate_tds_mg_per_l, standard_recovery_fraction : float or ndarray
        The condition normalised values refer to. The default is 60 psi, 25 degC, 300 and 10 mg/L, 0.2; give the unit's
        own baseline condition to stay close to it.
    baseline_normalised_flow_l_per_day, baseline_normalised_salt_passage_fraction : float or ndarray
        Normalised values after running-in, at the same standard; NaN where there is none yet.
    design_recovery_fraction : float or ndarray
        Stands in for the recovery where flows were not read (it moves the driving pressure by very little).
    u_kelvin : float or ndarray
        Temperature coefficient of the membrane; NaN for the default of two slopes.
    rejection_fraction : float or ndarray
        Stands in for the permeate TDS inside the driving pressure where it was not read.
    rated_flow_l_per_day, rated_pressure_kpa, rated_temperature_degc, rated_tds_mg_per_l,
    rated_recovery_fraction : float or ndarray
        The label with its test conditions; NaN where unknown.
    has_pressurised_tank, has_booster_pump : bool or ndarray
        Facts of the unit.
    reference_feed_flow_l_per_day : float or ndarray
        Flow the prefilter drop is brought to; NaN where unknown.
    tds_resolution_mg_per_l : float or ndarray
        Step of the meter.
    """

    standard_inlet_pressure_kpa: Numbers = 60.0 * KILOPASCAL_PER_PSI
    standard_temperature_degc: Numbers = 25.0
    standard_feed_tds_mg_per_l: Numbers = 300.0
    standard_permeate_tds_mg_per_l: Numbers = 10.0
    standard_recovery_fraction: Numbers = 0.2
    baseline_normalised_flow_l_per_day: Numbers = np.nan
    baseline_normalised_salt_passage_fraction: Numbers = np.nan
    design_recovery_fraction: Numbers = 0.2
    u_kelvin: Numbers = np.nan
    rejection_fraction: Numbers = 0.96
    rated_flow_l_per_day: Numbers = np.nan
    rated_pressure_kpa: Numbers = np.nan
    rated_temperature_degc: Numbers = np.nan
    rated_tds_mg_per_l: Numbers = np.nan
    rated_recovery_fraction: Numbers = np.nan
    has_pressurised_tank: bool | BoolArray = False
    has_booster_pump: bool | BoolArray = False
    reference_feed_flow_l_per_day: Numbers = np.nan
    tds_resolution_mg_per_l: Numbers = 1.0

    def standard_point(self) -> OperatingPoint:
        """Return the condition normalised values refer to."""
        return OperatingPoint(
            inlet_pressure_kpa=self.standard_inlet_pressure_kpa,
            feed_tds_mg_per_l=self.standard_feed_tds_mg_per_l,
            permeate_tds_mg_per_l=self.standard_permeate_tds_mg_per_l,
            recovery_fraction=self.standard_recovery_fraction,
            temperature_degc=self.standard_temperature_degc,
        )


@dataclass(frozen=True)
class Indicators:
    """Arrays of indicators, one entry a reading, and why an entry is missing.

    Attributes
    ----------
    values : mapping of str to ndarray
        Indicator name -> values, NaN where there is none. Names are `INDICATORS`.
    reason_numbers : mapping of str to ndarray
        Indicator name -> index into `reasons.CODES`, 0 where the value is there.
    valid_for_trend : ndarray of bool
        Whether the reading may enter a trend of the membrane.
    trend_reason_numbers : ndarray
        Why not, as an index into `reasons.CODES`.
    assumed : mapping of str to ndarray of bool
        What had to be taken from the design instead of the reading, for the driving pressure only.
    """

    values: Mapping[str, FloatArray]
    reason_numbers: Mapping[str, ReasonArray]
    valid_for_trend: BoolArray
    trend_reason_numbers: ReasonArray
    assumed: Mapping[str, BoolArray] = field(default_factory=dict)

    def __len__(self) -> int:
        return int(self.valid_for_trend.size)

    def row(self, index: int) -> tuple[dict[str, float], dict[str, str]]:
        """Return the indicators of one reading and the reason code of each one missing."""
        known: dict[str, float] = {}
        missing: dict[str, str] = {}
        for name, column in self.values.items():
            if np.isnan(column[index]):
                missing[name] = reasons.CODES[self.reason_numbers[name][index]]
            else:
                known[name] = float(column[index])
        return known, missing

    def reason_code(self, name: str, index: int) -> str:
        """Return why an indicator of one reading is missing; empty when it is there."""
        return reasons.CODES[self.reason_numbers[name][index]]

    def trend_reason_code(self, index: int) -> str:
        """Return why a reading may not enter a trend; empty when it may."""
        return reasons.CODES[self.trend_reason_numbers[index]]


def indicators(readings: Mapping[str, Any], context: UnitContext | None = None) -> Indicators:
    """Return every indicator of every reading, with a reason wherever one cannot be had.

    Parameters
    ----------
    readings : mapping of str to array
        Canonical quantity name -> one value a reading, NaN where not read; `state`, `tank_valve` and `pump` as text,
        `tank_is_full` and `sampled_after_flush` as true, false or None (NaN). A name left out was never read.
    context : UnitContext, optional
        What is known about the units; scalars for one unit, arrays for many.

    Returns
    -------
    Indicators
        Arrays in the order of the readings.

    Raises
    ------
    EngineeringError
        An unknown name, columns of different lengths, no column at all. Values never raise.

    Notes
    -----
    Normalisation follows ASTM D4516-19a; salt passage is corrected for pressure and recovery only, so compare it within
    5 degC. The concentrate side is taken at the log mean of feed and brine.

    Examples
    --------
    >>> found = indicators({"feed_tds_mg_per_l": [250.0, 250.0], "permeate_tds_mg_per_l": [10.0, float("nan")]})
    >>> found.values["rejection_fraction"]
    array([0.96,  nan])
    >>> found.reason_code("rejection_fraction", 1)
    'permeate_tds_missing'
    """
    table = _Table(readings)
    unit = context or UnitContext()
    work = _Work(table, unit)
    work.quality()
    work.flows()
    work.driving_pressure()
    work.normalised()
    work.prefilters()
    work.resin()
    work.carbon()
    work.balance()
    return work.finish()


def baseline_of_groups(
    group: Sequence[int] | NDArray[np.int64],
    days_since_fitting: FloatArray,
    values: FloatArray,
    valid: BoolArray,
    *,
    groups: int,
    from_day: float = 1.0,
    to_day: float = 45.0,
    readings: int = 3,
) -> FloatArray:
    """Return the baseline of each membrane: the median of its first valid readings after running-in.

    Parameters
    ----------
    group : sequence of int
        Which membrane each reading belongs to, 0 to `groups` - 1.
    days_since_fitting : ndarray
        Days since that membrane was fitted.
    values : ndarray
        Normalised values, NaN where missing.
    valid : ndarray of bool
        Whether the reading may enter a trend.
    groups : int
        How many membranes.
    from_day, to_day : float
        Running-in is over after the first day at the earliest; later than `to_day` is no baseline.
    readings : int
        How many of the first readings count.

    Returns
    -------
    ndarray
        One value a membrane, NaN where no reading qualifies.

    Raises
    ------
    EngineeringError
        Columns of different lengths, a group outside the range.

    Examples
    --------
    >>> baseline_of_groups([0, 0, 0, 1], np.array([0.1, 5.0, 20.0, 3.0]), np.array([250.0, 200.0, 202.0, np.nan]),
    ...     np.array([True, True, True, True]), groups=2)
    array([201.,  nan])
    """
    owner = np.asarray(group, dtype=np.int64)
    days = np.asarray(days_since_fitting, dtype=np.float64)
    column = np.asarray(values, dtype=np.float64)
    if not owner.shape == days.shape == column.shape == np.shape(valid):
        raise EngineeringError("group", "Group, days, values and validity need one entry a reading each.")
    if owner.size and (owner.min() < 0 or owner.max() >= groups):
        raise EngineeringError("group", f"A group number lies outside 0 to {groups - 1}.")
    usable = np.asarray(valid) & ~np.isnan(column) & (days >= from_day) & (days <= to_day)
    owner, days, column = owner[usable], days[usable], column[usable]
    order = np.lexsort((days, owner))
    owner, column = owner[order], column[order]
    starts = np.searchsorted(owner, np.arange(groups))
    rank = np.arange(owner.size) - starts[owner]
    first = np.full((groups, readings), np.nan)
    early = rank < readings
    first[owner[early], rank[early]] = column[early]
    result = np.full(groups, np.nan)
    some = ~np.all(np.isnan(first), axis=1)
    result[some] = np.nanmedian(first[some], axis=1)
    return result


class _Table:
    """The readings as arrays of one length, whatever was left out filled with missing."""

    def __init__(self, readings: Mapping[str, Any]) -> None:
        known = {*QUANTITIES, *TEXTS, *FLAGS, *_PASSED_OVER}
        for name in readings:
            if name not in known:
                raise EngineeringError(name, f"{name!r} is not a quantity of a reading.")
        lengths = {name: np.atleast_1d(np.asarray(column)).shape[0] for name, column in readings.items()}
        if not lengths:
            raise EngineeringError("readings", "Give at least one column.")
        if len(set(lengths.values())) > 1:
            raise EngineeringError("readings", "All columns need one entry a reading; these lengths differ.")
        self.length = next(iter(lengths.values()))
        self.bad: dict[str, BoolArray] = {}
        self._columns = {name: self._numbers(readings.get(name), name) for name in QUANTITIES}
        self.texts = {name: self._text(readings.get(name)) for name in TEXTS}
        self.flags = {name: self._flag(readings.get(name)) for name in FLAGS}

    def __getitem__(self, name: str) -> FloatArray:
        return self._columns[name]

    def missing(self, name: str) -> BoolArray:
        """True where the quantity was not read."""
        return np.asarray(np.isnan(self._columns[name]) & ~self.bad[name])

    def _numbers(self, column: Any, name: str) -> FloatArray:
        if column is None:
            self.bad[name] = np.zeros(self.length, dtype=bool)
            return np.full(self.length, np.nan)
        try:
            numbers = np.atleast_1d(np.asarray(column, dtype=np.float64)).copy()
        except (TypeError, ValueError):
            raise EngineeringError(name, "Every entry must be a number, or NaN where it was not read.") from None
        low, high = _TDS_RANGE if "tds" in name else _RANGES.get(name, _ANY_POSITIVE)
        self.bad[name] = np.asarray((numbers < low) | (numbers > high))
        numbers[self.bad[name]] = np.nan
        return numbers

    def _text(self, column: Any) -> NDArray[Any]:
        return np.full(self.length, "") if column is None else np.atleast_1d(np.asarray(column)).astype(str)

    def _flag(self, column: Any) -> FloatArray:
        if column is None:
            return np.full(self.length, np.nan)
        return np.atleast_1d(np.asarray(column, dtype=object)).astype(np.float64)


class _Work:
    """One pass over a table; each method adds its indicators."""

    def __init__(self, table: _Table, unit: UnitContext) -> None:
        self.t = table
        self.u = {item.name: self._spread(getattr(unit, item.name), item.name) for item in fields(unit)}
        self.values: dict[str, FloatArray] = {}
        self.numbers: dict[str, ReasonArray] = {}
        self.assumed: dict[str, BoolArray] = {}
        self.static = table.texts["state"] == "static"
        self.unflushed = table.flags["sampled_after_flush"] == 0.0

    def _spread(self, value: Any, name: str) -> Any:
        column = np.asarray(value)
        if column.ndim > 1 or (column.ndim == 1 and column.shape[0] not in (1, self.t.length)):
            raise EngineeringError(name, "Give one value for all readings, or one a reading.")
        return np.broadcast_to(column, (self.t.length,))

    def _add(self, name: str, value: FloatArray, *checks: tuple[BoolArray, str]) -> FloatArray:
        """Store an indicator; where a check is true its reason stands instead, the first check first."""
        number = np.zeros(self.t.length, dtype=np.uint8)
        for mask, code in reversed(checks):
            number[mask] = reasons.NUMBER_OF[code]
        column = np.where(number > 0, np.nan, value)
        # Nothing leaves without a value and without a reason.
        number[np.isnan(column) & (number == 0)] = reasons.NUMBER_OF["out_of_range"]
        self.values[name], self.numbers[name] = column, number
        return column

    def _missing(self, *names: str) -> list[tuple[BoolArray, str]]:
        checks: list[tuple[BoolArray, str]] = []
        for name in names:
            checks.append((self.t.missing(name), _MISSING[name]))
            checks.append((self.t.bad[name], "out_of_range"))
        return checks

    def _inherit(self, name: str) -> list[tuple[BoolArray, str]]:
        number = self.numbers[name]
        return [(number == value, reasons.CODES[value]) for value in np.unique(number) if value]

    def quality(self) -> None:
        feed, permeate = self.t["feed_tds_mg_per_l"], self.t["permeate_tds_mg_per_l"]
        checks = [
            *self._missing("feed_tds_mg_per_l", "permeate_tds_mg_per_l"),
            (self.unflushed, "sample_not_flushed"),
            (feed <= 0.0, "feed_tds_zero"),
            (permeate > feed, "permeate_above_feed"),
        ]
        passage = _divide(permeate, feed)
        self._add("salt_passage_fraction", passage, *checks)
        self._add("rejection_fraction", 1.0 - passage, *checks)
        first = self.t["permeate_tds_at_start_mg_per_l"]
        self._add(
            "creep_ratio",
            _divide(first, permeate),
            *self._missing("permeate_tds_at_start_mg_per_l", "permeate_tds_mg_per_l"),
            (self._below_resolution(permeate), "permeate_below_resolution"),
        )

    def _below_resolution(self, permeate: FloatArray) -> BoolArray:
        return np.asarray(permeate < RESOLUTION_STEPS_NEEDED * self.u["tds_resolution_mg_per_l"])

    def flows(self) -> None:
        permeate, drain = self.t["permeate_flow_l_per_day"], self.t["concentrate_flow_l_per_day"]
        checks = [
            *self._missing("permeate_flow_l_per_day", "concentrate_flow_l_per_day"),
            (self.static, "not_flowing"),
            (permeate + drain <= 0.0, "no_flow"),
        ]
        self._add("recovery_fraction", _divide(permeate, permeate + drain), *checks)
        self._add("waste_ratio", _divide(drain, permeate), *checks, (permeate <= 0.0, "no_permeate_flow"))

    def driving_pressure(self) -> None:
        recovery = self.values["recovery_fraction"]
        stand_in = np.isnan(recovery) | (recovery >= 0.95)
        self.recovery = np.where(stand_in, self.u["design_recovery_fraction"], recovery)
        feed, permeate = self.t["feed_tds_mg_per_l"], self.t["permeate_tds_mg_per_l"]
        usable = ~np.isnan(self.values["salt_passage_fraction"])
        inside = np.where(usable, permeate, feed * (1.0 - self.u["rejection_fraction"]))
        inlet, outlet = self.t["inlet_pressure_kpa"], self.t["prefilter_outlet_pressure_kpa"]
        from_outlet = np.isnan(inlet) & ~np.isnan(outlet) & ~self.u["has_booster_pump"].astype(bool)
        self.inlet = np.where(from_outlet, outlet, inlet)
        tank, valve = self.t["tank_pressure_kpa"], self.t.texts["tank_valve"]
        connected = self.u["has_pressurised_tank"].astype(bool) & (valve != "closed")
        self.back = np.where(connected, tank, 0.0)
        point = OperatingPoint(
            inlet_pressure_kpa=self.inlet,
            feed_tds_mg_per_l=feed,
            permeate_tds_mg_per_l=inside,
            recovery_fraction=_inside(self.recovery, 0.0, 0.95),
            temperature_degc=self.t["temperature_degc"],
            permeate_pressure_kpa=self.back,
        )
        pressure = np.asarray(signed_net_driving_pressure_kpa(_held_below(point)))
        self.assumed = {"recovery": stand_in, "permeate_tds": ~usable, "inlet_pressure": from_outlet}
        self._add(
            "net_driving_pressure_kpa",
            pressure,
            (self.static, "not_flowing"),
            (np.isnan(self.inlet) & ~self.t.bad["inlet_pressure_kpa"], "inlet_pressure_missing"),
            *self._missing("feed_tds_mg_per_l", "temperature_degc"),
            (connected & np.isnan(tank), "tank_pressure_missing"),
            (pressure <= 0.0, "no_driving_pressure"),
        )

    def normalised(self) -> None:
        ndp = self.values["net_driving_pressure_kpa"]
        standard = OperatingPoint(
            inlet_pressure_kpa=self.u["standard_inlet_pressure_kpa"],
            feed_tds_mg_per_l=self.u["standard_feed_tds_mg_per_l"],
            permeate_tds_mg_per_l=self.u["standard_permeate_tds_mg_per_l"],
            recovery_fraction=self.u["standard_recovery_fraction"],
            temperature_degc=self.u["standard_temperature_degc"],
        )
        ndp_standard = np.asarray(signed_net_driving_pressure_kpa(standard))
        tcf = np.asarray(water_tcf(self.t["temperature_degc"], u_kelvin=self.u["u_kelvin"]))
        tcf_standard = np.asarray(water_tcf(self.u["standard_temperature_degc"], u_kelvin=self.u["u_kelvin"]))
        flow = self.t["permeate_flow_l_per_day"]
        pressure_checks = self._inherit("net_driving_pressure_kpa")
        normalised = self._add(
            "normalised_permeate_flow_l_per_day",
            flow * _divide(ndp_standard, ndp) * tcf_standard / tcf,
            *self._missing("permeate_flow_l_per_day"),
            *pressure_checks,
            (ndp_standard <= 0.0, "no_driving_pressure"),
        )
        baseline = self.u["baseline_normalised_flow_l_per_day"]
        no_baseline = np.isnan(baseline) | (baseline <= 0.0)
        self._add(
            "normalised_flow_ratio",
            _divide(normalised, baseline),
            *self._inherit("normalised_permeate_flow_l_per_day"),
            (no_baseline, "baseline_missing"),
        )
        brines = np.asarray(feed_brine_factor(_inside(self.u["standard_recovery_fraction"], 0.0, 0.95))) / np.asarray(
            feed_brine_factor(_inside(self.recovery, 0.0, 0.95))
        )
        passage = self._add(
            "normalised_salt_passage_fraction",
            self.values["salt_passage_fraction"] * _divide(ndp, ndp_standard) * brines,
            *self._inherit("salt_passage_fraction"),
            *pressure_checks,
            (ndp_standard <= 0.0, "no_driving_pressure"),
        )
        baseline = self.u["baseline_normalised_salt_passage_fraction"]
        self._add(
            "normalised_salt_passage_ratio",
            _divide(passage, baseline),
            *self._inherit("normalised_salt_passage_fraction"),
            (np.isnan(baseline) | (baseline <= 0.0), "baseline_missing"),
        )
        self._expected(flow)

    def _expected(self, flow: FloatArray) -> None:
        """Compare with the label: `expected_permeate_flow_l_per_day`, but with the permeate TDS as it was read."""
        label = MembraneRating(
            flow_l_per_day=self.u["rated_flow_l_per_day"],
            pressure_kpa=self.u["rated_pressure_kpa"],
            temperature_degc=self.u["rated_temperature_degc"],
            tds_mg_per_l=self.u["rated_tds_mg_per_l"],
            recovery_fraction=self.u["rated_recovery_fraction"],
            rejection_fraction=self.u["rejection_fraction"],
            u_kelvin=self.u["u_kelvin"],
        )
        rated_pressure = np.asarray(signed_net_driving_pressure_kpa(label.point()))
        # A label that could not give water at its own test condition is no rating; it must not stop the rest.
        unknown = ~((rated_pressure > 0.0) & (label.flow_l_per_day > 0.0))
        tcf = np.asarray(water_tcf(self.t["temperature_degc"], u_kelvin=label.u_kelvin))
        rated_tcf = np.asarray(water_tcf(label.temperature_degc, u_kelvin=label.u_kelvin))
        share = _divide(self.values["net_driving_pressure_kpa"], rated_pressure)
        self._add(
            "flow_over_expected",
            _divide(flow, label.flow_l_per_day * share * tcf / rated_tcf),
            *self._missing("permeate_flow_l_per_day"),
            *self._inherit("net_driving_pressure_kpa"),
            (unknown, "rating_missing"),
        )

    def prefilters(self) -> None:
        line, outlet = self.t["line_pressure_kpa"], self.t["prefilter_outlet_pressure_kpa"]
        inlet, pumped = self.t["inlet_pressure_kpa"], self.u["has_booster_pump"].astype(bool)
        after = np.where(np.isnan(outlet) & ~pumped, inlet, outlet)
        only_behind_pump = np.isnan(outlet) & pumped & ~np.isnan(inlet)
        drop = self._add(
            "prefilter_drop_kpa",
            line - after,
            (self.static, "not_flowing"),
            *self._missing("line_pressure_kpa"),
            (self.t.bad["prefilter_outlet_pressure_kpa"], "out_of_range"),
            (only_behind_pump, "pump_in_between"),
            (np.isnan(after), "prefilter_outlet_missing"),
            (after > line, "outlet_above_inlet"),
        )
        permeate, drain = self.t["permeate_flow_l_per_day"], self.t["concentrate_flow_l_per_day"]
        # One flow and the design recovery give the other: the drop only needs the sum to a few per cent.
        design = self.u["design_recovery_fraction"]
        feed = np.where(np.isnan(drain), _divide(permeate, design), permeate + drain)
        feed = np.where(np.isnan(permeate), _divide(drain, 1.0 - design), feed)
        reference = self.u["reference_feed_flow_l_per_day"]
        viscosities = water_viscosity_mpa_s(25.0) / np.asarray(water_viscosity_mpa_s(self.t["temperature_degc"]))
        self._add(
            "normalised_prefilter_drop_kpa",
            drop * _divide(reference, feed) * viscosities,
            *self._inherit("prefilter_drop_kpa"),
            (np.isnan(feed), "permeate_flow_missing"),
            (feed <= 0.0, "no_flow"),
            *self._missing("temperature_degc"),
            (np.isnan(reference) | (reference <= 0.0), "reference_flow_missing"),
        )

    def resin(self) -> None:
        permeate = self.t["permeate_tds_mg_per_l"]
        for name, column in (
            ("lead_outlet_fraction", "interstage_tds_mg_per_l"),
            ("product_fraction", "product_tds_mg_per_l"),
        ):
            self._add(
                name,
                _divide(self.t[column], permeate),
                *self._missing(column, "permeate_tds_mg_per_l"),
                (self.unflushed, "sample_not_flushed"),
                (self._below_resolution(permeate), "permeate_below_resolution"),
            )

    def carbon(self) -> None:
        total, free = self.t["feed_total_chlorine_mg_per_l"], self.t["feed_free_chlorine_mg_per_l"]
        total_after = self.t["carbon_outlet_total_chlorine_mg_per_l"]
        free_after = self.t["carbon_outlet_free_chlorine_mg_per_l"]
        # Total against total where both were tested; free against free only where that is all there is.
        both_total = ~np.isnan(total) & ~np.isnan(total_after)
        before = np.where(both_total, total, np.where(np.isnan(free), total, free))
        after = np.where(both_total, total_after, np.where(np.isnan(free_after), total_after, free_after))
        self._removal("carbon_removal_fraction", before, after)
        self._removal(
            "lead_carbon_removal_fraction",
            np.where(np.isnan(total), free, total),
            self.t["interstage_chlorine_mg_per_l"],
        )

    def _removal(self, name: str, before: FloatArray, after: FloatArray) -> None:
        self._add(
            name,
            1.0 - _divide(after, before),
            (np.isnan(before), "chlorine_before_missing"),
            (np.isnan(after), "chlorine_after_missing"),
            (before < _LEAST_CHLORINE_MG_PER_L, "no_chlorine_before"),
            (after > before, "chlorine_after_above_before"),
        )

    def balance(self) -> None:
        permeate, drain = self.t["permeate_flow_l_per_day"], self.t["concentrate_flow_l_per_day"]
        entering = (permeate + drain) * self.t["feed_tds_mg_per_l"]
        leaving = permeate * self.t["permeate_tds_mg_per_l"] + drain * self.t["concentrate_tds_mg_per_l"]
        self._add(
            "salt_balance_closure_fraction",
            _divide(leaving - entering, entering),
            *self._missing(
                "permeate_flow_l_per_day",
                "concentrate_flow_l_per_day",
                "feed_tds_mg_per_l",
                "permeate_tds_mg_per_l",
                "concentrate_tds_mg_per_l",
            ),
            (self.static, "not_flowing"),
            (permeate + drain <= 0.0, "no_flow"),
            (self.t["feed_tds_mg_per_l"] <= 0.0, "feed_tds_zero"),
        )

    def finish(self) -> Indicators:
        tank = self.u["has_pressurised_tank"].astype(bool)
        valve, pressure = self.t.texts["tank_valve"], self.t["tank_pressure_kpa"]
        closure = self.values["salt_balance_closure_fraction"]
        number = np.zeros(self.t.length, dtype=np.uint8)
        checks: list[tuple[BoolArray, str]] = [
            (self.static, "not_flowing"),
            (self.t["minutes_since_start"] < MINUTES_TO_STEADY, "too_soon_after_start"),
            (self.unflushed, "sample_not_flushed"),
            (tank & (valve != "closed") & np.isnan(pressure), "tank_state_unknown"),
            (self.numbers["salt_passage_fraction"] == reasons.NUMBER_OF["permeate_above_feed"], "permeate_above_feed"),
            (np.abs(closure) > CLOSURE_LIMIT_FRACTION, "salt_balance_open"),
        ]
        for mask, code in reversed(checks):
            number[mask] = reasons.NUMBER_OF[code]
        return Indicators(
            values={name: self.values[name] for name in INDICATORS},
            reason_numbers={name: self.numbers[name] for name in INDICATORS},
            valid_for_trend=number == 0,
            trend_reason_numbers=number,
            assumed=self.assumed,
        )


def _divide(top: FloatArray, bottom: FloatArray) -> FloatArray:
    with np.errstate(divide="ignore", invalid="ignore"):
        quotient = np.asarray(top) / np.asarray(bottom)
    return np.where(np.isfinite(quotient), quotient, np.nan)


def _inside(column: FloatArray, low: float, high: float) -> FloatArray:
    """Return the column with whatever lies outside the range of a formula left out."""
    return np.where((column >= low) & (column <= high), column, np.nan)


def _held_below(point: OperatingPoint) -> OperatingPoint:
    """Leave out feeds whose mean brine would pass the range of the osmotic expression, instead of raising for all."""
    feed = np.asarray(point.feed_tds_mg_per_l)
    brine = feed * np.asarray(feed_brine_factor(point.recovery_fraction))
    return OperatingPoint(
        inlet_pressure_kpa=point.inlet_pressure_kpa,
        feed_tds_mg_per_l=np.where(brine <= _TDS_RANGE[1], feed, np.nan),
        permeate_tds_mg_per_l=point.permeate_tds_mg_per_l,
        recovery_fraction=point.recovery_fraction,
        temperature_degc=point.temperature_degc,
        feed_brine_drop_kpa=point.feed_brine_drop_kpa,
        permeate_pressure_kpa=point.permeate_pressure_kpa,
    )


_MISSING: Final[Mapping[str, str]] = {
    "feed_tds_mg_per_l": "feed_tds_missing",
    "permeate_tds_mg_per_l": "permeate_tds_missing",
    "permeate_tds_at_start_mg_per_l": "start_tds_missing",
    "interstage_tds_mg_per_l": "interstage_tds_missing",
    "product_tds_mg_per_l": "product_tds_missing",
    "concentrate_tds_mg_per_l": "concentrate_tds_missing",
    "permeate_flow_l_per_day": "permeate_flow_missing",
    "concentrate_flow_l_per_day": "concentrate_flow_missing",
    "line_pressure_kpa": "line_pressure_missing",
    "temperature_degc": "temperature_missing",
}
