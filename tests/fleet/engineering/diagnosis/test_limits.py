"""Every limit of the diagnosis from both sides: a hair before it the rule is silent, a hair beyond it it speaks.

The table says for each rule which fact it turns on and where. Where a limit sets the place, the limit is moved as well
and the place must move with it; a limit that no row of the table names fails the last test.
"""

import math
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field, fields, replace
from typing import Any

import pytest

from fleet.engineering.diagnosis import PatternLimits, diagnose
from fleet.engineering.limits import HOUSE, Limits
from tests.fleet.engineering.diagnosis.test_rules import HEALTHY, ONE_GAUGE, PATTERNS, UNREAD_RESIN

Changes = Mapping[str, float | bool | str | None]
CHLORINE = "carbon_outlet_total_chlorine_mg_per_l"
FREE = "carbon_outlet_free_chlorine_mg_per_l"
FLOW, PASSAGE = "normalised_flow_ratio", "normalised_salt_passage_ratio"
PERMEATE, PRODUCT, LEAD = "permeate_tds_mg_per_l", "product_tds_mg_per_l", "interstage_tds_mg_per_l"
MADE, DRAIN = "permeate_flow_l_per_day", "concentrate_flow_l_per_day"
JUMP, DIFFERENTIAL = "salt_passage_ratio_since_last_reading", "feed_brine_differential_pressure_ratio"
NO_DRAIN: Changes = {DRAIN: None, "baseline_concentrate_flow_l_per_day": None}
OXIDISED: Changes = {PASSAGE: 2.4, CHLORINE: 0.3}
EXPOSURE = "membrane_exposure_ppm_h"
EXPOSED: Changes = {PASSAGE: 2.4, EXPOSURE: 900.0}
NEW_WATER: Changes = {"feed_tds_mg_per_l": 325.0, PERMEATE: 11.7}
WEAK: Changes = {"inlet_pressure_kpa": 250.0, MADE: 120.0, PERMEATE: 14.0}
WARM: Changes = {"temperature_degc": 24.0, MADE: 270.0, PERMEATE: 12.0}
OLD: Changes = {FLOW: 0.7, PASSAGE: 2.5, "membrane_age_days": 1200.0}
AS_READ = "flow_as_read_level_ratio"
ONE_STEP: Changes = {
    "fresh_resin_product_tds_mg_per_l": 2.5,
    "product_tds_mg_per_l": 2.5,
    "least_fresh_resin_product_tds_mg_per_l": 2.5,
}
PASSED_BY: Changes = {"fresh_resin_product_tds_mg_per_l": 5.0, "product_tds_mg_per_l": 5.0}
NO_RESIN: Changes = {"has_resin": False}
NEW_CARBON = "flow_over_before_new_carbon"
GAUGE = "inlet_pressure_over_usual"
AS_EVER: dict[str, float | bool | str | None] = {"concentrate_flow_over_usual": 1.0}
LEVEL = "salt_level_ratio"
STEP, FLOW_STEP = "salt_passage_step_ratio", "flow_step_ratio"
# What a sound membrane of 1200 days has left of its flow, less what a reading may err, and how much more salt it
# passes.
OLD_FLOW, OLD_SALT = 0.92 * 0.94 ** (1200.0 / 365.25), 1.12 ** (1200.0 / 365.25)
NO_BASELINES: Changes = {"baseline_feed_tds_mg_per_l": None, "baseline_permeate_tds_mg_per_l": None}
GAUGED = "prefilter_differential_pressure_kpa"
# No temperature: the limit stands as it is for 25 degC.
AT_25: Changes = {"temperature_degc": None}
TANK: Changes = {"tank_valve": "open", "concentrate_never_stops": True}


def behind(line_kpa: float) -> Changes:
    """A line pressure that has always been so."""
    return {"line_pressure_kpa": line_kpa, "baseline_line_pressure_kpa": line_kpa}


# What a person saw, whatever the gauges show.
SEEN = {"D50", "D51", "D53", "D54", "D55", "D58", "D59", "D61", "D77"}


@dataclass(frozen=True)
class Set:
    """The limits of exhaustion and those of the patterns; either kind is asked for by its name."""

    limits: Limits[float] = HOUSE
    pattern_limits: PatternLimits = field(default_factory=PatternLimits)

    def __getattr__(self, name: str) -> Any:
        return getattr(self.limits if hasattr(self.limits, name) else self.pattern_limits, name)

    def moved(self, name: str, factor: float) -> "Set":
        """The same with one of them changed."""
        kind = "limits" if hasattr(self.limits, name) else "pattern_limits"
        return replace(self, **{kind: replace(getattr(self, kind), **{name: factor * getattr(self, name)})})


@dataclass(frozen=True)
class Edge:
    """Where a rule begins or ceases to speak as one fact moves, over the healthy unit and `given`.

    `speaks`: 'above', 'from' (the place itself counts), 'below' or 'to' (the place itself counts). `limits`: what sets
    the place. `exactly` is False where the place is the result of a division, and a float may lie on either side of it.
    """

    rule: str
    fact: str
    speaks: str
    at: Callable[[Set], float] | float
    given: Changes = field(default_factory=dict)
    limits: tuple[str, ...] = ()
    exactly: bool = True

    def place(self, limits: Set) -> float:
        return self.at(limits) if callable(self.at) else self.at

    def __str__(self) -> str:
        return f"{self.rule} {self.fact} {self.speaks} {self.place(Set()):.4g}"


def surely_low(x: Set) -> float:
    """A flow that is past its limit by more than a reading may err."""
    return float(x.flow_sureness * x.membrane_flow_fraction)


def slowly(x: Set) -> float:
    """Salt at 400 days that is twice what it was, and beyond what the age explains."""
    return float(max(x.salt_passage_double, x.salt_passage_of_age * 1.12 ** (400.0 / 365.25)))


EDGES = [
    # pressures
    Edge("D01", GAUGED, "above", lambda x: 394.0 - x.prefilter_margin_kpa + 0.5 * x.gauge_step_kpa, AT_25,
         ("prefilter_margin_kpa", "gauge_step_kpa"), exactly=False),
    Edge("D01", GAUGED, "above", lambda x: 280.0 * x.prefilter_outlet_fraction + 0.5 * x.gauge_step_kpa,
         {**AT_25, **behind(300.0)}, ("prefilter_outlet_fraction",), exactly=False),
    Edge("D01", GAUGED, "above", lambda x: x.prefilter_differential_pressure_kpa + 0.5 * x.gauge_step_kpa,
         {**AT_25, **behind(600.0)},
         ("prefilter_differential_pressure_kpa",), exactly=False),
    Edge("D01", GAUGED, "above", lambda x: x.prefilter_least_kpa + 0.5 * x.gauge_step_kpa, {**AT_25, **behind(150.0)},
         ("prefilter_least_kpa",), exactly=False),
    Edge("D01", GAUGED, "above",
         lambda x: 2.0 * x.prefilter_series_fraction * x.prefilter_differential_pressure_kpa + 0.5 * x.gauge_step_kpa,
         {**AT_25, **behind(600.0), "has_two_sediment_filters": True}, ("prefilter_series_fraction",), exactly=False),
    # meant for what a gauge shows in the usual water of the unit: at 10 degC the same number as at 25
    Edge("D01", GAUGED, "above", lambda x: x.prefilter_differential_pressure_kpa + 0.5 * x.gauge_step_kpa,
         {**behind(600.0), "temperature_degc": 10.0, "usual_temperature_degc": 10.0},
         ("prefilter_differential_pressure_kpa",), exactly=False),
    Edge("D01", "line_pressure_kpa", "above", lambda x: 20.0 + x.prefilter_margin_from_kpa,
         {**AT_25, GAUGED: 46.0}, ("prefilter_margin_from_kpa",), exactly=False),
    Edge("D01", GAUGED, "above",
         lambda x: (300.0 - x.assumed_clean_differential_pressure_kpa) * x.prefilter_outlet_fraction
         + 0.5 * x.gauge_step_kpa,

         {**AT_25, **behind(300.0), "clean_prefilter_differential_pressure_kpa": None},
         ("assumed_clean_differential_pressure_kpa",), exactly=False),
    Edge("D01", GAUGED, "above", lambda x: 60.0 * x.clean_differential_pressure_margin + 0.5 * x.gauge_step_kpa,
         {**AT_25, **behind(300.0), "clean_prefilter_differential_pressure_kpa": 60.0},
         ("clean_differential_pressure_margin",), exactly=False),
    Edge("D01", GAUGED, "above",
         lambda x: x.clean_differential_pressure_margin * x.most_clean_differential_pressure_kpa
         + 0.5 * x.gauge_step_kpa,
         {**AT_25, **behind(300.0), "clean_prefilter_differential_pressure_kpa": 165.0},
         ("most_clean_differential_pressure_kpa",), exactly=False),
    Edge("D02", "line_pressure_kpa", "below", lambda x: 414.0 - x.line_pressure_fall_kpa,
         {"prefilter_differential_pressure_kpa": 20.0}, ("line_pressure_fall_kpa",), exactly=False),
    Edge("D49", "inlet_pressure_kpa", "to",
         lambda x: 300.0 - 300.0 * x.prefilter_outlet_fraction - 0.5 * x.gauge_step_kpa,
         {**ONE_GAUGE, "clean_inlet_pressure_kpa": 300.0}, ("prefilter_outlet_fraction", "gauge_step_kpa"),
         exactly=False),
    Edge("D64", "clean_inlet_pressure_kpa", "below",
         lambda x: 390.0 - x.line_pressure_fall_kpa - 0.5 * x.gauge_step_kpa,
         {**ONE_GAUGE, "inlet_pressure_kpa": 300.0}, ("line_pressure_fall_kpa", "gauge_step_kpa"), exactly=False),
    Edge("D42", "line_pressure_kpa", "below",
         lambda x: x.pump_customary_below_kpa + x.assumed_clean_differential_pressure_kpa, {},
         ("pump_customary_below_kpa",), exactly=False),
    Edge("D03", "inlet_pressure_kpa", "below", lambda x: 393.0 + x.pump_gain_kpa,
         {"has_booster_pump": True, "baseline_inlet_pressure_kpa": None}, ("pump_gain_kpa",), exactly=False),
    Edge("D03", "inlet_pressure_kpa", "below", lambda x: 600.0 - x.line_pressure_fall_kpa,
         {"has_booster_pump": True, "baseline_inlet_pressure_kpa": 600.0, "line_pressure_kpa": None,
          "prefilter_outlet_pressure_kpa": None}, ("line_pressure_fall_kpa",), exactly=False),
    Edge("D04", "inlet_pressure_kpa", "above", lambda x: x.inlet_pressure_limit_kpa, {}, ("inlet_pressure_limit_kpa",)),
    Edge("D04", "inlet_pressure_kpa", "above", 700.0, {"inlet_pressure_limit_kpa": 700.0}),
    # flows
    Edge("D28", "inlet_pressure_kpa", "from", lambda x: x.inlet_for_permeate_kpa, {MADE: 0.0},
         ("inlet_for_permeate_kpa",)),
    Edge("D28", DRAIN, "above", 0.0, {MADE: 0.0}),
    Edge("D21", "tank_pressure_kpa", "from", lambda x: 414.0 * (x.shutoff_fraction - 0.005),
         {"tank_is_full": True, "tank_valve": "open"}, ("shutoff_fraction",), exactly=False),
    Edge("D21", DRAIN, "above", 0.0, {"tank_is_full": True, "tank_valve": "open", "tank_pressure_kpa": 300.0}),
    Edge("D22", "tank_pressure_kpa", "below", lambda x: 414.0 * x.shutoff_fraction,
         {**TANK, "tank_pressure_falls_with_feed_shut": True}, ("shutoff_fraction",), exactly=False),
    Edge("D22", "tank_pressure_after_feed_shut_kpa", "below", 0.9 * 150.0, {**TANK, "tank_pressure_kpa": 150.0}),
    Edge("D23", "tank_pressure_kpa", "below", lambda x: 414.0 * x.shutoff_fraction,
         {**TANK, "tank_pressure_falls_with_feed_shut": False}, ("shutoff_fraction",), exactly=False),
    Edge("D23", "tank_pressure_after_feed_shut_kpa", "from", 0.9 * 150.0, {**TANK, "tank_pressure_kpa": 150.0}),
    Edge("D24", "waste_ratio", "from", 4.8, {"temperature_degc": 6.0}, exactly=False),
    Edge("D24", "temperature_degc", "to", lambda x: 15.0 - x.temperature_shift_degc, {"waste_ratio": 5.2},
         ("temperature_shift_degc",)),
    Edge("D48", "inlet_pressure_kpa", "below", lambda x: x.low_pressure_share * 390.0,
         {"waste_ratio": 5.2, "prefilter_differential_pressure_kpa": 20.0}, ("low_pressure_share",), exactly=False),
    Edge("D24", FLOW, "from", 0.90, {"waste_ratio": 5.2, "temperature_degc": 6.0}),
    Edge("D24", FLOW, "to", 1.15, {"waste_ratio": 5.2, "temperature_degc": 6.0}),
    Edge("D25", "waste_ratio", "below", lambda x: 4.0 * x.ratio_low, NO_DRAIN, ("ratio_low",), exactly=False),
    Edge("D25", "recovery_fraction", "above", lambda x: 0.2 * x.ratio_high, {**NO_DRAIN, "waste_ratio": 4.0},
         ("ratio_high",), exactly=False),
    Edge("D25", DRAIN, "below", 0.8 * 800.0, {"waste_ratio": 2.0}),
    Edge("D25", FLOW, "to", 1.15, {**NO_DRAIN, "waste_ratio": 2.0}),
    Edge("D25", DRAIN, "below", lambda x: 800.0 * x.ratio_low, {"waste_ratio": 2.0, FLOW: 1.3}, ("ratio_low",),
         exactly=False),
    *(
        edge
        for first, now in (("first_flow_over_label", "flow_over_label"), ("flow_over_label", "first_flow_over_label"))
        for edge in (
            Edge("D70", first, "below", lambda x: (1.0 - x.label_flow_tolerance) * x.flow_sureness, {now: 0.6},
                 ("label_flow_tolerance", "flow_sureness"), exactly=False),
            Edge("D70", first, "above", lambda x: (1.0 + x.label_flow_tolerance) / x.flow_sureness, {now: 1.5},
                 ("label_flow_tolerance", "flow_sureness"), exactly=False),
        )
    ),
    *(
        edge
        for first, now in (
            ("first_waste_ratio_over_design", "waste_ratio_over_design"),
            ("waste_ratio_over_design", "first_waste_ratio_over_design"),
        )
        for edge in (
            Edge("D71", first, "below", lambda x: 1.0 - x.waste_ratio_tolerance, {now: 0.5}, ("waste_ratio_tolerance",),
                 exactly=False),
            Edge("D72", first, "above", lambda x: 1.0 + x.waste_ratio_tolerance, {now: 1.8}, ("waste_ratio_tolerance",),
                 exactly=False),
        )
    ),
    Edge("D26", "waste_ratio", "above", lambda x: 4.0 * x.ratio_high, {DRAIN: 1100.0}, ("ratio_high",), exactly=False),
    Edge("D26", DRAIN, "above", 1.3 * 800.0, {"waste_ratio": 7.0}, exactly=False),
    Edge("D26", "inlet_pressure_kpa", "below", 0.90 * 390.0, {**NO_DRAIN, "waste_ratio": 7.0}, exactly=False),
    Edge("D27", "tank_pressure_kpa", "from", 0.25 * 414.0, {"tank_valve": "open", MADE: 100.0}),
    Edge("D27", MADE, "to", lambda x: 200.0 * x.membrane_flow_fraction,
         {"tank_valve": "open", "tank_pressure_kpa": 220.0}, ("membrane_flow_fraction",), exactly=False),
    # membrane
    Edge("D05", FLOW, "from", lambda x: x.flow_steady_low, OXIDISED, ("flow_steady_low",)),
    Edge("D05", PASSAGE, "from", lambda x: x.salt_passage_double, {CHLORINE: 0.3}, ("salt_passage_double",)),
    Edge("D05", CHLORINE, "from", lambda x: x.chlorine_mg_per_l, {PASSAGE: 2.4}, ("chlorine_mg_per_l",)),
    Edge("D47", FLOW, "from", lambda x: x.flow_steady_low, EXPOSED, ("flow_steady_low",)),
    Edge("D47", PASSAGE, "from", lambda x: x.salt_passage_double, {EXPOSURE: 900.0}, ("salt_passage_double",)),
    Edge("D47", EXPOSURE, "from", 200.0, {PASSAGE: 2.4}),
    Edge("D06", CHLORINE, "below", lambda x: x.chlorine_mg_per_l, {PASSAGE: 2.5, JUMP: 2.4},
         ("chlorine_mg_per_l",)),
    Edge("D06", FLOW, "from", lambda x: x.flow_steady_low, {PASSAGE: 2.5, JUMP: 2.4}, ("flow_steady_low",)),
    Edge("D06", FLOW, "to", lambda x: x.flow_steady_high, {PASSAGE: 2.5, JUMP: 2.4}, ("flow_steady_high",)),
    Edge("D06", JUMP, "from", lambda x: x.salt_passage_double, {PASSAGE: 2.5}, ("salt_passage_double",)),
    Edge("D06", PASSAGE, "from", lambda x: x.salt_passage_double, {JUMP: 2.5}, ("salt_passage_double",)),
    Edge("D06", PERMEATE, "from", lambda x: 8.0 * x.meter_step_mg_per_l, {PASSAGE: 2.0, JUMP: 2.0},
         ("meter_step_mg_per_l",), exactly=False),
    Edge("D06", "salt_passage_over_previous_membrane", "from", lambda x: x.salt_passage_over_previous_membrane,
         {"first_salt_passage_over_label": 1.5}, ("salt_passage_over_previous_membrane",)),
    Edge("D06", "first_salt_passage_over_label", "above", 1.0, {"salt_passage_over_previous_membrane": 3.0}),
    Edge("D06", "salt_level_ratio", "from", 0.7, {"first_salt_passage_over_label": 3.0}),
    Edge("D06", PASSAGE, "from", lambda x: x.salt_passage_double, {}, ("salt_passage_double",)),
    Edge("D07", FLOW, "to", surely_low, {PASSAGE: 1.3, "concentrate_langelier_index": 0.9},
         ("membrane_flow_fraction", "flow_sureness"), exactly=False),
    Edge("D07", "membrane_age_days", "below", lambda x: 365.25 * math.log(0.78 / x.flow_sureness) / math.log(0.94),
         {FLOW: 0.78, "concentrate_langelier_index": 0.9}, exactly=False),
    Edge("D07", "concentrate_langelier_index", "above", 0.0, {FLOW: 0.78, PASSAGE: 1.3}),
    Edge("D07", "concentrate_silica_share", "from", 0.9, {FLOW: 0.78, PASSAGE: 1.3}),
    Edge("D08", FLOW, "to", surely_low, {DIFFERENTIAL: 1.4}, ("membrane_flow_fraction", "flow_sureness"),
         exactly=False),
    Edge("D08", "flow_level_ratio", "to", surely_low, {FLOW: 0.7, DIFFERENTIAL: 1.4}, exactly=False),
    Edge("D08", "flow_level_behind_tank_ratio", "to", surely_low, {FLOW: 0.7, DIFFERENTIAL: 1.4}, exactly=False),
    Edge("D08", "flow_level_over_label", "below", lambda x: x.flow_of_label, {FLOW: 0.7, DIFFERENTIAL: 1.4},
         ("flow_of_label",)),
    Edge("D08", FLOW, "from", 0.05, {DIFFERENTIAL: 1.4}),
    Edge("D08", PASSAGE, "to", 1.2 / 0.78, {FLOW: 0.78, DIFFERENTIAL: 1.4, "concentrate_langelier_index": 0.3},
         exactly=False),
    Edge("D08", PASSAGE, "to", 2.0 / 0.78, {FLOW: 0.78, DIFFERENTIAL: 1.4}, exactly=False),
    Edge("D08", AS_READ, "below", lambda x: x.coldest_flow_share * surely_low(x),
         {FLOW: None, LEVEL: 2.0, "membrane_visits": 1.0}, ("coldest_flow_share", "membrane_flow_fraction"),
         exactly=False),
    Edge("D65", AS_READ, "from", lambda x: x.as_read_flow_steady, {FLOW: None, LEVEL: 2.5}, ("as_read_flow_steady",)),
    Edge("D62", "flow_as_read_step_ratio", "below", lambda x: x.as_read_flow_steady, {STEP: 2.0},
         ("as_read_flow_steady",)),
    Edge("D08", DIFFERENTIAL, "from", 1.1, {FLOW: 0.78, "concentrate_langelier_index": 0.3}),
    Edge("D08", FLOW_STEP, "below", lambda x: x.flow_step_down, {FLOW: 0.78, "concentrate_langelier_index": 0.3},
         ("flow_step_down",)),
    Edge("D75", NEW_CARBON, "below", lambda x: x.flow_step_down, {FLOW: 0.7}, ("flow_step_down",)),
    Edge("D76", PRODUCT, "above", lambda x: x.product_tds_mg_per_l, NO_RESIN, ("product_tds_mg_per_l",)),
    Edge("D76", PERMEATE, "above", lambda x: x.product_tds_mg_per_l, {**NO_RESIN, PRODUCT: None}),
    Edge("D76", PRODUCT, "to", 250.0, NO_RESIN),
    # the membrane explains what is no more than it gives
    Edge("D76", PRODUCT, "above", 1.1 * 50.0, {**NO_RESIN, PERMEATE: 50.0}, exactly=False),
    Edge("D75", FLOW, "to", surely_low, {NEW_CARBON: 0.7}, exactly=False),
    Edge("D75", PASSAGE, "to", 1.2 / 0.5, {FLOW: 0.5, NEW_CARBON: 0.5}, exactly=False),
    Edge("D06", STEP, "from", lambda x: x.salt_passage_step, {}, ("salt_passage_step",)),
    Edge("D06", FLOW_STEP, "from", lambda x: x.flow_step_down, {STEP: 2.0}, ("flow_step_down",)),
    Edge("D06", CHLORINE, "below", lambda x: x.chlorine_mg_per_l, {STEP: 2.0}, ("chlorine_mg_per_l",)),
    Edge("D06", "first_salt_passage_over_label", "from", lambda x: x.first_salt_passage_over_label, {},
         ("first_salt_passage_over_label",)),
    Edge("D06", PASSAGE, "from", 0.7, {"first_salt_passage_over_label": 3.0}),
    Edge("D06", PERMEATE, "from", lambda x: 3.0 * x.meter_step_mg_per_l, {STEP: 2.0}, ("meter_step_mg_per_l",),
         exactly=False),
    Edge("D62", PERMEATE, "from", lambda x: 3.0 * x.meter_step_mg_per_l, {STEP: 2.0, FLOW_STEP: 0.7},
         ("meter_step_mg_per_l",), exactly=False),
    Edge("D62", FLOW_STEP, "below", lambda x: x.flow_step_down, {STEP: 2.0}, ("flow_step_down",)),
    Edge("D62", STEP, "from", lambda x: x.salt_passage_jump / 0.7, {FLOW_STEP: 0.7}, ("salt_passage_jump",),
         exactly=False),
    Edge("D62", CHLORINE, "below", lambda x: x.chlorine_mg_per_l, {STEP: 2.0, FLOW_STEP: 0.7}, ("chlorine_mg_per_l",)),
    Edge("D08", "concentrate_langelier_index", "to", 0.0, {FLOW: 0.78}),
    Edge("D09", "membrane_age_days", "to", 42.0, {FLOW: 0.93}),
    Edge("D09", FLOW, "above", lambda x: x.membrane_flow_fraction, {"membrane_age_days": 14.0},
         ("membrane_flow_fraction",)),
    Edge("D09", FLOW, "to", 0.98, {"membrane_age_days": 14.0}),
    Edge("D09", PASSAGE, "to", 1.25, {FLOW: 0.93, "membrane_age_days": 14.0}),
    Edge("D07", "feed_tds_mg_per_l", "from", lambda x: x.hard_concentrate_tds_mg_per_l * 0.8,
         {FLOW: 0.7, "concentrate_langelier_index": None}, ("hard_concentrate_tds_mg_per_l",), exactly=False),
    Edge("D05", LEVEL, "from", slowly, {CHLORINE: 0.3}, ("salt_passage_double",), exactly=False),
    Edge("D47", LEVEL, "from", slowly, {EXPOSURE: 900.0}, ("salt_passage_double",), exactly=False),
    Edge("D65", LEVEL, "from", slowly, {}, ("salt_passage_double",), exactly=False),
    Edge("D65", LEVEL, "from", lambda x: x.salt_passage_of_age * OLD_SALT, {"membrane_age_days": 1200.0},
         ("salt_passage_of_age",), exactly=False),
    Edge("D65", STEP, "below", lambda x: x.salt_passage_step, {LEVEL: 2.5}, ("salt_passage_step",)),
    Edge("D65", FLOW, "from", lambda x: x.membrane_flow_fraction, {LEVEL: 2.5}, ("membrane_flow_fraction",)),
    Edge("D65", CHLORINE, "below", lambda x: x.chlorine_mg_per_l, {LEVEL: 2.5}, ("chlorine_mg_per_l",)),
    Edge("D80", "membrane_age_days", "below", 730.0, {LEVEL: 2.5, EXPOSURE: 0.0}),
    Edge("D80", EXPOSURE, "below", 200.0, {LEVEL: 2.5}),
    Edge("D10", "membrane_age_days", "from", 730.0, {LEVEL: 2.5, EXPOSURE: 0.0}),
    Edge("D68", "previous_resin_life_share", "below", lambda x: x.previous_resin_life_explained, {},
         ("previous_resin_life_explained",)),
    Edge("D68", "resin_life_share", "below", lambda x: x.resin_life_explained, {"previous_resin_life_share": 0.1},
         ("resin_life_explained",)),
    Edge("D66", STEP, "to", lambda x: x.salt_passage_fall, {}, ("salt_passage_fall",)),
    Edge("D66", PERMEATE, "from", lambda x: 2.0 * x.meter_step_mg_per_l, {STEP: 0.4}, ("meter_step_mg_per_l",),
         exactly=False),
    Edge("D66", "first_salt_passage_over_label", "below", lambda x: x.salt_passage_double, {STEP: 0.3},
         ("salt_passage_double",)),
    Edge("D70", "most_flow_over_label", "below", lambda x: (1.0 - x.label_flow_tolerance) * x.flow_sureness, {},
         ("label_flow_tolerance", "flow_sureness"), exactly=False),
    Edge("D70", "least_flow_over_label", "above", lambda x: (1.0 + x.label_flow_tolerance) / x.flow_sureness, {},
         ("label_flow_tolerance", "flow_sureness"), exactly=False),
    Edge("D72", "most_flow_over_label", "from", lambda x: (1.0 - x.label_flow_tolerance) * x.flow_sureness,
         {"first_waste_ratio_over_design": 2.5, "most_restrictor_flow_l_per_day": 900.0}, exactly=False),
    Edge("D72", "most_restrictor_flow_l_per_day", "below", 800.0,
         {"first_waste_ratio_over_design": 2.5, "most_flow_over_label": 0.5}),
    Edge("D71", "least_flow_over_label", "to", lambda x: (1.0 + x.label_flow_tolerance) / x.flow_sureness,
         {"first_waste_ratio_over_design": 0.5, "least_restrictor_flow_l_per_day": 700.0}, exactly=False),
    Edge("D71", "least_restrictor_flow_l_per_day", "above", 800.0,
         {"first_waste_ratio_over_design": 0.5, "least_flow_over_label": 1.6}),
    Edge("D73", "fresh_resin_product_tds_mg_per_l", "from",
         lambda x: x.product_tds_mg_per_l + 2.0 * x.meter_step_mg_per_l, {"product_tds_mg_per_l": 4.0},
         ("product_tds_mg_per_l", "meter_step_mg_per_l"), exactly=False),
    Edge("D73", "least_fresh_resin_product_tds_mg_per_l", "from",
         lambda x: x.product_tds_mg_per_l + x.meter_step_mg_per_l,
         {**ONE_STEP, "fresh_resin_visits": 3.0},
         ("product_tds_mg_per_l", "meter_step_mg_per_l"), exactly=False),
    Edge("D73", "fresh_resin_visits", "from", 3.0, ONE_STEP),
    Edge("D73", "fresh_resin_first_read_days", "to", lambda x: x.resin_fresh_days, PASSED_BY, ("resin_fresh_days",)),
    Edge("D73", "fresh_resin_read_for_days", "from", 15.0, {**PASSED_BY, "fresh_resin_first_read_days": 30.0}),
    Edge("D73", "fresh_resin_first_read_days", "to", lambda x: x.resin_early_days,
         {**PASSED_BY, "fresh_resin_read_for_days": 90.0}, ("resin_early_days",)),
    Edge("D73", PRODUCT, "to", lambda x: 9.0 * x.resin_part_passed,
         {**PASSED_BY, "fresh_resin_first_read_days": 30.0, "fresh_resin_read_for_days": 90.0},
         ("resin_part_passed",), exactly=False),
    Edge("D73", "product_tds_before_fresh_resin_mg_per_l", "to", lambda x: 2.5 - 2.0 * x.meter_step_mg_per_l,
         {**ONE_STEP, "fresh_resin_visits": 1.0}, ("meter_step_mg_per_l",), exactly=False),
    Edge("D73", "product_tds_mg_per_l", "to", 12.0, {"fresh_resin_product_tds_mg_per_l": 8.0, PERMEATE: 20.0}),
    Edge("D74", GAUGE, "to", lambda x: x.gauge_fell_to, AS_EVER, ("gauge_fell_to",)),
    Edge("D74", GAUGE, "from", lambda x: x.gauge_rose_to, AS_EVER, ("gauge_rose_to",)),
    Edge("D74", "permeate_flow_over_usual", "from", lambda x: x.flow_as_ever_low, {GAUGE: 0.4}, ("flow_as_ever_low",)),
    # a gauge at a twelfth: the concentrate would fall to 0.29, in the warmest water to 0.44; the coldest leaves 0.65
    Edge("D74", "permeate_flow_over_usual", "from", lambda x: x.coldest_flow_share, {GAUGE: 1 / 12}, exactly=False),
    # a membrane that was fitted yesterday still rinses
    Edge("D46", "membrane_age_days", "from", 2.0, {PERMEATE: 60.0}),
    # 1.5 steps of a meter of 1 mg/L
    Edge("D06", "salt_step_mg_per_l", "from", lambda x: 1.5 * x.meter_step_mg_per_l, {STEP: 2.0, PERMEATE: 40.0}),
    # two labels may differ as 0.75 to 1.25
    Edge("D70", "flow_over_previous_membrane", "below", 0.6, {}),
    Edge("D06", "flow_at_salt_step_ratio", "from", lambda x: x.flow_step_down, {STEP: 2.0, "membrane_age_days": 0.0}),
    Edge("D74", "permeate_flow_over_usual", "to", lambda x: x.flow_as_ever_high, {GAUGE: 2.5}, ("flow_as_ever_high",)),
    Edge("D03", "most_restrictor_flow_l_per_day", "from", lambda x: 800.0 / x.ratio_high,
         {"has_booster_pump": True, "inlet_pressure_kpa": 395.0}, ("ratio_high",), exactly=False),
    Edge("D25", "least_restrictor_flow_l_per_day", "above", lambda x: 800.0 / x.ratio_low, {}, ("ratio_low",),
         exactly=False),
    Edge("D26", "most_restrictor_flow_l_per_day", "below", lambda x: 800.0 / x.ratio_high, {}, ("ratio_high",),
         exactly=False),
    Edge("D10", "membrane_age_days", "from", 730.0, OLD),
    Edge("D10", FLOW, "below", OLD_FLOW, OLD, exactly=False),
    Edge("D10", PASSAGE, "above", lambda x: x.salt_passage_up * OLD_SALT / 0.7, OLD, ("salt_passage_up",),
         exactly=False),
    Edge("D10", CHLORINE, "below", lambda x: x.chlorine_mg_per_l, OLD, ("chlorine_mg_per_l",)),
    Edge("D10", JUMP, "below", lambda x: x.salt_passage_jump, OLD, ("salt_passage_jump",)),
    Edge("D46", PERMEATE, "above", lambda x: 250.0 * (1.0 - x.minimum_rejection_fraction) + x.meter_step_mg_per_l, {},
         ("minimum_rejection_fraction", "meter_step_mg_per_l"), exactly=False),
    Edge("D46", "feed_tds_mg_per_l", "from", 26.0, {PERMEATE: 26.0}),
    Edge("D14", "permeate_tds_at_start_mg_per_l", "from", 18.0, {}),
    Edge("D14", "permeate_tds_at_start_mg_per_l", "from", lambda x: 2.0 + 5.0 * x.meter_step_mg_per_l, {PERMEATE: 2.0},
         ("meter_step_mg_per_l",)),
    Edge("D14", PERMEATE, "to", 1.3 * 9.0, {"permeate_tds_at_start_mg_per_l": 80.0}, exactly=False),
    Edge("D15", "feed_tds_mg_per_l", "from", lambda x: 250.0 * x.feed_of_season, {PERMEATE: 11.7}, ("feed_of_season",),
         exactly=False),
    Edge("D15", PERMEATE, "from", 1.15 * 20.0, {**NEW_WATER, "baseline_permeate_tds_mg_per_l": 20.0}, exactly=False),
    Edge("D15", PERMEATE, "from", lambda x: 9.0 + 1.5 * x.meter_step_mg_per_l, NEW_WATER, ("meter_step_mg_per_l",),
         exactly=False),
    Edge("D15", PERMEATE, "to", 1.3 * 1.25 * 9.0, NEW_WATER, exactly=False),
    Edge("D15", PERMEATE, "from", 2.0 * 0.75 * 9.0, {**NEW_WATER, "feed_tds_mg_per_l": 500.0}),
    Edge("D15", PASSAGE, "from", 0.8, NEW_WATER),
    Edge("D15", PASSAGE, "to", 1.2, NEW_WATER),
    Edge("D16", FLOW, "from", 0.90, WEAK),
    Edge("D16", FLOW, "to", 1.15, WEAK),
    Edge("D16", PASSAGE, "to", 1.2, WEAK),
    Edge("D16", PERMEATE, "from", 1.15 * 9.0, WEAK, exactly=False),
    Edge("D16", MADE, "to", 0.90 * 200.0, WEAK),
    Edge("D16", "inlet_pressure_kpa", "to", lambda x: x.low_pressure_share * 390.0, WEAK, ("low_pressure_share",)),
    Edge("D37", "temperature_degc", "above", lambda x: 15.0 + x.temperature_shift_degc, WARM,
         ("temperature_shift_degc",)),
    Edge("D37", MADE, "above", 1.05 * 200.0, WARM),
    Edge("D37", PERMEATE, "above", 1.05 * 9.0, WARM, exactly=False),
    Edge("D37", FLOW, "from", 0.90, WARM),
    Edge("D37", FLOW, "to", 1.15, WARM),
    # carbon, and units nobody has looked at
    Edge("D30", CHLORINE, "from", lambda x: x.chlorine_mg_per_l, {}, ("chlorine_mg_per_l",)),
    Edge("D30", FREE, "below", lambda x: x.chlorine_trace_mg_per_l, {CHLORINE: 0.5}, ("chlorine_trace_mg_per_l",)),
    # what finishes the water: the least that 40 CFR 143.3 recommends, and practice
    Edge("D78", "uv_intensity_fraction", "below", 0.7, {}),
    Edge("D79", "remineralised_ph", "below", 6.5, {"has_remineralisation": True}),
    Edge("D79", "remineralised_tds_mg_per_l", "below", 9.0 + 10.0, {"has_remineralisation": True}),
    Edge("D44", CHLORINE, "from", lambda x: x.chlorine_mg_per_l, {}, ("chlorine_mg_per_l",)),
    Edge("D44", FREE, "from", lambda x: x.chlorine_mg_per_l, {}, ("chlorine_mg_per_l",)),
    Edge("D45", "interstage_chlorine_mg_per_l", "from", lambda x: x.lead_carbon_fraction, {},
         ("lead_carbon_fraction",)),
    Edge("D45", "feed_total_chlorine_mg_per_l", "from", lambda x: 4.0 * x.chlorine_trace_mg_per_l,
         {"feed_free_chlorine_mg_per_l": None, "interstage_chlorine_mg_per_l": 0.19}, ("chlorine_trace_mg_per_l",)),
    Edge("D45", CHLORINE, "below", lambda x: x.chlorine_mg_per_l, {"interstage_chlorine_mg_per_l": 0.6},
         ("chlorine_mg_per_l",)),
    Edge("D31", CHLORINE, "from", lambda x: x.chlorine_mg_per_l, {"days_since_carbon_change": 5.0},
         ("chlorine_mg_per_l",)),
    Edge("D31", "days_since_carbon_change", "to", 21.0, {CHLORINE: 0.4}),
    Edge("D39", PERMEATE, "to", 1.3 * 9.0, {"taste_or_odour": True}, exactly=False),
    Edge("D52", "tank_pressure_kpa", "from", lambda x: 414.0 * x.shutoff_fraction, TANK, ("shutoff_fraction",),
         exactly=False),
    Edge("D56", "tank_pressure_kpa", "below", lambda x: 50.0 * x.precharge_share,
         {"slow_filling": True, "tank_precharge_kpa": 50.0}, ("precharge_share",)),
    Edge("D57", "tank_pressure_kpa", "from", lambda x: 50.0 * x.precharge_share,
         {"slow_filling": True, "tank_precharge_kpa": 50.0}, ("precharge_share",)),
    Edge("D60", "resin_colour_changed_fraction", "from", lambda x: x.resin_colour_fraction, UNREAD_RESIN,
         ("resin_colour_fraction",)),
    Edge("D41", "weeks_since_last_reading", "from", lambda x: x.weeks_unread, {}, ("weeks_unread",)),
    # meters
    Edge("D38", "minutes_since_start", "below", lambda x: x.minutes_to_steady, {}, ("minutes_to_steady",)),
    Edge("D17", "second_meter_tds_mg_per_l", "above", lambda x: 10.0 + 3.0 * x.meter_step_mg_per_l,
         {"first_meter_tds_mg_per_l": 10.0}, ("meter_step_mg_per_l",), exactly=False),
    Edge("D17", "second_meter_tds_mg_per_l", "above", 100.0 / 0.9, {"first_meter_tds_mg_per_l": 100.0}, exactly=False),
    Edge("D18", "feed_tds_mg_per_l", "to", 25.0, {**NO_BASELINES, PERMEATE: 250.0}),
    Edge("D18", PERMEATE, "from", 200.0, {"feed_tds_mg_per_l": 9.0}),
    Edge("D18", PERMEATE, "to", 300.0, {"feed_tds_mg_per_l": 9.0}),
    Edge("D18", "feed_tds_mg_per_l", "to", 14.0, {PERMEATE: 250.0}),
    Edge("D18", "feed_tds_mg_per_l", "to", 30.0, {PERMEATE: 250.0, "baseline_permeate_tds_mg_per_l": 20.0}),
    Edge("D19", PERMEATE, "above", 250.0, {}),
    Edge("D20", MADE, "below", 0.0, {}),
    Edge("D20", DRAIN, "below", 0.0, {}, exactly=False),
    Edge("D20", MADE, "above", 2.5 * 80.0, {"expected_permeate_flow_l_per_day": 80.0}),
    Edge("D36", "salt_balance_closure_fraction", "above", lambda x: x.closure_fraction, {}, ("closure_fraction",)),
    Edge("D36", "salt_balance_closure_fraction", "below", lambda x: -x.closure_fraction, {}, ("closure_fraction",)),
    Edge("D43", "feed_free_chlorine_mg_per_l", "above", 1.02, {}),
    Edge("D43", FREE, "above", 0.02, {}),
    Edge("D43", CHLORINE, "above", 1.02, {}),
    # resin
    Edge("D11", PERMEATE, "from", lambda x: 3.0 * x.meter_step_mg_per_l, {LEAD: 9.0}, ("meter_step_mg_per_l",)),
    Edge("D11", LEAD, "from", lambda x: 20.0 * x.lead_resin_fraction - x.meter_step_mg_per_l, {PERMEATE: 20.0},
         ("lead_resin_fraction", "meter_step_mg_per_l"), exactly=False),
    Edge("D11", LEAD, "from", lambda x: 5.0 * (x.lead_resin_fraction - 0.12), {PERMEATE: 5.0},
         ("lead_resin_fraction",), exactly=False),
    Edge("D11", PRODUCT, "below", lambda x: x.product_tds_mg_per_l + x.meter_step_mg_per_l, {LEAD: 9.0},
         ("product_tds_mg_per_l", "meter_step_mg_per_l")),
    Edge("D12", PRODUCT, "from", lambda x: x.product_tds_mg_per_l + x.meter_step_mg_per_l, {LEAD: 9.0},
         ("product_tds_mg_per_l", "meter_step_mg_per_l")),
    Edge("D12", PRODUCT, "from", lambda x: x.product_tds_mg_per_l + x.meter_step_mg_per_l, {LEAD: None},
         ("product_tds_mg_per_l",)),
    Edge("D12", PRODUCT, "above", lambda x: x.product_tds_mg_per_l, {"has_lag_resin": False},
         ("product_tds_mg_per_l",)),
    Edge("D13", "resin_life_share", "below", lambda x: x.resin_life_explained, {LEAD: 9.0},
         ("resin_life_explained",)),
    Edge("D13", PRODUCT, "above", lambda x: x.product_tds_mg_per_l, {"resin_life_share": 0.3},
         ("product_tds_mg_per_l",)),
    Edge("D13", PERMEATE, "to", 1.2 * 9.0, {LEAD: 11.0, "resin_life_share": 0.3}, exactly=False),
    Edge("D63", PRODUCT, "from", lambda x: 2.0 * x.meter_step_mg_per_l, {"has_lag_resin": True},
         ("meter_step_mg_per_l",)),
    Edge("D32", PRODUCT, "above", lambda x: 9.0 + x.meter_step_mg_per_l, {}, ("meter_step_mg_per_l",)),
    Edge("D32", PRODUCT, "above", 55.0, {PERMEATE: 50.0}),
    Edge("D33", PRODUCT, "to", lambda x: x.product_tds_mg_per_l, {"ammonia_detected": True},
         ("product_tds_mg_per_l",)),
    Edge("D34", PRODUCT, "above", 0.0, {"open_cup_sample": True}),
    Edge("D34", PRODUCT, "to", 2.0, {"open_cup_sample": True}),
    Edge("D35", "permeate_ph", "from", 4.8, {}),
    Edge("D35", "permeate_ph", "to", 6.2, {}),
    Edge("D35", "product_ph", "to", 6.2, {}),
]  # fmt: skip


def _speaks(edge: Edge, value: float, limits: Set) -> bool:
    matches = diagnose(
        {**HEALTHY, **edge.given, edge.fact: value}, limits=limits.limits, pattern_limits=limits.pattern_limits
    )
    return edge.rule in {match.id for match in matches}


def _hold(edge: Edge, limits: Set) -> None:
    at = edge.place(limits)
    hair = max(abs(at), 1.0) * 1e-6
    upwards = edge.speaks in ("above", "from")
    assert _speaks(edge, at + hair, limits) is upwards, f"just above {at}"
    assert _speaks(edge, at - hair, limits) is not upwards, f"just below {at}"


@pytest.mark.parametrize("edge", EDGES, ids=str)
def test_a_rule_speaks_on_one_side_of_its_limit_and_is_silent_on_the_other(edge: Edge) -> None:
    _hold(edge, Set())


@pytest.mark.parametrize("edge", [edge for edge in EDGES if edge.exactly], ids=str)
def test_the_limit_itself_counts_where_the_table_says_so(edge: Edge) -> None:
    assert _speaks(edge, edge.place(Set()), Set()) is (edge.speaks in ("from", "to"))


@pytest.mark.parametrize(("edge", "name"), [(edge, name) for edge in EDGES for name in edge.limits], ids=str)
def test_the_edge_moves_with_its_limit(edge: Edge, name: str) -> None:
    for factor in (0.99, 1.01):
        moved = Set().moved(name, factor)
        assert edge.place(moved) != edge.place(Set())
        _hold(edge, moved)


def test_every_limit_and_every_rule_that_turns_on_a_number_stands_in_the_table() -> None:
    names = {each.name for each in (*fields(PatternLimits), *fields(Limits))}
    # an age is the forecast's to know
    assert names - {name for edge in EDGES for name in edge.limits} == {"carbon_maximum_service_time_days"}
    # flows of exactly nothing, and what a person saw
    assert {pattern[0] for pattern in PATTERNS} - {edge.rule for edge in EDGES} == {"D29", "D40", *SEEN}
