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
    """Far less or more permeate than the label gives, since the membrane was fitted and now.

    By more than makers' tolerance and what a reading may err. Where the first weeks had no thermometer, by what every
    visit since leaves open.
    """
    flows = _both(f, "first_flow_over_label", "flow_over_label")
    if flows is None:
        most, least = f.number("most_flow_over_label"), f.number("least_flow_over_label")
    else:
        most, least = max(flows), min(flows)
    tolerance, sure = f.pattern_limits.label_flow_tolerance, f.pattern_limits.flow_sureness
    low, high = (1.0 - tolerance) * sure, (1.0 + tolerance) / sure
    if most is not None and most < low:
        sureness = surely(low / max(most, 0.05) - 1.0, at_limit=0.65)
        return Evidence(sureness, {"flow_over_label": most}, words.less_than_its_label(most))
    if least is not None and least > high:
        sureness = surely(least / high - 1.0, at_limit=0.65)
        return Evidence(sureness, {"flow_over_label": least}, words.more_than_its_label(least))
    return _less_than_the_one_before(f) if most is None and least is None else None


def _less_than_the_one_before(f: Facts) -> Evidence | None:
    """A new membrane gives far less than the one it replaced ever did, by more than two labels may differ.

    What a tank holds back where nobody shuts it off or reads it, it held back of both.
    """
    over, tolerance = f.number("flow_over_previous_membrane"), f.pattern_limits.label_flow_tolerance
    low = (1.0 - tolerance) / (1.0 + tolerance)
    if over is None or over >= low:
        return None
    sure = surely(low / max(over, 0.05) - 1.0, at_limit=0.65)
    return Evidence(sure, {"flow_over_previous": over}, words.less_than_the_one_before(over))


def wastes_too_little(f: Facts) -> Evidence | None:
    """Far less concentrate for each litre than by design, since the membrane was fitted and now."""
    ratios = _both(f, "first_waste_ratio_over_design", "waste_ratio_over_design")
    low = 1.0 - f.pattern_limits.waste_ratio_tolerance
    # Where as much concentrate leaves as by design, it is the membrane that gives more.
    if ratios is None or max(ratios) >= low or ratios[0] * _flow_off_label(f) >= low or _is_larger(f):
        return None
    return Evidence(surely(low - ratios[0], at_limit=0.65), {"first_waste_ratio_over_design": ratios[0]})


def wastes_too_much(f: Facts) -> Evidence | None:
    """Far more concentrate for each litre than by design, since the membrane was fitted and now."""
    ratios = _both(f, "first_waste_ratio_over_design", "waste_ratio_over_design")
    high = 1.0 + f.pattern_limits.waste_ratio_tolerance
    # Where no more concentrate leaves than by design, it is the membrane that gives less.
    if ratios is None or min(ratios) <= high or ratios[0] * _flow_off_label(f) <= high or _is_smaller(f):
        return None
    return Evidence(surely(ratios[0] - high, at_limit=0.65), {"first_waste_ratio_over_design": ratios[0]})


def _flow_off_label(f: Facts) -> float:
    """Flow over label in the first weeks where it was off it; 1 where it was as labelled, or is not known."""
    first = f.number("first_flow_over_label")
    return 1.0 if first is None or abs(first - 1.0) <= f.pattern_limits.label_flow_tolerance else first


def _is_smaller(f: Facts) -> bool:
    """Whether the membrane is known to give too little, and the restrictor passes no more than its label says."""
    drain, evidence = f.ratio("concentrate_flow_l_per_day", "most_restrictor_flow_l_per_day"), off_its_label(f)
    most = f.number("most_flow_over_label")
    return drain is not None and drain <= 1.0 and evidence is not None and most is not None and most < 1.0


def _is_larger(f: Facts) -> bool:
    """Whether the membrane is known to give too much, and the restrictor passes no less than its label says."""
    drain, evidence = f.ratio("concentrate_flow_l_per_day", "least_restrictor_flow_l_per_day"), off_its_label(f)
    least = f.number("least_flow_over_label")
    return drain is not None and drain >= 1.0 and evidence is not None and least is not None and least > 1.0
