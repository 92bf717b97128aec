"""Conditions on the flows: feed, permeate, concentrate, tank and valves."""

from typing import Final

from fleet.engineering.diagnosis import words
from fleet.engineering.diagnosis.conditions.common import REST_HIGH, REST_LOW, normalised_flow_is_normal, surely
from fleet.engineering.diagnosis.conditions.pressures import pressure_fault
from fleet.engineering.diagnosis.facts import Facts
from fleet.engineering.diagnosis.record import Evidence
from fleet.engineering.limits import is_exhausted

# A tank at so much of the inlet pressure is as good as full: the valve closes at two thirds (common practice).
_FILLED_OF_INLET: Final = 0.5


def nothing_flows(f: Facts) -> Evidence | None:
    """Neither permeate nor concentrate flows while the unit should run."""
    permeate, drain = f.number("permeate_flow_l_per_day"), f.number("concentrate_flow_l_per_day")
    if permeate != 0.0 or drain != 0.0 or f.text("state") == "static" or f.yes("tank_is_full"):
        return None
    return Evidence(0.85, {"permeate_flow": 0.0, "concentrate_flow": 0.0})


def no_permeate(f: Facts) -> Evidence | None:
    """Concentrate flows under pressure, and no permeate."""
    permeate, drain = f.number("permeate_flow_l_per_day"), f.number("concentrate_flow_l_per_day")
    inlet = f.number("inlet_pressure_kpa")
    if permeate != 0.0 or drain is None or drain <= 0.0 or f.yes("tank_is_full"):
        return None
    if inlet is None or inlet < f.pattern_limits.inlet_for_permeate_kpa:
        return None
    numbers: dict[str, float | str] = {"permeate_flow": 0.0, "concentrate_flow": drain, "inlet_pressure_kpa": inlet}
    tank = f.number("tank_pressure_kpa")
    if f.yes("has_pressurised_tank") and tank is not None and tank >= _FILLED_OF_INLET * inlet:
        # Who draws from a unit that makes no water empties its tank: this one is full, and the drain should be still.
        return Evidence(0.6, {**numbers, "tank_pressure_kpa": tank}, *words.no_permeate_into_a_full_tank())
    return Evidence(0.85, numbers)


def tank_over_line(f: Facts) -> float | None:
    line = f.number("line_pressure_kpa")
    if line is None:
        line = f.number("static_inlet_pressure_kpa")
    tank = f.number("tank_pressure_kpa")
    return None if tank is None or line is None or line <= 0.0 else tank / line


def _tank_falls(f: Facts) -> bool | None:
    if f.yes("tank_pressure_falls_with_feed_shut"):
        return True
    if f.no("tank_pressure_falls_with_feed_shut"):
        return False
    tank, after = f.number("tank_pressure_kpa"), f.number("tank_pressure_after_feed_shut_kpa")
    return None if tank is None or after is None else after < 0.9 * tank


def shutoff_does_not_close(f: Facts) -> Evidence | None:
    """The tank is as full as the line can make it, and concentrate runs on."""
    share = tank_over_line(f)
    if share is None or share < f.pattern_limits.shutoff_fraction - 0.005 or f.no("has_automatic_shutoff"):
        return None
    numbers: dict[str, float | str] = {"tank_over_line": share, "closes_at": f.pattern_limits.shutoff_fraction}
    if f.concentrate_runs_on:
        return Evidence(0.85, numbers)
    # Running at this tank pressure is enough to ask, unless somebody saw that the tank was not full yet.
    drain = f.number("concentrate_flow_l_per_day")
    running = f.yes("concentrate_is_running") or (drain is not None and drain > 0.0)
    return Evidence(0.6, numbers) if running and not f.no("tank_is_full") else None


def check_valve_leaks(f: Facts) -> Evidence | None:
    """The tank loses pressure with the feed shut."""
    if _tank_falls(f) is not True:
        return None
    share = tank_over_line(f)
    if share is not None and share >= f.pattern_limits.shutoff_fraction:
        return None
    runs = f.concentrate_runs_on or f.yes("concentrate_is_running")
    return Evidence(0.9 if runs and share is not None else 0.7, {} if share is None else {"tank_over_line": share})


def tank_does_not_fill(f: Facts) -> Evidence | None:
    """Concentrate never stops, and the tank stays low and steady."""
    share = tank_over_line(f)
    if share is None or share >= f.pattern_limits.shutoff_fraction or not f.yes("concentrate_never_stops"):
        return None
    if _tank_falls(f) is True:
        return None
    return Evidence(0.7 if _tank_falls(f) is False else 0.55, {"tank_over_line": share})


def _ratio_change(f: Facts) -> float | None:
    ratio, baseline = f.waste_ratio, f.baseline_waste_ratio
    return None if ratio is None or baseline is None or baseline <= 0.0 else ratio / baseline


def _more_waste(f: Facts) -> float | None:
    """Much waste over that of the baseline, while the membrane is as it was; None where it is not so.

    Beside a fault of the pressure there is none: what has to be mended is not called normal.
    """
    change = _ratio_change(f)
    if change is None or change < 1.2 or not normalised_flow_is_normal(f) or pressure_fault(f):
        return None
    return change


def _colder_degc(f: Facts) -> float | None:
    """Temperature of water that is colder than in the baseline, else None."""
    temperature, base = f.number("temperature_degc"), f.number("baseline_temperature_degc")
    if temperature is None or base is None or temperature > base - f.pattern_limits.temperature_shift_degc:
        return None
    return temperature


def _weaker(f: Facts) -> float | None:
    """Pressure over that of the baseline, where it is lower than the hour of the day makes it; else None."""
    pressure = f.ratio("inlet_pressure_kpa", "baseline_inlet_pressure_kpa")
    if pressure is None:
        pressure = f.ratio("line_pressure_kpa", "baseline_line_pressure_kpa")
    low = f.pattern_limits.low_pressure_share
    return pressure if pressure is not None and pressure < low else None


def colder_feed(f: Facts) -> Evidence | None:
    """Much waste, and nothing but colder water that explains it."""
    change, temperature = _more_waste(f), _colder_degc(f)
    if change is None or temperature is None or _weaker(f) is not None:
        return None
    return Evidence(0.8, {"waste_ratio_over_baseline": change, "temperature_degc": temperature})


def weaker_feed(f: Facts) -> Evidence | None:
    """Much waste, and a low pressure that explains it, with or without colder water."""
    change, temperature, pressure = _more_waste(f), _colder_degc(f), _weaker(f)
    if change is None or pressure is None:
        return None
    if temperature is None:
        return Evidence(0.8, {"waste_ratio_over_baseline": change, "pressure_over_baseline": pressure})
    numbers = {
        "waste_ratio_over_baseline": change,
        "temperature_degc": temperature,
        "pressure_over_baseline": pressure,
    }
    return Evidence(0.8, numbers, *words.waste_from_low_pressure_and_cold())


def too_little_concentrate(f: Facts) -> Evidence | None:
    """Recovery far above the baseline or the design, and a drain that does not run as ever."""
    recovery, design = f.recovery, f.number("design_recovery_fraction")
    first = f.number("first_waste_ratio_over_design")
    if first is not None and first < 1.0 - f.pattern_limits.waste_ratio_tolerance:
        # It never passed more: it is of another size, which a rule of its own says.
        return None
    # Where it passed too much at first, its past says nothing of the one that is fitted now.
    was_wide = first is not None and first > 1.0 + f.pattern_limits.waste_ratio_tolerance
    change = None if was_wide else _ratio_change(f)
    flow = f.number("normalised_flow_ratio")
    # A drain that runs as ever is not blocked, whatever warmth or pressure did to the permeate.
    drain = f.ratio("concentrate_flow_l_per_day", "baseline_concentrate_flow_l_per_day")
    by_label = f.ratio("concentrate_flow_l_per_day", "least_restrictor_flow_l_per_day")
    if by_label is not None and 0.0 < by_label < f.pattern_limits.ratio_low:
        sure = surely(f.pattern_limits.ratio_low / by_label - 1.0, at_limit=0.65)
        return Evidence(
            sure,
            {"concentrate_flow_over_label": by_label},
            words.less_than_the_restrictor_passes(by_label),
            # Half of what is too little no slip of a bucket explains, and scale does not wait for the next visit.
            is_clear=by_label < 0.5 * f.pattern_limits.ratio_low,
        )
    if any(share is not None and share >= 0.8 for share in (drain, by_label)):
        return None
    # More permeate than ever explains a low ratio just as well as less concentrate does, unless the drain alone is low.
    if flow is not None and flow > REST_HIGH and (drain is None or drain >= f.pattern_limits.ratio_low):
        return None
    if change is not None and change < f.pattern_limits.ratio_low:
        return Evidence(
            surely(f.pattern_limits.ratio_low / max(change, 0.05) - 1.0), {"waste_ratio_over_baseline": change}
        )
    if recovery is not None and design is not None and design > 0.0 and recovery > f.pattern_limits.ratio_high * design:
        return Evidence(
            surely(recovery / design - f.pattern_limits.ratio_high), {"recovery": recovery, "design": design}
        )
    return None


def too_much_concentrate(f: Facts) -> Evidence | None:
    """Much waste, and a concentrate flow above the baseline."""
    change = _ratio_change(f)
    drain = f.ratio("concentrate_flow_l_per_day", "baseline_concentrate_flow_l_per_day")
    inlet = f.ratio("inlet_pressure_kpa", "baseline_inlet_pressure_kpa")
    by_label = f.ratio("concentrate_flow_l_per_day", "most_restrictor_flow_l_per_day")
    first, now = f.number("first_waste_ratio_over_design"), f.number("waste_ratio_over_design")
    tolerance = f.pattern_limits.waste_ratio_tolerance
    if first is not None and first > 1.0 + tolerance and (change is None or change <= f.pattern_limits.ratio_high):
        # It has passed that much since the membrane was fitted, which a rule of its own says.
        return None
    if by_label is not None and by_label > f.pattern_limits.ratio_high:
        sure = surely(by_label / f.pattern_limits.ratio_high - 1.0, at_limit=0.8)
        return Evidence(
            sure, {"concentrate_flow_over_label": by_label}, words.more_than_the_restrictor_passes(by_label)
        )
    if change is None or change <= f.pattern_limits.ratio_high:
        return None
    if first is not None and now is not None and first < 1.0 - tolerance and now <= 1.0 + tolerance:
        # More than ever, and as by design: the restrictor that was too tight has been replaced.
        return None
    if drain is not None and drain > 1.3:
        sure = 0.85 if inlet is not None and inlet < 0.95 else 0.65
        return Evidence(sure, {"waste_ratio_over_baseline": change, "concentrate_flow_over_baseline": drain})
    if drain is None and inlet is not None and inlet < REST_LOW and normalised_flow_is_normal(f):
        return Evidence(0.5, {"waste_ratio_over_baseline": change, "inlet_pressure_over_baseline": inlet})
    return None


def tank_pushes_back(f: Facts) -> Evidence | None:
    """Less permeate while the tank is filling, and a membrane that is as it was.

    Beside a fault of the pressure there is none: what has to be mended is not called normal.
    """
    share = tank_over_line(f)
    flow = f.ratio("permeate_flow_l_per_day", "baseline_permeate_flow_l_per_day")
    if (
        share is None
        or flow is None
        or share < 0.25
        or not is_exhausted("membrane_flow_fraction", flow, f.limits.membrane_flow_fraction)
        or f.text("tank_valve") == "closed"
        or pressure_fault(f)
    ):
        return None
    passage = f.salt_passage_ratio_raw
    numbers: dict[str, float | str] = {"tank_over_line": share, "permeate_flow_over_baseline": flow}
    if passage is not None:
        numbers["salt_passage_over_baseline"] = passage
    if normalised_flow_is_normal(f) is False:
        return None
    return Evidence(0.8 if passage is not None and passage > 1.1 else 0.6, numbers)


def pump_cycles(f: Facts) -> Evidence | None:
    """The pump is reported to start and stop in quick turn."""
    return Evidence(0.8, {"pump": "cycles rapidly"}) if f.yes("pump_cycles_rapidly") else None
