"""What the rules may ask about a unit: one flat set of named facts, any of them missing, and what follows from them."""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Final

import numpy as np

from fleet.engineering.constants import KILOPASCAL_PER_PSI
from fleet.engineering.errors import EngineeringError
from fleet.engineering.formulas.mass_balance import CLOSURE_LIMIT_FRACTION
from fleet.engineering.formulas.sediment import normalised_differential_pressure
from fleet.engineering.formulas.tank import SHUTOFF_FRACTION
from fleet.engineering.limits import Limits, is_exhausted
from fleet.engineering.observations import OBSERVATION_MEANINGS
from fleet.engineering.quantities import READING_QUANTITIES, RUNNING_TIME, SETTLING_MINUTES
from fleet.engineering.usual import (
    CLEAN_PREFILTERS_KPA,
    COLD_AND_WARM_DEGC,
    LABEL_FLOW_TOLERANCE,
    METER_STEP_MG_PER_L,
    NEW_SALT_PASSAGE_OVER_LABEL,
    PUMP_CUSTOMARY_BELOW_KPA,
    WASTE_RATIO_TOLERANCE,
)

_PSI: Final = KILOPASCAL_PER_PSI
_WARM_DEGC: Final = COLD_AND_WARM_DEGC[1]
Fact = float | bool | str | None

_NUMBERS: Final[Mapping[str, str]] = {
    **{quantity.name: quantity.meaning for quantity in (*READING_QUANTITIES, RUNNING_TIME)},
    # read as well, but no column of a reading
    "static_inlet_pressure_kpa": "pressure at the membrane inlet at rest",
    "tank_pressure_after_feed_shut_kpa": "tank pressure some minutes after the feed was shut",
    "permeate_ph": "pH of the permeate",
    # baselines and design
    "baseline_line_pressure_kpa": "line pressure of the baseline",
    "baseline_inlet_pressure_kpa": "inlet pressure of the baseline",
    "clean_prefilter_differential_pressure_kpa": "differential pressure over the prefilters with clean cartridges",
    "needed_inlet_pressure_kpa": "inlet pressure that the demand asks for in the coldest water",
    "clean_inlet_pressure_kpa": "inlet pressure soon after the last change of a prefilter",
    "baseline_feed_tds_mg_per_l": "feed TDS of the baseline",
    "baseline_permeate_tds_mg_per_l": "permeate TDS of the baseline",
    "baseline_permeate_flow_l_per_day": "permeate flow of the baseline, not normalised",
    "baseline_concentrate_flow_l_per_day": "concentrate flow of the baseline",
    "baseline_waste_ratio": "waste ratio of the baseline",
    "baseline_temperature_degc": "temperature of the baseline",
    "usual_temperature_degc": "temperature of the feed over the year",
    "design_recovery_fraction": "recovery the unit was set up for",
    "expected_permeate_flow_l_per_day": "permeate flow expected from the label at this condition",
    "least_restrictor_flow_l_per_day": "least the restrictor passes by its label at this pressure and temperature",
    "most_restrictor_flow_l_per_day": "most it passes by its label",
    # indicators
    "prefilter_differential_pressure_kpa": "differential pressure over the prefilters",
    "recovery_fraction": "recovery",
    "waste_ratio": "concentrate over permeate",
    "normalised_flow_ratio": "normalised permeate flow over baseline",
    "normalised_salt_passage_ratio": "normalised salt passage over baseline",
    "salt_passage_ratio_since_last_reading": "normalised salt passage over that of the reading before",
    "salt_passage_step_ratio": "salt passage after a sudden change that lasts over that before it",
    "salt_step_mg_per_l": "by how much the permeate TDS rose at that change",
    "flow_at_salt_step_ratio": "the most that is left of the permeate flow since that change",
    "flow_over_previous_membrane": "permeate flow of a new membrane over the lowest of the one before, by their labels",
    "salt_level_ratio": "salt through the membrane at its newest visits over that of its first ones",
    "first_flow_over_label": "permeate flow in the first weeks of the membrane over that of its label",
    "flow_over_label": "permeate flow over what the label gives at this condition",
    "first_waste_ratio_over_design": "waste ratio in the first weeks of the membrane over the nearest of a sound unit",
    "waste_ratio_over_design": "waste ratio over the nearest that a sound unit may have at this temperature",
    "first_salt_passage_over_label": "salt passage in the first weeks of the membrane over that of its label",
    "salt_passage_over_previous_membrane": "the same over that of the membrane before it, each by its own label",
    "feed_read_days_before": "days from the newest feed TDS to this reading, where the feed was not read with it",
    "first_feed_read_days_before": "the same of the readings in the first weeks of the membrane, at most",
    "flow_step_ratio": "permeate flow after a sudden change that lasts over that before it",
    "flow_level_ratio": "normalised permeate flow at the newest visits of the membrane over that of its first ones",
    "flow_level_behind_tank_ratio": "the most that the same may be, where nobody read what a tank held back",
    "flow_over_before_new_carbon": "normalised permeate flow since the carbon was changed over that before",
    "flow_as_read_level_ratio": "permeate flow for each kPa, as read, at the newest visits over that of the first ones",
    "salt_passage_as_read_level_ratio": "salt passage as read at the newest visits over that of the first ones",
    "flow_as_read_step_ratio": "the same after a sudden change that lasts over that before it",
    "flow_level_over_label": "permeate flow at the newest visits over that of the label at their condition",
    "most_flow_over_label": "highest permeate flow since the membrane was fitted over that of its label",
    "least_flow_over_label": "lowest permeate flow since the membrane was fitted over that of its label",
    "days_stood_off": "days from when somebody saw the unit switched off, with this membrane, to the next reading",
    "flow_over_before_standstill": "normalised permeate flow at that reading over that before the unit stood",
    "membrane_visits": "visits that read the membrane well enough to compare",
    "feed_brine_differential_pressure_ratio": "differential pressure along the membrane over its baseline, normalised",
    "salt_balance_closure_fraction": "salt balance, out less in over in",
    "concentrate_langelier_index": "Langelier index of the concentrate",
    "concentrate_silica_share": "silica of the concentrate over its solubility",
    "membrane_exposure_ppm_h": "chlorine exposure of the membrane so far",
    "resin_life_share": "life of the resin so far over the life forecast",
    "previous_resin_life_share": "the same of the resin before it, when it was read as exhausted",
    "fresh_resin_product_tds_mg_per_l": "product TDS at the first visit to the last resin",
    "fresh_resin_first_read_days": "age of that resin at that visit",
    "fresh_resin_read_for_days": "days from that visit to the newest",
    "fresh_resin_visits": "visits that read the product since that resin was fitted",
    "least_fresh_resin_product_tds_mg_per_l": "least product TDS at any visit since that resin was fitted",
    "product_tds_before_fresh_resin_mg_per_l": "usual product TDS within its limit before that resin was fitted",
    "permeate_flow_over_usual": "permeate flow over that of the visits before with the same membrane, as read",
    "concentrate_flow_over_usual": "the same of the concentrate flow",
    "inlet_pressure_over_usual": "the same of the inlet pressure",
    # meters compared on one cup
    "first_meter_tds_mg_per_l": "TDS of one cup by the meter in use",
    "second_meter_tds_mg_per_l": "TDS of the same cup by another meter",
    # the unit and its history
    "inlet_pressure_limit_kpa": "highest pressure of housing and membrane",
    "membrane_age_days": "days since the membrane was fitted",
    "days_since_carbon_change": "days since the carbon was changed",
    "weeks_since_last_reading": "weeks since anybody read the unit",
    "hours_standing": "hours of standstill before the reading",
    "tank_volume_l": "volume of the storage tank",
    "tank_precharge_kpa": "pressure of the air in the empty tank",
}  # fmt: skip
FLAGS: Final[Mapping[str, str]] = {
    "has_booster_pump": "a booster pump is fitted",
    "has_automatic_shutoff": "an automatic shut-off valve is fitted",
    "has_check_valve": "a check valve is fitted behind the membrane",
    "has_tank": "a storage tank is fitted",
    "has_pressurised_tank": "the storage tank is a pressurised one",
    "has_float_valve": "a float valve is fitted",
    "has_resin": "deionising resin is fitted",
    "has_remineralisation": "a remineralising cartridge is fitted",
    "has_uv": "a UV lamp is fitted",
    "has_two_sediment_filters": "two sediment filters are installed in series",
    "has_lag_resin": "a second resin cartridge is installed behind the first",
    "lag_resin_is_exhausted": "the second resin cartridge is exhausted by its own forecast",
    "tank_is_full": "the tank is full",
    "sampled_after_flush": "the permeate sample was taken after flushing",
    "concentrate_is_running": "concentrate runs to drain now",
    "concentrate_is_running_with_full_tank": "concentrate runs although the tank is full",
    "tank_pressure_falls_with_feed_shut": "the tank loses pressure with the feed shut",
    "ammonia_detected": "ammonia was found in the product",
    "silica_detected": "silica was found in the product",
    "algae_reported": "algae are reported in the aquarium",
    "open_cup_sample": "the product was measured in an open cup",
    "totaliser_went_back": "the counter shows less than before",
    "feed_is_unknown": "nobody has read the TDS of the feed by then, and no analysis says it",
    "chloramine_supply": "the supplier uses chloramine",
    "work_was_seen": "somebody saw what has to be repaired, and it stands",
    "never_read": "nobody has read the unit since it was commissioned",
    **OBSERVATION_MEANINGS,
}  # fmt: skip
TEXTS: Final[Mapping[str, tuple[str, ...]]] = {
    "state": ("flowing", "static", ""),
    "tank_valve": ("open", "closed", ""),
    "pump": ("on", "off", ""),
    "membrane_material": ("polyamide", "cellulose", ""),
}  # fmt: skip

CONTEXT_KEYS: Final[Mapping[str, str]] = {
    **_NUMBERS,
    **FLAGS,
    **{name: f"one of {', '.join(repr(value) for value in values)}" for name, values in TEXTS.items()},
}


@dataclass(frozen=True)
class PatternLimits:
    """Where a pattern counts as seen, kPa, mg/L and ratios; common practice without a source unless the rule names one.

    What counts as exhausted is none of them: that is `limits.Limits`.
    """

    assumed_clean_differential_pressure_kpa: float = CLEAN_PREFILTERS_KPA
    most_clean_differential_pressure_kpa: float = 15 * _PSI
    gauge_step_kpa: float = _PSI
    clean_differential_pressure_margin: float = 1.15
    line_pressure_fall_kpa: float = 10 * _PSI
    pump_customary_below_kpa: float = PUMP_CUSTOMARY_BELOW_KPA
    low_pressure_share: float = 0.89
    pump_gain_kpa: float = 10 * _PSI
    inlet_pressure_limit_kpa: float = 125 * _PSI
    inlet_for_permeate_kpa: float = 30 * _PSI
    flow_steady_low: float = 0.93
    flow_steady_high: float = 1.10
    salt_passage_double: float = 2.0
    salt_passage_up: float = 1.10
    salt_passage_jump: float = 1.3
    salt_passage_step: float = 1.5
    flow_step_down: float = 0.88
    first_salt_passage_over_label: float = NEW_SALT_PASSAGE_OVER_LABEL
    label_flow_tolerance: float = LABEL_FLOW_TOLERANCE
    waste_ratio_tolerance: float = WASTE_RATIO_TOLERANCE
    salt_passage_over_previous_membrane: float = 2.0
    flow_sureness: float = 0.92
    flow_of_label: float = 0.85
    coldest_flow_share: float = 0.65
    as_read_flow_steady: float = 0.75
    feed_of_season: float = 1.3
    salt_passage_of_age: float = 1.5
    salt_passage_fall: float = 0.5
    hard_concentrate_tds_mg_per_l: float = 450.0
    chlorine_trace_mg_per_l: float = 0.05
    meter_step_mg_per_l: float = METER_STEP_MG_PER_L
    ratio_high: float = 1.5
    ratio_low: float = 0.67
    shutoff_fraction: float = SHUTOFF_FRACTION
    closure_fraction: float = CLOSURE_LIMIT_FRACTION
    weeks_unread: float = 12.0
    precharge_share: float = 0.6
    resin_colour_fraction: float = 0.75
    gauge_fell_to: float = 0.4
    gauge_rose_to: float = 2.0
    flow_as_ever_low: float = 0.85
    flow_as_ever_high: float = 1.1
    resin_fresh_days: float = 21.0
    resin_early_days: float = 60.0
    resin_part_passed: float = 0.75
    resin_life_explained: float = 0.6
    previous_resin_life_explained: float = 0.3
    minutes_to_steady: float = SETTLING_MINUTES
    temperature_shift_degc: float = 5.0


class Facts:
    """Typed, forgiving access to a context: a missing fact is None, and None never compares."""

    def __init__(self, context: Mapping[str, Fact], limits: Limits[float], pattern_limits: PatternLimits) -> None:
        self.limits, self.pattern_limits = limits, pattern_limits
        self._numbers: dict[str, float] = {}
        self._flags: dict[str, bool] = {}
        self._texts: dict[str, str] = {}
        for name, value in context.items():
            self._store(name, value)

    def _store(self, name: str, value: Fact) -> None:
        if name not in CONTEXT_KEYS:
            raise EngineeringError(name, f"{name!r} is not a fact the diagnosis knows; see CONTEXT_KEYS for the names.")
        if value is None:
            return
        if name in FLAGS:
            if not isinstance(value, bool | np.bool_):
                raise EngineeringError(name, f"Yes or no is needed here (true or false), not {value!r}.")
            self._flags[name] = bool(value)
        elif name in TEXTS:
            if value not in TEXTS[name]:
                choices = ", ".join(repr(choice) for choice in TEXTS[name])
                raise EngineeringError(name, f"{value!r} is not one of {choices}.")
            self._texts[name] = str(value)
        else:
            if isinstance(value, bool | np.bool_) or not isinstance(value, int | float | np.integer | np.floating):
                raise EngineeringError(name, f"A number is needed here, not {value!r}.")
            if np.isinf(value):
                raise EngineeringError(name, "An infinite value is not a measurement; give a finite number.")
            if not np.isnan(value):
                self._numbers[name] = float(value)

    def number(self, name: str) -> float | None:
        """Return a number of the context, or None."""
        return self._numbers.get(_checked(name, _NUMBERS))

    def yes(self, name: str) -> bool:
        """Return whether a flag is known to be true."""
        return self._flags.get(_checked(name, FLAGS)) is True

    def no(self, name: str) -> bool:
        """Return whether a flag is known to be false."""
        return self._flags.get(_checked(name, FLAGS)) is False

    def text(self, name: str) -> str:
        """Return a text of the context, empty when missing."""
        return self._texts.get(name, "")

    def ratio(self, name: str, baseline: str) -> float | None:
        """Return a number over its baseline, or None when either is missing or the baseline is not positive."""
        value, base = self.number(name), self.number(baseline)
        return None if value is None or base is None or base <= 0.0 else value / base

    @property
    def prefilter_differential_pressure_kpa(self) -> float | None:
        """Over the prefilters: as given, or from the gauges that allow it."""
        stated = self.number("prefilter_differential_pressure_kpa")
        if stated is not None:
            return stated
        line, outlet = self.number("line_pressure_kpa"), self.number("prefilter_outlet_pressure_kpa")
        if line is not None and outlet is not None:
            return line - outlet
        inlet = self.number("inlet_pressure_kpa")
        if inlet is None or self.yes("has_booster_pump"):
            return None
        start = line if line is not None else self.number("static_inlet_pressure_kpa")
        return None if start is None else start - inlet

    @property
    def clean_differential_pressure_kpa(self) -> float:
        """Over clean prefilters: of the baseline as far as clean ones may take it, else the usual one."""
        clean = self.number("clean_prefilter_differential_pressure_kpa")
        if clean is None:
            return self.pattern_limits.assumed_clean_differential_pressure_kpa
        return min(clean, self.pattern_limits.most_clean_differential_pressure_kpa)

    @property
    def prefilter_limit_kpa(self) -> float:
        """Differential pressure past which the prefilters are exhausted, at the temperature and flow of the reading.

        It is meant for what a gauge shows in the usual water of the unit, as in the forecast; where nobody knows that,
        at 25 degC. By the pressure behind clean ones; what clean ones take, and a little more, is never past it.
        """
        usual = self.number("usual_temperature_degc")
        return self._prefilter_limit_kpa(_WARM_DEGC if usual is None else usual)

    @property
    def prefilter_limit_in_cold_water_kpa(self) -> float:
        """The same, if it were meant at 25 degC: what no cold day explains."""
        return max(self._prefilter_limit_kpa(_WARM_DEGC), self.prefilter_limit_kpa)

    def _prefilter_limit_kpa(self, meant_at_degc: float) -> float:
        line = self.number("line_pressure_kpa")
        outlet = float("nan") if line is None else line - self.clean_differential_pressure_kpa
        limit = float(self.limits.prefilter_limit_kpa(outlet))
        if self.yes("has_two_sediment_filters"):
            # The two share the one differential that is read across both.
            limit *= 2.0 * self.limits.prefilter_series_fraction
        now, before = self.number("temperature_degc"), self.number("baseline_temperature_degc")
        thick = 1.0 if now is None else _thicker(now, meant_at_degc)
        thicker = 1.0 if now is None or before is None else _thicker(now, before)
        faster = self._feed_flow_ratio
        return faster * max(
            limit * thick,
            self.pattern_limits.clean_differential_pressure_margin * self.clean_differential_pressure_kpa * thicker,
        )

    @property
    def _feed_flow_ratio(self) -> float:
        """Feed flow over that of the baseline, 1 where it is not known; only a larger one explains a higher one."""
        flows = [self.number(name) for name in ("permeate_flow_l_per_day", "concentrate_flow_l_per_day")]
        usual = [
            self.number(name) for name in ("baseline_permeate_flow_l_per_day", "baseline_concentrate_flow_l_per_day")
        ]
        if None in flows or None in usual:
            return 1.0
        now, before = sum(flow or 0.0 for flow in flows), sum(flow or 0.0 for flow in usual)
        return max(now / before, 1.0) if before > 0.0 else 1.0

    @property
    def prefilter_differential_pressure_is_normal(self) -> bool | None:
        """Whether the prefilters are within their limit, or past it by less than two gauges can tell; None when it
        cannot be told.
        """
        differential_kpa = self.prefilter_differential_pressure_kpa
        return (
            None
            if differential_kpa is None
            else differential_kpa <= self.prefilter_limit_kpa + 0.5 * self.pattern_limits.gauge_step_kpa
        )

    @property
    def waste_ratio(self) -> float | None:
        """Concentrate over permeate: as given, from the flows, or from the recovery."""
        stated = self.number("waste_ratio")
        if stated is not None:
            return stated
        permeate, drain = self.number("permeate_flow_l_per_day"), self.number("concentrate_flow_l_per_day")
        if permeate is not None and drain is not None and permeate > 0.0:
            return drain / permeate
        recovery = self.number("recovery_fraction")
        return (1.0 - recovery) / recovery if recovery is not None and 0.0 < recovery <= 1.0 else None

    @property
    def baseline_waste_ratio(self) -> float | None:
        """Waste ratio of the baseline, else of the design."""
        stated = self.number("baseline_waste_ratio")
        if stated is not None and stated > 0.0:
            return stated
        design = self.number("design_recovery_fraction")
        return (1.0 - design) / design if design is not None and 0.0 < design < 1.0 else None

    @property
    def recovery(self) -> float | None:
        """Recovery: as given, else from the waste ratio."""
        stated = self.number("recovery_fraction")
        if stated is not None:
            return stated
        ratio = self.waste_ratio
        return None if ratio is None else 1.0 / (1.0 + ratio)

    @property
    def chlorine_after_carbon(self) -> float | None:
        """The larger of total and free chlorine after the last carbon."""
        readings = [
            value
            for value in (
                self.number("carbon_outlet_total_chlorine_mg_per_l"),
                self.number("carbon_outlet_free_chlorine_mg_per_l"),
            )
            if value is not None
        ]
        return max(readings) if readings else None

    @property
    def chlorine_passes(self) -> bool:
        """Whether chlorine after the last carbon is known to be at its limit or past it."""
        chlorine = self.chlorine_after_carbon
        return chlorine is not None and bool(is_exhausted("chlorine_mg_per_l", chlorine, self.limits.chlorine_mg_per_l))

    @property
    def salt_passage_ratio_raw(self) -> float | None:
        """Salt passage over that of the baseline, not normalised."""
        permeate = self.ratio("permeate_tds_mg_per_l", "baseline_permeate_tds_mg_per_l")
        feed = self.ratio("feed_tds_mg_per_l", "baseline_feed_tds_mg_per_l")
        return None if permeate is None or feed is None or feed <= 0.0 else permeate / feed

    @property
    def concentrate_runs_on(self) -> bool:
        """Whether concentrate is known to run when it should not."""
        if self.yes("concentrate_never_stops") or self.yes("concentrate_is_running_with_full_tank"):
            return True
        drain = self.number("concentrate_flow_l_per_day")
        running = self.yes("concentrate_is_running") or (drain is not None and drain > 0.0)
        return running and self.yes("tank_is_full")


def _thicker(temperature_degc: float, than_at_degc: float) -> float:
    """What a filter takes in water of one temperature over what it takes at another."""
    now, then = (min(max(each, 0.5), 45.0) for each in (temperature_degc, than_at_degc))
    return 1.0 / float(
        normalised_differential_pressure(
            1.0, flow=1.0, reference_flow=1.0, temperature_degc=now, reference_temperature_degc=then
        )
    )


def _checked(name: str, allowed: Mapping[str, object]) -> str:
    if name not in allowed:
        raise KeyError(f"the rules ask for {name!r}, which is not among the facts")
    return name
