"""Conditions on what is wrong since a membrane was fitted: held against its label and the design, not a past."""

from fleet.engineering.diagnosis import words
from fleet.engineering.diagnosis.conditions.common import surely
from fleet.engineering.diagnosis.facts import Facts
from fleet.engineering.diagnosis.record import Evidence


def _both(f: Facts, first_name: str, now_name: str) -> tuple[float, float] | None:
    """The first weeks and now; None where the first weeks are not known. What is not read now is as it was."""
    first, now = f.number(first_name), f.number(now_name)
    return None if first is None else (first, first if now is None else now)


def off_its_label(f: Facts) -> Evidence | None:
    """Far less or more permeate than the label gives, since the membrane was fitted and now."""
    flows = _both(f, "first_flow_over_label", "flow_over_label")
    if flows is None:
        return None
    low, high = 1.0 - f.pattern_limits.label_flow_tolerance, 1.0 + f.pattern_limits.label_flow_tolerance
    numbers = {"first_flow_over_label": flows[0]}
    if max(flows) < low:
        return Evidence(surely(low - flows[0], at_limit=0.6), numbers, words.less_than_its_label(flows[0]))
    if min(flows) > high:
        return Evidence(surely(flows[0] - high, at_limit=0.6), numbers, words.more_than_its_label(flows[0]))
    return None


def wastes_too_little(f: Facts) -> Evidence | None:
    """Far less concentrate for each litre than by design, since the membrane was fitted and now."""
    ratios = _both(f, "first_waste_ratio_over_design", "waste_ratio_over_design")
    low = 1.0 - f.pattern_limits.waste_ratio_tolerance
    # Where as much concentrate leaves as by design, it is the membrane that gives more.
    if ratios is None or max(ratios) >= low or ratios[0] * _flow_off_label(f) >= low:
        return None
    return Evidence(surely(low - ratios[0], at_limit=0.65), {"first_waste_ratio_over_design": ratios[0]})


def wastes_too_much(f: Facts) -> Evidence | None:
    """Far more concentrate for each litre than by design, since the membrane was fitted and now."""
    ratios = _both(f, "first_waste_ratio_over_design", "waste_ratio_over_design")
    high = 1.0 + f.pattern_limits.waste_ratio_tolerance
    # Where no more concentrate leaves than by design, it is the membrane that gives less.
    if ratios is None or min(ratios) <= high or ratios[0] * _flow_off_label(f) <= high:
        return None
    return Evidence(surely(ratios[0] - high, at_limit=0.65), {"first_waste_ratio_over_design": ratios[0]})


def _flow_off_label(f: Facts) -> float:
    """Flow over label in the first weeks where it was off it; 1 where it was as labelled, or is not known."""
    first = f.number("first_flow_over_label")
    return 1.0 if first is None or abs(first - 1.0) <= f.pattern_limits.label_flow_tolerance else first
