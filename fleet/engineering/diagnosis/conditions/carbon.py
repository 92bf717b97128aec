"""Conditions on the carbon: chlorine after the carbon, and units nobody has looked at."""

from fleet.engineering.diagnosis import words
from fleet.engineering.diagnosis.conditions.common import surely
from fleet.engineering.diagnosis.facts import Facts
from fleet.engineering.diagnosis.record import Evidence
from fleet.engineering.limits import is_exhausted


def chloramine_through(f: Facts) -> Evidence | None:
    """Total chlorine after the carbon, and hardly any of it free."""
    total, free = f.number("carbon_outlet_total_chlorine_mg_per_l"), f.number("carbon_outlet_free_chlorine_mg_per_l")
    if total is None or free is None or not is_exhausted("chlorine_mg_per_l", total, f.limits.chlorine_mg_per_l):
        return None
    if free >= f.pattern_limits.chlorine_trace_mg_per_l or free > total:
        return None
    return Evidence(0.9 if f.yes("chloramine_supply") else 0.8, {"total_chlorine": total, "free_chlorine": free})


def chlorine_through(f: Facts) -> Evidence | None:
    """The carbon lets chlorine through, whatever the membrane shows yet."""
    chlorine = f.chlorine_after_carbon
    if chlorine is None or not f.chlorine_passes or f.text("membrane_material") == "cellulose":
        return None
    limit = f.limits.chlorine_mg_per_l
    return Evidence(
        surely(chlorine / limit - 1.0, at_limit=0.65),
        {"chlorine": chlorine, "limit": limit},
        words.chlorine_through(chlorine, limit),
    )


def lead_carbon_exhausted(f: Facts) -> Evidence | None:
    """The first carbon lets through more than its share, and the second still removes the rest."""
    lead = f.number("interstage_chlorine_mg_per_l")
    tests = (f.number("feed_total_chlorine_mg_per_l"), f.number("feed_free_chlorine_mg_per_l"))
    entering = max((value for value in tests if value is not None), default=0.0)
    # Below this a test kit cannot tell a share of the feed.
    if lead is None or entering < 4.0 * f.pattern_limits.chlorine_trace_mg_per_l:
        return None
    share, limit = lead / entering, f.limits.lead_carbon_fraction
    if not is_exhausted("lead_carbon_fraction", share, limit) or f.chlorine_passes:
        return None
    return Evidence(
        surely(share / limit - 1.0),
        {"lead_outlet_over_feed": share, "limit": limit},
        words.lead_carbon_exhausted(share, limit, limit * entering),
    )


def carbon_fails_early(f: Facts) -> Evidence | None:
    """Chlorine after a carbon that is only days old."""
    chlorine, days = f.chlorine_after_carbon, f.number("days_since_carbon_change")
    if chlorine is None or days is None or not f.chlorine_passes or days > 21.0:
        return None
    return Evidence(0.8, {"chlorine": chlorine, "days_since_change": days})


def tastes(f: Facts) -> Evidence | None:
    """Taste or odour is reported, and the permeate is as it was."""
    if not f.yes("taste_or_odour"):
        return None
    change = f.ratio("permeate_tds_mg_per_l", "baseline_permeate_tds_mg_per_l")
    if change is not None and change > 1.3:
        return None
    return Evidence(0.7 if change is not None else 0.55, {})


def unread(f: Facts) -> Evidence | None:
    """Nobody has looked at this unit for long."""
    weeks = f.number("weeks_since_last_reading")
    if weeks is None or weeks < f.pattern_limits.weeks_unread:
        return None
    said = words.never_read() if f.yes("never_read") else ()
    # What somebody saw meanwhile, and has to be mended, comes first.
    sure = 0.35 if f.yes("work_was_seen") else 0.95
    return Evidence(sure, {"weeks_since_last_reading": weeks}, *said)
