"""Conditions on the meters: is the reading valid, are the meters plausible?"""

from typing import Final

from fleet.engineering.diagnosis.conditions.common import surely
from fleet.engineering.diagnosis.facts import Facts
from fleet.engineering.diagnosis.record import Evidence

# New membranes pass 2 to 10 % (common practice, no source).
_SOUND_SALT_PASSAGE: Final = 0.10


def not_steady(f: Facts) -> Evidence | None:
    """Read too soon, or against a tank whose state is not known."""
    if f.text("state") == "static":
        return None
    minutes = f.number("minutes_since_start")
    if minutes is not None and minutes < f.pattern_limits.minutes_to_steady:
        return Evidence(0.95, {"minutes_since_start": minutes})
    tank_unknown = f.text("tank_valve") == "" and f.number("tank_pressure_kpa") is None
    if f.yes("has_tank") and tank_unknown and f.number("permeate_flow_l_per_day") is not None:
        return Evidence(0.7, {"tank_valve": "not recorded"})
    return None


def meters_disagree(f: Facts) -> Evidence | None:
    """Two meters differ on one cup by more than they may."""
    first, second = f.number("first_meter_tds_mg_per_l"), f.number("second_meter_tds_mg_per_l")
    if first is None or second is None:
        return None
    gap, larger = abs(first - second), max(first, second)
    allowed = max(0.10 * larger, 3.0 * f.pattern_limits.meter_step_mg_per_l)
    if gap <= allowed:
        return None
    return Evidence(surely(gap / allowed - 1.0), {"first_meter": first, "second_meter": second})


def probes_swapped(f: Facts) -> Evidence | None:
    """Permeate above feed, and exchanging the two brings the baselines back, or where there are none yet, as on
    the day of fitting, gives what a sound membrane would.
    """
    feed, permeate = f.number("feed_tds_mg_per_l"), f.number("permeate_tds_mg_per_l")
    if feed is None or permeate is None or permeate <= feed:
        return None
    base_feed = f.number("baseline_feed_tds_mg_per_l")
    base_permeate = f.number("baseline_permeate_tds_mg_per_l")
    if base_feed is None and base_permeate is None:
        # Without a baseline it is as likely as crossed tubes or a wrong sample, which are returned beside it.
        is_sound = feed <= _SOUND_SALT_PASSAGE * permeate
        return Evidence(0.6, {"feed_tds": feed, "permeate_tds": permeate}) if is_sound else None
    if base_feed is None or base_feed <= 0.0 or abs(permeate - base_feed) > 0.2 * base_feed:
        return None
    if base_permeate is not None and abs(feed - base_permeate) > max(0.5 * base_permeate, 5.0):
        return None
    confidence = 0.95 if base_permeate is not None else 0.85
    return Evidence(confidence, {"feed_tds": feed, "permeate_tds": permeate, "baseline_feed_tds": base_feed})


def permeate_above_feed(f: Facts) -> Evidence | None:
    """Permeate above feed, and no baseline proves that exchanging them explains it."""
    feed, permeate = f.number("feed_tds_mg_per_l"), f.number("permeate_tds_mg_per_l")
    if feed is None or permeate is None or permeate <= feed:
        return None
    exchanged = probes_swapped(f)
    if exchanged is not None and "baseline_feed_tds" in exchanged.numbers:
        return None
    return Evidence(0.6 if exchanged is not None else 0.8, {"feed_tds": feed, "permeate_tds": permeate})


def impossible_flow(f: Facts) -> Evidence | None:
    """A flow is negative, out of all proportion, or goes in without coming out."""
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
    """Salt in and salt out differ by more than they may."""
    closure = f.number("salt_balance_closure_fraction")
    if closure is None or abs(closure) <= f.pattern_limits.closure_fraction:
        return None
    return Evidence(surely(abs(closure) / f.pattern_limits.closure_fraction - 1.0), {"salt_balance_closure": closure})


def chlorine_tests_contradict(f: Facts) -> Evidence | None:
    """Free above total, or more chlorine after the carbon than before it."""
    pairs = (
        ("feed_free_chlorine_mg_per_l", "feed_total_chlorine_mg_per_l"),
        ("carbon_outlet_free_chlorine_mg_per_l", "carbon_outlet_total_chlorine_mg_per_l"),
        ("carbon_outlet_total_chlorine_mg_per_l", "feed_total_chlorine_mg_per_l"),
    )
    for part, total in pairs:
        small, large = f.number(part), f.number(total)
        if small is not None and large is not None and small > large + 0.02:
            return Evidence(0.9, {part: small, total: large})
    return None


def gauge_against_flow(f: Facts) -> Evidence | None:
    """The pressure gauge shows far less, or far more, than ever, and the water flows as ever.

    Permeate flows in proportion to the pressure and concentrate with its root at least, whatever a warmer water adds.
    """
    inlet = f.number("inlet_pressure_over_usual")
    flows = [f.number("permeate_flow_over_usual"), f.number("concentrate_flow_over_usual")]
    known = [flow for flow in flows if flow is not None]
    if inlet is None or not known or f.text("state") == "static":
        return None
    high, coldest = f.pattern_limits.flow_as_ever_high, f.pattern_limits.coldest_flow_share
    # What so low a pressure would give in the warmest water; cold water at the pressure of ever gives no less.
    low = min(f.pattern_limits.flow_as_ever_low, max(coldest, inlet**0.5 / coldest))
    fell = inlet <= f.pattern_limits.gauge_fell_to and min(known) >= low
    rose = inlet >= f.pattern_limits.gauge_rose_to and max(known) <= high
    if not fell and not rose:
        return None
    return Evidence(0.9, {"inlet_pressure_over_usual": inlet, "flow_over_usual": known[0]})


def meter_reads_low(f: Facts) -> Evidence | None:
    """The permeate has read far lower since one visit, with the same membrane: a membrane does not heal."""
    step, first = f.number("salt_passage_step_ratio"), f.number("first_salt_passage_over_label")
    permeate = f.number("permeate_tds_mg_per_l")
    if step is None or permeate is None or step > f.pattern_limits.salt_passage_fall:
        return None
    if permeate / step - permeate < 3.0 * f.pattern_limits.meter_step_mg_per_l:
        return None
    # A membrane that leaked and was seated again passes less as well.
    if first is not None and first >= f.pattern_limits.salt_passage_double:
        return None
    return Evidence(0.7, {"salt_passage_over_before": step})
