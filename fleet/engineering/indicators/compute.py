"""Every indicator from one pass over the columns, each with the reason where it cannot be had."""

from collections.abc import Callable, Mapping
from dataclasses import fields, replace
from functools import partial
from typing import Any, Final

import numpy as np

from fleet.engineering.arrays import BoolArray, FloatArray
from fleet.engineering.errors import EngineeringError
from fleet.engineering.formulas.carbon import chlorine_removal_fraction
from fleet.engineering.formulas.expected_flow import MembraneRating, permeate_flow_under_l_per_day
from fleet.engineering.formulas.mass_balance import (
    CLOSURE_LIMIT_FRACTION,
    feed_brine_factor,
    recovery_fraction,
    salt_balance_closure_fraction,
    waste_ratio,
)
from fleet.engineering.formulas.normalisation import (
    OperatingPoint,
    normalised_permeate_flow_l_per_day,
    normalised_salt_passage_fraction,
    rejection_fraction,
    salt_passage_fraction,
    signed_net_driving_pressure_kpa,
)
from fleet.engineering.formulas.osmotic_pressure import HIGHEST_TDS_MG_PER_L
from fleet.engineering.formulas.resin import RESOLUTION_STEPS_NEEDED, exhausted_fraction_by_tds
from fleet.engineering.formulas.sediment import normalised_differential_pressure
from fleet.engineering.formulas.temperature_correction import water_tcf
from fleet.engineering.indicators import reasons
from fleet.engineering.indicators.context import UnitContext
from fleet.engineering.indicators.result import INDICATORS, Indicators, ReasonArray
from fleet.engineering.indicators.table import Table
from fleet.engineering.quantities import SETTLING_MINUTES

_LEAST_CHLORINE_MG_PER_L: Final = 0.1
# The reason where an indicator needs what was not read; no indicator rests on the other quantities alone.
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
# What of a unit lies outside these cannot be used; it is left out like anything not known, and stops nothing else.
_CONTEXT_RANGES: Final[Mapping[str, tuple[float, float]]] = {
    "standard_inlet_pressure_kpa": (0.0, 10000.0),
    "standard_temperature_degc": (1.0, 45.0),
    "standard_feed_tds_mg_per_l": (0.0, 10000.0),
    "standard_permeate_tds_mg_per_l": (0.0, 10000.0),
    "standard_recovery_fraction": (0.0, 0.95),
    "design_recovery_fraction": (0.01, 0.95),
    "u_kelvin": (500.0, 10000.0),
    "rejection_fraction": (0.0, 1.0),
    "rated_flow_l_per_day": (0.0, 1.0e6),
    "rated_pressure_kpa": (0.0, 10000.0),
    "rated_temperature_degc": (1.0, 45.0),
    "rated_tds_mg_per_l": (0.0, 10000.0),
    "rated_recovery_fraction": (0.0, 0.95),
    "tds_resolution_mg_per_l": (0.0, 1000.0),
}


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
    >>> result = indicators({"feed_tds_mg_per_l": [250.0, 250.0], "permeate_tds_mg_per_l": [10.0, float("nan")]})
    >>> result.values["rejection_fraction"]
    array([0.96,  nan])
    >>> result.reason_code("rejection_fraction", 1)
    'permeate_tds_missing'
    """
    table = Table(readings)
    unit = context or UnitContext()
    work = _Calculation(table, unit)
    work.quality()
    work.flows()
    work.driving_pressure()
    work.normalised()
    work.prefilters()
    work.resin()
    work.carbon()
    work.balance()
    return work.finish()


class _Calculation:
    """One pass over a table; each method adds its indicators."""

    def __init__(self, table: Table, unit: UnitContext) -> None:
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
        if name in _CONTEXT_RANGES:
            column = _inside(column.astype(np.float64), *_CONTEXT_RANGES[name])
        # What is the same for all readings stays one number: the formulas need not work it out for each.
        return np.atleast_1d(column)

    def _add(
        self, name: str, formula: Callable[[FloatArray], Any], argument: FloatArray, *checks: tuple[BoolArray, str]
    ) -> FloatArray:
        """Store an indicator; where a check is true its reason stands instead, the first check first.

        A formula refuses what a check has found, so it is given `argument` of the other readings only.
        """
        number = np.zeros(self.t.length, dtype=np.uint8)
        for mask, code in reversed(checks):
            number[np.broadcast_to(mask, number.shape)] = reasons.NUMBER_OF[code]
        barred = number > 0
        with np.errstate(over="ignore", invalid="ignore"):
            column = np.array(formula(np.where(barred, np.nan, argument)), dtype=np.float64, copy=None)
        column[~np.isfinite(column)] = np.nan
        # Nothing leaves without a value and without a reason.
        number[np.isnan(column) & ~barred] = reasons.NUMBER_OF["out_of_range"]
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
        return [(number == value, reasons.CODES[value]) for value in np.flatnonzero(np.bincount(number)) if value]

    def quality(self) -> None:
        feed, permeate = self.t["feed_tds_mg_per_l"], self.t["permeate_tds_mg_per_l"]
        checks = [
            *self._missing("feed_tds_mg_per_l", "permeate_tds_mg_per_l"),
            (self.unflushed, "sample_not_flushed"),
            (feed <= 0.0, "feed_tds_zero"),
            (permeate > feed, "permeate_above_feed"),
        ]
        passage = self._add(
            "salt_passage_fraction", lambda usable: salt_passage_fraction(usable, permeate), feed, *checks
        )
        self._add("rejection_fraction", rejection_fraction, passage, *self._inherit("salt_passage_fraction"))
        first = self.t["permeate_tds_at_start_mg_per_l"]
        self._add(
            "creep_ratio",
            lambda usable: _divide(usable, permeate),
            first,
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
        recovery = self._add("recovery_fraction", lambda usable: recovery_fraction(usable, drain), permeate, *checks)
        self._add("waste_ratio", waste_ratio, recovery, *checks, (permeate <= 0.0, "no_permeate_flow"))

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
            np.asarray,
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
        usable_standard = np.where(ndp_standard > 0.0, ndp_standard, np.nan)
        tcf = np.asarray(water_tcf(self.t["temperature_degc"], u_kelvin=self.u["u_kelvin"]))
        tcf_standard = np.asarray(water_tcf(self.u["standard_temperature_degc"], u_kelvin=self.u["u_kelvin"]))
        flow = self.t["permeate_flow_l_per_day"]
        pressure_checks = self._inherit("net_driving_pressure_kpa")
        normalised = self._add(
            "normalised_permeate_flow_l_per_day",
            lambda usable: normalised_permeate_flow_l_per_day(
                usable,
                net_driving_pressure_kpa=ndp,
                standard_net_driving_pressure_kpa=usable_standard,
                tcf=tcf,
                standard_tcf=tcf_standard,
            ),
            flow,
            *self._missing("permeate_flow_l_per_day"),
            *pressure_checks,
            (ndp_standard <= 0.0, "no_driving_pressure"),
        )
        baseline = self.u["baseline_normalised_flow_l_per_day"]
        no_baseline = np.isnan(baseline) | (baseline <= 0.0)
        self._add(
            "normalised_flow_ratio",
            lambda usable: _divide(usable, baseline),
            normalised,
            *self._inherit("normalised_permeate_flow_l_per_day"),
            (no_baseline, "baseline_missing"),
        )
        recovery, standard_recovery = (
            _inside(self.recovery, 0.0, 0.95),
            _inside(self.u["standard_recovery_fraction"], 0.0, 0.95),
        )
        passage = self._add(
            "normalised_salt_passage_fraction",
            lambda usable: normalised_salt_passage_fraction(
                usable,
                net_driving_pressure_kpa=ndp,
                standard_net_driving_pressure_kpa=usable_standard,
                recovery_fraction=recovery,
                standard_recovery_fraction=standard_recovery,
            ),
            self.values["salt_passage_fraction"],
            *self._inherit("salt_passage_fraction"),
            *pressure_checks,
            (ndp_standard <= 0.0, "no_driving_pressure"),
        )
        baseline = self.u["baseline_normalised_salt_passage_fraction"]
        self._add(
            "normalised_salt_passage_ratio",
            lambda usable: _divide(usable, baseline),
            passage,
            *self._inherit("normalised_salt_passage_fraction"),
            (np.isnan(baseline) | (baseline <= 0.0), "baseline_missing"),
        )
        self._expected(flow)

    def _expected(self, flow: FloatArray) -> None:
        """Compare with what the label promises under the driving pressure that the readings show."""
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
        expected = permeate_flow_under_l_per_day(
            replace(label, flow_l_per_day=np.where(unknown, np.nan, label.flow_l_per_day)),
            driving_pressure_kpa=self.values["net_driving_pressure_kpa"],
            rated_driving_pressure_kpa=np.where(unknown, np.nan, rated_pressure),
            temperature_degc=self.t["temperature_degc"],
        )
        self._add(
            "flow_over_expected",
            lambda usable: _divide(usable, expected),
            flow,
            *self._missing("permeate_flow_l_per_day"),
            *self._inherit("net_driving_pressure_kpa"),
            (unknown, "rating_missing"),
        )

    def prefilters(self) -> None:
        line, outlet = self.t["line_pressure_kpa"], self.t["prefilter_outlet_pressure_kpa"]
        inlet, pumped = self.t["inlet_pressure_kpa"], self.u["has_booster_pump"].astype(bool)
        after = np.where(np.isnan(outlet) & ~pumped, inlet, outlet)
        only_behind_pump = np.isnan(outlet) & pumped & ~np.isnan(inlet)
        differential_pressure = self._add(
            "prefilter_differential_pressure_kpa",
            lambda usable: usable - after,
            line,
            (self.static, "not_flowing"),
            *self._missing("line_pressure_kpa"),
            (self.t.bad["prefilter_outlet_pressure_kpa"], "out_of_range"),
            (only_behind_pump, "pump_in_between"),
            (np.isnan(after), "prefilter_outlet_missing"),
            (after > line, "outlet_above_inlet"),
        )
        permeate, drain = self.t["permeate_flow_l_per_day"], self.t["concentrate_flow_l_per_day"]
        # One flow and the design recovery give the other: the differential only needs the sum to a few per cent.
        design = self.u["design_recovery_fraction"]
        feed = np.where(np.isnan(drain), _divide(permeate, design), permeate + drain)
        feed = np.where(np.isnan(permeate), _divide(drain, 1.0 - design), feed)
        reference = self.u["reference_feed_flow_l_per_day"]
        usable_reference, temperature = np.where(reference > 0.0, reference, np.nan), self.t["temperature_degc"]
        self._add(
            "normalised_prefilter_differential_pressure_kpa",
            lambda usable: normalised_differential_pressure(
                differential_pressure, flow=usable, reference_flow=usable_reference, temperature_degc=temperature
            ),
            feed,
            *self._inherit("prefilter_differential_pressure_kpa"),
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
                partial(
                    exhausted_fraction_by_tds,
                    outlet_tds_mg_per_l=self.t[column],
                    resolution_mg_per_l=self.u["tds_resolution_mg_per_l"],
                ),
                permeate,
                *self._missing(column, "permeate_tds_mg_per_l"),
                (self.unflushed, "sample_not_flushed"),
                (self._below_resolution(permeate), "permeate_below_resolution"),
                (permeate <= 0.0, "out_of_range"),
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
            lambda usable: chlorine_removal_fraction(usable, after),
            before,
            (np.isnan(before), "chlorine_before_missing"),
            (np.isnan(after), "chlorine_after_missing"),
            (before < _LEAST_CHLORINE_MG_PER_L, "no_chlorine_before"),
            (after > before, "chlorine_after_above_before"),
        )

    def balance(self) -> None:
        permeate, drain = self.t["permeate_flow_l_per_day"], self.t["concentrate_flow_l_per_day"]
        feed_tds = self.t["feed_tds_mg_per_l"]
        self._add(
            "salt_balance_closure_fraction",
            lambda usable: salt_balance_closure_fraction(
                feed_flow=usable,
                feed_tds_mg_per_l=np.where(feed_tds > 0.0, feed_tds, np.nan),
                permeate_flow=permeate,
                permeate_tds_mg_per_l=self.t["permeate_tds_mg_per_l"],
                concentrate_flow=drain,
                concentrate_tds_mg_per_l=self.t["concentrate_tds_mg_per_l"],
            ),
            permeate + drain,
            *self._missing(
                "permeate_flow_l_per_day",
                "concentrate_flow_l_per_day",
                "feed_tds_mg_per_l",
                "permeate_tds_mg_per_l",
                "concentrate_tds_mg_per_l",
            ),
            (self.static, "not_flowing"),
            (permeate + drain <= 0.0, "no_flow"),
            (feed_tds <= 0.0, "feed_tds_zero"),
        )

    def finish(self) -> Indicators:
        tank = self.u["has_pressurised_tank"].astype(bool)
        valve, pressure = self.t.texts["tank_valve"], self.t["tank_pressure_kpa"]
        closure = self.values["salt_balance_closure_fraction"]
        number = np.zeros(self.t.length, dtype=np.uint8)
        checks: list[tuple[BoolArray, str]] = [
            (self.static, "not_flowing"),
            (self.t["minutes_since_start"] < SETTLING_MINUTES, "too_soon_after_start"),
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
        feed_tds_mg_per_l=np.where(brine <= HIGHEST_TDS_MG_PER_L, feed, np.nan),
        permeate_tds_mg_per_l=point.permeate_tds_mg_per_l,
        recovery_fraction=point.recovery_fraction,
        temperature_degc=point.temperature_degc,
        feed_brine_differential_pressure_kpa=point.feed_brine_differential_pressure_kpa,
        permeate_pressure_kpa=point.permeate_pressure_kpa,
    )
