"""Conditions on the pressures: prefilters, line, pump."""

from dataclasses import replace
from typing import Final

from fleet.engineering.diagnosis import words
from fleet.engineering.diagnosis.conditions.common import BEHIND_ITS_CAUSE, surely
from fleet.engineering.diagnosis.facts import Facts
from fleet.engineering.diagnosis.record import Evidence
from fleet.engineering.formulas.needed_pressure import pump_is_due_below_kpa

# A line swings with the hour and the neighbours: a fall is clear from one visit when it is so many times its limit.
_CLEAR_FALL: Final = 2.0


def prefilter_clogged(f: Facts) -> Evidence | None:
    """The differential pressure of the prefilters is past their limit."""
    differential_kpa = f.prefilter_differential_pressure_kpa
    if differential_kpa is None or f.prefilter_differential_pressure_is_normal:
        return None
    limit = f.prefilter_limit_kpa
    sure = surely((differential_kpa - limit) / limit)
    if f.number("clean_prefilter_differential_pressure_kpa") is None:
        sure *= 0.8
    return Evidence(
        sure,
        {
            "prefilter_differential_pressure_kpa": differential_kpa,
            "clean_differential_pressure_kpa": f.clean_differential_pressure_kpa,
            "limit_kpa": limit,
        },
        # In cold water a filter near its limit is past it one day and within it the next.
        is_clear=differential_kpa > f.prefilter_limit_in_cold_water_kpa + 0.5 * f.pattern_limits.gauge_step_kpa,
    )


# Of a unit that has them, also where a reading leaves them out.
_OTHER_GAUGES = ("line_pressure_kpa", "baseline_line_pressure_kpa", "clean_prefilter_differential_pressure_kpa")


def _one_gauge_kpa(f: Facts) -> tuple[float, float] | None:
    """Inlet pressure now and soon after the last change of prefilters, of a unit with no other gauge; else None."""
    inlet, clean = f.number("inlet_pressure_kpa"), f.number("clean_inlet_pressure_kpa")
    if inlet is None or clean is None or not f.no("has_booster_pump") or f.text("state") == "static":
        return None
    if f.prefilter_differential_pressure_kpa is not None or any(f.number(name) is not None for name in _OTHER_GAUGES):
        return None
    return inlet, clean


def prefilters_may_be_clogged(f: Facts) -> Evidence | None:
    """The only gauge stands before the membrane, and shows much less than with clean prefilters."""
    pressures = _one_gauge_kpa(f)
    if pressures is None:
        return None
    inlet, clean = pressures
    limit = float(f.limits.prefilter_limit_kpa(clean)) + 0.5 * f.pattern_limits.gauge_step_kpa
    # A line that was strong in the week of the change is back where it was: that is no fall.
    fall = min(clean, f.number("baseline_inlet_pressure_kpa") or clean) - inlet
    if fall < limit:
        return None
    return Evidence(
        surely((fall - limit) / limit, best=0.8),
        {"inlet_pressure_kpa": inlet, "clean_inlet_pressure_kpa": clean},
        is_clear=fall >= _CLEAR_FALL * limit,
    )


def inlet_fell_with_clean_prefilters(f: Facts) -> Evidence | None:
    """With clean prefilters the only gauge shows less than it did: not they, but the line is weaker."""
    pressures, baseline = _one_gauge_kpa(f), f.number("baseline_inlet_pressure_kpa")
    if pressures is None or baseline is None or prefilters_may_be_clogged(f) is not None:
        return None
    inlet, clean = pressures
    fall = baseline - max(inlet, clean)
    # From mark to mark of the one gauge that there is, no more is read than that mark.
    if fall <= f.pattern_limits.line_pressure_fall_kpa + 0.5 * f.pattern_limits.gauge_step_kpa:
        return None
    numbers: dict[str, float | str] = {
        "clean_inlet_pressure_kpa": clean,
        "inlet_pressure_kpa": inlet,
        "baseline_inlet_pressure_kpa": baseline,
    }
    times = fall / f.pattern_limits.line_pressure_fall_kpa
    return Evidence(surely(times - 1.0), numbers, is_clear=times >= _CLEAR_FALL)


def line_pressure_fell(f: Facts) -> Evidence | None:
    """The line is weaker than its baseline, and the prefilters are not to blame."""
    line, baseline = f.number("line_pressure_kpa"), f.number("baseline_line_pressure_kpa")
    if line is None:
        line = f.number("static_inlet_pressure_kpa")
    if line is None or baseline is None or f.prefilter_differential_pressure_is_normal is False:
        return None
    fall = baseline - line
    if fall <= f.pattern_limits.line_pressure_fall_kpa:
        return None
    times = fall / f.pattern_limits.line_pressure_fall_kpa
    numbers: dict[str, float | str] = {"line_pressure_kpa": line, "baseline_line_pressure_kpa": baseline}
    sure = surely(times - 1.0)
    if _drain_runs_free(f):
        # What runs to the drain in streams lowers the pressure of the line as well.
        sure *= BEHIND_ITS_CAUSE
    evidence = Evidence(sure, numbers, is_clear=times >= _CLEAR_FALL)
    if f.prefilter_differential_pressure_is_normal is None:
        installer, client = words.line_pressure_fell_prefilters_unread()
        return replace(evidence, for_installer=installer, for_client=client)
    return evidence


def _drain_runs_free(f: Facts) -> bool:
    """Whether far more concentrate flows than ever, and than the restrictor passes by its label where that is known."""
    drain = f.ratio("concentrate_flow_l_per_day", "baseline_concentrate_flow_l_per_day")
    by_label = f.ratio("concentrate_flow_l_per_day", "most_restrictor_flow_l_per_day")
    limit = f.pattern_limits.ratio_high
    return drain is not None and drain > limit and (by_label is None or by_label > limit)


def pressure_fault(f: Facts) -> bool:
    """Whether a pressure is low for a reason that somebody has to mend: prefilters, line or pump."""
    faults = (
        prefilter_clogged,
        prefilters_may_be_clogged,
        line_pressure_fell,
        inlet_fell_with_clean_prefilters,
        line_low_without_pump,
        pump_without_effect,
    )
    return any(condition(f) is not None for condition in faults)


def line_low_without_pump(f: Facts) -> Evidence | None:
    """The line itself is too weak for a membrane and nothing raises it."""
    line, needed = f.number("line_pressure_kpa"), f.number("needed_inlet_pressure_kpa")
    if line is None or not f.no("has_booster_pump"):
        return None
    # What usual clean prefilters take: ones that take more are to blame themselves, and no line.
    before_membrane = f.pattern_limits.assumed_clean_differential_pressure_kpa
    limit = pump_is_due_below_kpa(needed, f.pattern_limits.pump_customary_below_kpa) + before_membrane
    if line >= limit:
        return None
    margin = (limit - line) / f.pattern_limits.line_pressure_fall_kpa
    numbers: dict[str, float | str] = {"line_pressure_kpa": line, "limit_kpa": limit}
    evidence = Evidence(surely(margin), numbers, is_clear=margin >= _CLEAR_FALL - 1.0)
    if needed is None:
        return evidence
    numbers["needed_inlet_pressure_kpa"] = needed
    return replace(evidence, for_installer=words.line_serves_too_little())


def _drain_takes_the_pressure(f: Facts) -> bool:
    """Whether far more flows to drain than the restrictor passes: no pump holds its pressure at that flow."""
    drain = f.ratio("concentrate_flow_l_per_day", "most_restrictor_flow_l_per_day")
    return drain is not None and drain > f.pattern_limits.ratio_high


def pump_without_effect(f: Facts) -> Evidence | None:
    """A booster pump is fitted, and the inlet pressure shows little of it."""
    inlet = f.number("inlet_pressure_kpa")
    if inlet is None or not f.yes("has_booster_pump") or f.prefilter_differential_pressure_is_normal is False:
        return None
    if f.text("state") == "static" or line_pressure_fell(f) is not None or _drain_takes_the_pressure(f):
        return None
    before = f.number("prefilter_outlet_pressure_kpa")
    if before is None:
        before = f.number("line_pressure_kpa")
    if before is not None and inlet - before < f.pattern_limits.pump_gain_kpa:
        return Evidence(0.8, {"inlet_pressure_kpa": inlet, "before_pump_kpa": before})
    baseline = f.number("baseline_inlet_pressure_kpa")
    if baseline is not None and baseline - inlet > f.pattern_limits.line_pressure_fall_kpa:
        return Evidence(0.65, {"inlet_pressure_kpa": inlet, "baseline_inlet_pressure_kpa": baseline})
    return None


def inlet_too_high(f: Facts) -> Evidence | None:
    """The inlet pressure is above its limit, or the pump never stops."""
    inlet = f.number("inlet_pressure_kpa")
    limit = f.number("inlet_pressure_limit_kpa")
    highest = f.pattern_limits.inlet_pressure_limit_kpa if limit is None else limit
    if inlet is not None and inlet > highest:
        return Evidence(0.9, {"inlet_pressure_kpa": inlet, "limit_kpa": highest})
    if f.yes("pump_never_stops"):
        return Evidence(0.7, {"pump": "never stops"})
    return None
