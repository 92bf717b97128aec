"""When each pattern is there. Pure functions of the facts; `rules` says what each means.

Every condition answers None as soon as a fact it needs is missing: silence, not a guess.
"""

import math
from typing import Final

from fleet.engineering.diagnosis.facts import Facts
from fleet.engineering.diagnosis.record import Evidence

_REST_LOW: Final = 0.90
_REST_HIGH: Final = 1.15


def surely(margin: float, *, at_limit: float = 0.55, best: float = 0.95) -> float:
    """Return a confidence that grows with the margin beyond a limit, in units of what is clear.

    Examples
    --------
    >>> round(surely(0.0), 2), round(surely(2.0), 2)
    (0.55, 0.9)
    """
    return at_limit + (best - at_limit) * (1.0 - math.exp(-max(margin, 0.0)))


# --- state of the reading ------------------------------------------------------------------------------------------


def not_steady(f: Facts) -> Evidence | None:
    """D38: read too soon, or against a tank whose state is not known."""
    if f.text("state") == "static":
        return None
    minutes = f.number("minutes_since_start")
    if minutes is not None and minutes < f.limits.minutes_to_steady:
        return Evidence(0.95, {"minutes_since_start": minutes})
    tank_unknown = f.text("tank_valve") == "" and f.number("tank_pressure_kpa") is None
    if f.yes("has_tank") and tank_unknown and f.number("permeate_flow_l_per_day") is not None:
        return Evidence(0.7, {"tank_valve": "not recorded"})
    return None


# --- meters --------------------------------------------------------------------------------------------------------


def meters_disagree(f: Facts) -> Evidence | None:
    """D17."""
    first, second = f.number("first_meter_tds_mg_per_l"), f.number("second_meter_tds_mg_per_l")
    if first is None or second is None:
        return None
    gap, larger = abs(first - second), max(first, second)
    allowed = max(0.10 * larger, 3.0 * f.limits.meter_step_mg_per_l)
    if gap <= allowed:
        return None
    return Evidence(surely(gap / allowed - 1.0), {"first_meter": first, "second_meter": second})


def probes_swapped(f: Facts) -> Evidence | None:
    """D18: permeate above feed, and exchanging the two brings the baselines back."""
    feed, permeate = f.number("feed_tds_mg_per_l"), f.number("permeate_tds_mg_per_l")
    if feed is None or permeate is None or permeate <= feed:
        return None
    base_feed = f.number("baseline_feed_tds_mg_per_l")
    base_permeate = f.number("baseline_permeate_tds_mg_per_l")
    if base_feed is None or base_feed <= 0.0 or abs(permeate - base_feed) > 0.2 * base_feed:
        return None
    if base_permeate is not None and abs(feed - base_permeate) > max(0.5 * base_permeate, 5.0):
        return None
    confidence = 0.95 if base_permeate is not None else 0.85
    return Evidence(confidence, {"feed_tds": feed, "permeate_tds": permeate, "baseline_feed_tds": base_feed})


def permeate_above_feed(f: Facts) -> Evidence | None:
    """D19: permeate above feed, and exchanging them does not explain it."""
    feed, permeate = f.number("feed_tds_mg_per_l"), f.number("permeate_tds_mg_per_l")
    if feed is None or permeate is None or permeate <= feed or probes_swapped(f) is not None:
        return None
    return Evidence(0.8, {"feed_tds": feed, "permeate_tds": permeate})


def impossible_flow(f: Facts) -> Evidence | None:
    """D20."""
    permeate, drain = f.number("permeate_flow_l_per_day"), f.number("concentrate_flow_l_per_day")
    for name, flow in (("permeate_flow", permeate), ("concentrate_flow", drain)):
        if flow is not None and flow < 0.0:
            return Evidence(0.95, {name: flow})
    if f.yes("totaliser_went_back"):
        return Evidence(0.9, {"totaliser": "less than before"})
    expected = f.number("expected_permeate_flow_l_per_day")
    if permeate is not None and expected is not None and expected > 0.0 and permeate > 2.5 * expected:
        return Evidence(surely(permeate / expected - 2.5), {"permeate_flow": permeate, "expected": expected})
    if permeate is not None and drain is not None and permeate > 0.0 and drain == 0.0:
        return Evidence(0.6, {"permeate_flow": permeate, "concentrate_flow": drain})
    return None


def salt_balance_open(f: Facts) -> Evidence | None:
    """D36."""
    closure = f.number("salt_balance_closure_fraction")
    if closure is None or abs(closure) <= f.limits.closure_fraction:
        return None
    return Evidence(surely(abs(closure) / f.limits.closure_fraction - 1.0), {"salt_balance_closure": closure})


def chlorine_tests_contradict(f: Facts) -> Evidence | None:
    """D43: free above total, or more chlorine after the carbon than before it."""
    pairs = (
        ("feed_free_chlorine_mg_per_l", "feed_total_chlorine_mg_per_l"),
        ("carbon_outlet_free_chlorine_mg_per_l", "carbon_outlet_total_chlorine_mg_per_l"),
        ("carbon_outlet_total_chlorine_mg_per_l", "feed_total_chlorine_mg_per_l"),
    )
    for part, whole in pairs:
        small, large = f.number(part), f.number(whole)
        if small is not None and large is not None and small > large + 0.02:
            return Evidence(0.9, {part: small, whole: large})
    return None


# --- pressures -----------------------------------------------------------------------------------------------------


def prefilter_clogged(f: Facts) -> Evidence | None:
    """D01."""
    drop = f.prefilter_drop_kpa
    if drop is None or f.prefilter_drop_is_normal:
        return None
    clean = f.number("clean_prefilter_drop_kpa")
    base = f.limits.assumed_clean_drop_kpa if clean is None else clean
    margin = (drop - base - f.limits.prefilter_drop_rise_kpa) / f.limits.prefilter_drop_rise_kpa
    sure = surely(margin) if clean is not None else 0.8 * surely(margin)
    return Evidence(sure, {"prefilter_drop_kpa": drop, "clean_drop_kpa": base})


def line_pressure_fell(f: Facts) -> Evidence | None:
    """D02."""
    line, baseline = f.number("line_pressure_kpa"), f.number("baseline_line_pressure_kpa")
    if line is None:
        line = f.number("static_inlet_pressure_kpa")
    if line is None or baseline is None or f.prefilter_drop_is_normal is False:
        return None
    fall = baseline - line
    if fall <= f.limits.line_pressure_fall_kpa:
        return None
    sure = surely(fall / f.limits.line_pressure_fall_kpa - 1.0)
    return Evidence(sure, {"line_pressure_kpa": line, "baseline_line_pressure_kpa": baseline})


def line_low_without_pump(f: Facts) -> Evidence | None:
    """D42: the line itself is too weak for a membrane and nothing raises it."""
    line = f.number("line_pressure_kpa")
    if line is None or not f.no("has_booster_pump") or line >= f.limits.low_line_pressure_kpa:
        return None
    margin = (f.limits.low_line_pressure_kpa - line) / f.limits.line_pressure_fall_kpa
    return Evidence(surely(margin), {"line_pressure_kpa": line, "limit_kpa": f.limits.low_line_pressure_kpa})


def pump_without_effect(f: Facts) -> Evidence | None:
    """D03."""
    inlet = f.number("inlet_pressure_kpa")
    if inlet is None or not f.yes("has_booster_pump") or f.prefilter_drop_is_normal is False:
        return None
    if f.text("state") == "static" or line_pressure_fell(f) is not None:
        return None
    before = f.number("prefilter_outlet_pressure_kpa")
    if before is None:
        before = f.number("line_pressure_kpa")
    if before is not None and inlet - before < f.limits.pump_gain_kpa:
        return Evidence(0.8, {"inlet_pressure_kpa": inlet, "before_pump_kpa": before})
    baseline = f.number("baseline_inlet_pressure_kpa")
    if baseline is not None and baseline - inlet > f.limits.line_pressure_fall_kpa:
        return Evidence(0.65, {"inlet_pressure_kpa": inlet, "baseline_inlet_pressure_kpa": baseline})
    return None


def inlet_too_high(f: Facts) -> Evidence | None:
    """D04."""
    inlet = f.number("inlet_pressure_kpa")
    limit = f.number("inlet_pressure_limit_kpa")
    highest = f.limits.inlet_pressure_limit_kpa if limit is None else limit
    if inlet is not None and inlet > highest:
        return Evidence(0.9, {"inlet_pressure_kpa": inlet, "limit_kpa": highest})
    if f.yes("pump_never_stops"):
        return Evidence(0.7, {"pump": "never stops"})
    return None


# --- flows ---------------------------------------------------------------------------------------------------------


def nothing_flows(f: Facts) -> Evidence | None:
    """D29."""
    permeate, drain = f.number("permeate_flow_l_per_day"), f.number("concentrate_flow_l_per_day")
    if permeate != 0.0 or drain != 0.0 or f.text("state") == "static" or f.yes("tank_is_full"):
        return None
    return Evidence(0.85, {"permeate_flow": 0.0, "concentrate_flow": 0.0})


def no_permeate(f: Facts) -> Evidence | None:
    """D28."""
    permeate, drain = f.number("permeate_flow_l_per_day"), f.number("concentrate_flow_l_per_day")
    inlet = f.number("inlet_pressure_kpa")
    if permeate != 0.0 or drain is None or drain <= 0.0 or f.yes("tank_is_full"):
        return None
    if inlet is None or inlet < f.limits.inlet_for_permeate_kpa:
        return None
    return Evidence(0.85, {"permeate_flow": 0.0, "concentrate_flow": drain, "inlet_pressure_kpa": inlet})


def _tank_over_line(f: Facts) -> float | None:
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
    """D21."""
    share = _tank_over_line(f)
    if not f.concentrate_runs_on or share is None or f.no("has_automatic_shutoff"):
        return None
    if share < f.limits.shutoff_fraction - 0.005:
        return None
    return Evidence(0.85, {"tank_over_line": share, "closes_at": f.limits.shutoff_fraction})


def check_valve_leaks(f: Facts) -> Evidence | None:
    """D22."""
    if _tank_falls(f) is not True:
        return None
    share = _tank_over_line(f)
    if share is not None and share >= f.limits.shutoff_fraction:
        return None
    runs = f.concentrate_runs_on or f.yes("concentrate_is_running")
    return Evidence(0.9 if runs and share is not None else 0.7, {} if share is None else {"tank_over_line": share})


def tank_does_not_fill(f: Facts) -> Evidence | None:
    """D23."""
    share = _tank_over_line(f)
    if share is None or share >= f.limits.shutoff_fraction or not f.yes("concentrate_never_stops"):
        return None
    if _tank_falls(f) is True:
        return None
    return Evidence(0.7 if _tank_falls(f) is False else 0.55, {"tank_over_line": share})


def _ratio_change(f: Facts) -> float | None:
    ratio, baseline = f.waste_ratio, f.baseline_waste_ratio
    return None if ratio is None or baseline is None or baseline <= 0.0 else ratio / baseline


def _normalised_flow_is_normal(f: Facts) -> bool | None:
    flow = f.number("normalised_flow_ratio")
    return None if flow is None else _REST_LOW <= flow <= _REST_HIGH


def cold_or_weak_feed(f: Facts) -> Evidence | None:
    """D24: much waste, but the membrane is as it was; the water is cold or the pressure low."""
    change = _ratio_change(f)
    if change is None or change < 1.15 or not _normalised_flow_is_normal(f):
        return None
    numbers: dict[str, float | str] = {"waste_ratio_over_baseline": change}
    temperature, base = f.number("temperature_degc"), f.number("baseline_temperature_degc")
    cold = temperature is not None and temperature <= (15.0 if base is None else base - f.limits.temperature_shift_degc)
    pressure = f.ratio("inlet_pressure_kpa", "baseline_inlet_pressure_kpa")
    if pressure is None:
        pressure = f.ratio("line_pressure_kpa", "baseline_line_pressure_kpa")
    weak = pressure is not None and pressure < _REST_LOW
    if not (cold or weak):
        return None
    if cold and temperature is not None:
        numbers["temperature_degc"] = temperature
    if weak and pressure is not None:
        numbers["pressure_over_baseline"] = pressure
    return Evidence(0.8, numbers)


def too_little_concentrate(f: Facts) -> Evidence | None:
    """D25."""
    recovery, design = f.recovery, f.number("design_recovery_fraction")
    change = _ratio_change(f)
    flow = f.number("normalised_flow_ratio")
    # More permeate than ever explains a low ratio just as well as less concentrate does.
    if flow is not None and flow > _REST_HIGH:
        return None
    if change is not None and change < f.limits.ratio_low:
        return Evidence(surely(f.limits.ratio_low / max(change, 0.05) - 1.0), {"waste_ratio_over_baseline": change})
    if recovery is not None and design is not None and design > 0.0 and recovery > f.limits.ratio_high * design:
        return Evidence(surely(recovery / design - f.limits.ratio_high), {"recovery": recovery, "design": design})
    return None


def too_much_concentrate(f: Facts) -> Evidence | None:
    """D26."""
    change = _ratio_change(f)
    drain = f.ratio("concentrate_flow_l_per_day", "baseline_concentrate_flow_l_per_day")
    inlet = f.ratio("inlet_pressure_kpa", "baseline_inlet_pressure_kpa")
    if change is None or change <= f.limits.ratio_high:
        return None
    if drain is not None and drain > 1.3:
        sure = 0.85 if inlet is not None and inlet < 0.95 else 0.65
        return Evidence(sure, {"waste_ratio_over_baseline": change, "concentrate_flow_over_baseline": drain})
    if drain is None and inlet is not None and inlet < _REST_LOW and _normalised_flow_is_normal(f):
        return Evidence(0.5, {"waste_ratio_over_baseline": change, "inlet_pressure_over_baseline": inlet})
    return None


def tank_pushes_back(f: Facts) -> Evidence | None:
    """D27."""
    share = _tank_over_line(f)
    flow = f.ratio("permeate_flow_l_per_day", "baseline_permeate_flow_l_per_day")
    if (
        share is None
        or flow is None
        or share < 0.25
        or flow > f.limits.flow_act_ratio
        or f.text("tank_valve") == "closed"
    ):
        return None
    passage = f.salt_passage_ratio_raw
    numbers: dict[str, float | str] = {"tank_over_line": share, "permeate_flow_over_baseline": flow}
    if passage is not None:
        numbers["salt_passage_over_baseline"] = passage
    if _normalised_flow_is_normal(f) is False:
        return None
    return Evidence(0.8 if passage is not None and passage > 1.1 else 0.6, numbers)


def pump_cycles(f: Facts) -> Evidence | None:
    """D40."""
    return Evidence(0.8, {"pump": "cycles rapidly"}) if f.yes("pump_cycles_rapidly") else None


# --- membrane ------------------------------------------------------------------------------------------------------


def _membrane(f: Facts) -> tuple[float, float] | None:
    flow, passage = f.number("normalised_flow_ratio"), f.number("normalised_salt_passage_ratio")
    return None if flow is None or passage is None else (flow, passage)


def _numbers(flow: float, passage: float, **more: float) -> dict[str, float | str]:
    return {"normalised_flow_ratio": flow, "normalised_salt_passage_ratio": passage, **more}


def oxidised(f: Facts) -> Evidence | None:
    """D05."""
    both = _membrane(f)
    if both is None or f.text("membrane_material") == "cellulose":
        return None
    flow, passage = both
    if flow < f.limits.flow_steady_low or passage < f.limits.salt_passage_double:
        return None
    chlorine, exposure = f.chlorine_after_carbon, f.number("membrane_exposure_ppm_h")
    if chlorine is not None and chlorine >= f.limits.chlorine_act_mg_per_l:
        return Evidence(
            surely(passage - f.limits.salt_passage_double, at_limit=0.8), _numbers(flow, passage, chlorine=chlorine)
        )
    if exposure is not None and exposure >= 200.0:
        return Evidence(0.6, _numbers(flow, passage, exposure_ppm_h=exposure))
    return None


def leaking_past(f: Facts) -> Evidence | None:
    """D06."""
    both = _membrane(f)
    if both is None:
        return None
    flow, passage = both
    chlorine = f.chlorine_after_carbon
    if chlorine is not None and chlorine >= f.limits.chlorine_act_mg_per_l:
        return None
    if not f.limits.flow_steady_low <= flow <= f.limits.flow_steady_high:
        return None
    jump = f.number("salt_passage_ratio_since_last_reading")
    if jump is not None and jump >= f.limits.salt_passage_jump and passage >= f.limits.salt_passage_jump:
        return Evidence(0.8 if chlorine is not None else 0.65, _numbers(flow, passage, jump=jump))
    if jump is None and passage >= f.limits.salt_passage_double:
        return Evidence(0.55 if chlorine is not None else 0.45, _numbers(flow, passage))
    return None


def scaled(f: Facts) -> Evidence | None:
    """D07."""
    both = _membrane(f)
    if both is None:
        return None
    flow, passage = both
    if flow > f.limits.flow_act_ratio or passage <= f.limits.salt_passage_up:
        return None
    index, silica = f.number("concentrate_langelier_index"), f.number("concentrate_silica_share")
    if index is not None and index > 0.0:
        return Evidence(surely(2.0 * index, at_limit=0.6), _numbers(flow, passage, langelier_index=index))
    if silica is not None and silica >= 0.9:
        return Evidence(0.7, _numbers(flow, passage, silica_share=silica))
    return None


def fouled(f: Facts) -> Evidence | None:
    """D08."""
    both = _membrane(f)
    if both is None:
        return None
    flow, passage = both
    if flow > f.limits.flow_act_ratio or passage > 1.2:
        return None
    drop = f.number("feed_brine_drop_ratio")
    if drop is not None and drop >= 1.1:
        return Evidence(surely(5.0 * (drop - 1.1), at_limit=0.65), _numbers(flow, passage, drop_ratio=drop))
    if f.yes("smell_or_slime"):
        return Evidence(0.75, _numbers(flow, passage))
    index = f.number("concentrate_langelier_index")
    if passage <= f.limits.salt_passage_up and (index is None or index <= 0.0):
        return Evidence(0.45, _numbers(flow, passage))
    return None


def running_in(f: Facts) -> Evidence | None:
    """D09."""
    both, age = _membrane(f), f.number("membrane_age_days")
    if both is None or age is None or age > 42.0:
        return None
    flow, passage = both
    if 0.88 <= flow <= 0.97 and passage <= 1.05:
        return Evidence(0.75, _numbers(flow, passage, membrane_age_days=age))
    return None


def aged(f: Facts) -> Evidence | None:
    """D10."""
    both, age = _membrane(f), f.number("membrane_age_days")
    if both is None or age is None or age < 730.0:
        return None
    flow, passage = both
    chlorine, jump = f.chlorine_after_carbon, f.number("salt_passage_ratio_since_last_reading")
    if flow >= f.limits.flow_steady_low or passage <= f.limits.salt_passage_up or scaled(f) is not None:
        return None
    if (chlorine is not None and chlorine >= f.limits.chlorine_act_mg_per_l) or (
        jump is not None and jump >= f.limits.salt_passage_jump
    ):
        return None
    return Evidence(0.65, _numbers(flow, passage, membrane_age_days=age))


def creep(f: Facts) -> Evidence | None:
    """D14."""
    first, later = f.number("permeate_tds_at_start_mg_per_l"), f.number("permeate_tds_mg_per_l")
    if first is None or later is None or first < 2.0 * later or first - later < 5.0 * f.limits.meter_step_mg_per_l:
        return None
    change = f.ratio("permeate_tds_mg_per_l", "baseline_permeate_tds_mg_per_l")
    if change is not None and change > 1.3:
        return None
    return Evidence(0.9 if change is not None else 0.7, {"first_minute_tds": first, "flushed_tds": later})


def supply_changed(f: Facts) -> Evidence | None:
    """D15."""
    permeate = f.ratio("permeate_tds_mg_per_l", "baseline_permeate_tds_mg_per_l")
    feed = f.ratio("feed_tds_mg_per_l", "baseline_feed_tds_mg_per_l")
    if permeate is None or feed is None or feed < 1.2 or permeate < 1.15:
        return None
    passage = f.number("normalised_salt_passage_ratio")
    in_proportion = abs(permeate / feed - 1.0) <= 0.25
    normal = passage is None or 0.8 <= passage <= 1.2
    if not (in_proportion and normal):
        return None
    return Evidence(
        0.85 if passage is not None else 0.7, {"permeate_over_baseline": permeate, "feed_over_baseline": feed}
    )


def low_driving_pressure(f: Facts) -> Evidence | None:
    """D16."""
    both = _membrane(f)
    permeate = f.ratio("permeate_tds_mg_per_l", "baseline_permeate_tds_mg_per_l")
    flow = f.ratio("permeate_flow_l_per_day", "baseline_permeate_flow_l_per_day")
    inlet = f.ratio("inlet_pressure_kpa", "baseline_inlet_pressure_kpa")
    if both is None or permeate is None or flow is None or inlet is None:
        return None
    normal = _REST_LOW <= both[0] <= _REST_HIGH and both[1] <= 1.2
    if not normal or permeate < 1.1 or flow > 0.95 or inlet > 0.95:
        return None
    return Evidence(
        0.85, {"inlet_over_baseline": inlet, "flow_over_baseline": flow, "permeate_tds_over_baseline": permeate}
    )


def warm_water(f: Facts) -> Evidence | None:
    """D37."""
    temperature, base = f.number("temperature_degc"), f.number("baseline_temperature_degc")
    flow = f.ratio("permeate_flow_l_per_day", "baseline_permeate_flow_l_per_day")
    passage = f.salt_passage_ratio_raw
    if temperature is None or base is None or flow is None or passage is None:
        return None
    if temperature - base <= f.limits.temperature_shift_degc or flow <= 1.05 or passage <= 1.05:
        return None
    if _normalised_flow_is_normal(f) is False:
        return None
    return Evidence(0.8, {"temperature_degc": temperature, "baseline_degc": base, "flow_over_baseline": flow})


# --- resin ---------------------------------------------------------------------------------------------------------


def _permeate_for_ratio(f: Facts) -> float | None:
    permeate = f.number("permeate_tds_mg_per_l")
    return permeate if permeate is not None and permeate >= 3.0 * f.limits.meter_step_mg_per_l else None


def _as_permeate(f: Facts, outlet: float, permeate: float) -> float | None:
    """How surely an outlet reads as the permeate: clear at 0.95 of it, likely within one step of the meter below."""
    share = outlet / permeate
    limit = f.limits.resin_exhausted_fraction
    if share >= limit:
        return 0.9
    return 0.6 if share >= limit - min(f.limits.meter_step_mg_per_l / permeate, 0.12) else None


def lead_exhausted(f: Facts) -> Evidence | None:
    """D11."""
    permeate, lead = _permeate_for_ratio(f), f.number("interstage_tds_mg_per_l")
    product = f.number("product_tds_mg_per_l")
    if permeate is None or lead is None:
        return None
    sure = _as_permeate(f, lead, permeate)
    if sure is None or (product is not None and _as_permeate(f, product, permeate) is not None):
        return None
    holds = product is not None and product <= f.limits.product_limit_mg_per_l
    return Evidence(sure if holds else 0.8 * sure, {"lead_outlet_over_permeate": lead / permeate})


def both_exhausted(f: Facts) -> Evidence | None:
    """D12."""
    permeate, lead = _permeate_for_ratio(f), f.number("interstage_tds_mg_per_l")
    product = f.number("product_tds_mg_per_l")
    if permeate is None or product is None:
        return None
    sure = _as_permeate(f, product, permeate)
    if sure is None:
        return None
    if lead is None:
        return Evidence(0.75 * sure, {"product_over_permeate": product / permeate})
    of_lead = _as_permeate(f, lead, permeate)
    if of_lead is None:
        return None
    return Evidence(
        min(sure, of_lead), {"lead_outlet_over_permeate": lead / permeate, "product_over_permeate": product / permeate}
    )


def resin_short_lived(f: Facts) -> Evidence | None:
    """D13."""
    share = f.number("resin_life_share")
    if share is None or share >= 0.6:
        return None
    product = f.number("product_tds_mg_per_l")
    spent = lead_exhausted(f) or both_exhausted(f)
    if spent is None and not (product is not None and product > f.limits.product_limit_mg_per_l):
        return None
    change = f.ratio("permeate_tds_mg_per_l", "baseline_permeate_tds_mg_per_l")
    if change is not None and change > 1.2:
        return None
    return Evidence(surely(2.0 * (0.6 - share)), {"resin_life_share": share})


def product_above_permeate(f: Facts) -> Evidence | None:
    """D32."""
    permeate, product = f.number("permeate_tds_mg_per_l"), f.number("product_tds_mg_per_l")
    if permeate is None or product is None or f.no("has_resin"):
        return None
    if product <= permeate + max(1.0 * f.limits.meter_step_mg_per_l, 0.1 * permeate):
        return None
    return Evidence(0.75, {"product_tds": product, "permeate_tds": permeate})


def weak_ions_through(f: Facts) -> Evidence | None:
    """D33."""
    product = f.number("product_tds_mg_per_l")
    if product is None or product > f.limits.product_limit_mg_per_l:
        return None
    found = [name for name in ("ammonia_detected", "silica_detected", "algae_reported") if f.yes(name)]
    if not found:
        return None
    return Evidence(0.75 if found[0] != "algae_reported" else 0.5, {"product_tds": product, "found": ", ".join(found)})


def cup_takes_up_air(f: Facts) -> Evidence | None:
    """D34."""
    product = f.number("product_tds_mg_per_l")
    if product is None or not f.yes("open_cup_sample") or not 0.0 < product <= 2.0:
        return None
    return Evidence(0.7, {"product_tds": product})


def acid_permeate(f: Facts) -> Evidence | None:
    """D35."""
    acidity = f.number("permeate_ph")
    if acidity is None:
        acidity = f.number("product_ph")
    if acidity is None or not 4.8 <= acidity <= 6.2:
        return None
    return Evidence(0.75, {"ph": acidity})


# --- carbon --------------------------------------------------------------------------------------------------------


def chloramine_through(f: Facts) -> Evidence | None:
    """D30."""
    total, free = f.number("carbon_outlet_total_chlorine_mg_per_l"), f.number("carbon_outlet_free_chlorine_mg_per_l")
    if total is None or free is None or total < f.limits.chlorine_act_mg_per_l:
        return None
    if free >= f.limits.chlorine_trace_mg_per_l or free > total:
        return None
    return Evidence(0.9 if f.yes("chloramine_supply") else 0.8, {"total_chlorine": total, "free_chlorine": free})


def chlorine_through(f: Facts) -> Evidence | None:
    """D44: the carbon lets chlorine through, whatever the membrane shows yet."""
    chlorine = f.chlorine_after_carbon
    if chlorine is None or chlorine < f.limits.chlorine_act_mg_per_l or f.text("membrane_material") == "cellulose":
        return None
    return Evidence(surely(chlorine / f.limits.chlorine_act_mg_per_l - 1.0, at_limit=0.65), {"chlorine": chlorine})


def carbon_fails_early(f: Facts) -> Evidence | None:
    """D31."""
    chlorine, days = f.chlorine_after_carbon, f.number("days_since_carbon_change")
    if chlorine is None or days is None or chlorine < f.limits.chlorine_act_mg_per_l or days > 21.0:
        return None
    return Evidence(0.8, {"chlorine": chlorine, "days_since_change": days})


# --- care ----------------------------------------------------------------------------------------------------------


def tastes(f: Facts) -> Evidence | None:
    """D39."""
    if not f.yes("taste_or_odour"):
        return None
    change = f.ratio("permeate_tds_mg_per_l", "baseline_permeate_tds_mg_per_l")
    if change is not None and change > 1.3:
        return None
    return Evidence(0.7 if change is not None else 0.55, {})


def unread(f: Facts) -> Evidence | None:
    """D41: nobody has looked at this unit for long."""
    weeks = f.number("weeks_since_last_reading")
    if weeks is None or weeks < f.limits.weeks_unread:
        return None
    return Evidence(0.95, {"weeks_since_last_reading": weeks})
