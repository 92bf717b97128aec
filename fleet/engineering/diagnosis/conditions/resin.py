"""Conditions on the resin: what the outlets of the resin say."""

from collections.abc import Mapping
from dataclasses import replace

from fleet.engineering.diagnosis import words
from fleet.engineering.diagnosis.conditions.common import surely
from fleet.engineering.diagnosis.facts import Facts
from fleet.engineering.diagnosis.levels import VISITS
from fleet.engineering.diagnosis.record import Evidence
from fleet.engineering.limits import HOUSE, is_exhausted


def _permeate_for_ratio(f: Facts) -> float | None:
    permeate = f.number("permeate_tds_mg_per_l")
    return permeate if permeate is not None and permeate >= 3.0 * f.pattern_limits.meter_step_mg_per_l else None


def _reads_as(f: Facts, outlet: float, permeate: float, limit: float) -> float | None:
    """How surely an outlet stands at a share of the permeate: clear at it, likely a step of the meter below."""
    share = outlet / permeate
    if is_exhausted("lead_resin_fraction", share, limit):
        return 0.9
    return 0.6 if share >= limit - min(f.pattern_limits.meter_step_mg_per_l / permeate, 0.12) else None


def _lead_is_through(f: Facts, lead: float, permeate: float) -> float | None:
    return _reads_as(f, lead, permeate, f.limits.lead_resin_fraction)


def _reads_as_permeate(f: Facts, outlet: float, permeate: float) -> float | None:
    """Nothing is held back any more, whatever less than that a company allows its leads."""
    return _reads_as(f, outlet, permeate, HOUSE.lead_resin_fraction)


def _of_lead(f: Facts, lead: float, permeate: float) -> str:
    """What the outlet of an exhausted lead shows; its limit in mg/L is that of the permeate of the day."""
    if _reads_as_permeate(f, lead, permeate) is not None:
        return words.lead_reads_as_permeate()
    limit = f.limits.lead_resin_fraction
    return words.lead_past_limit(lead / permeate, limit, limit * permeate)


def lead_exhausted(f: Facts) -> Evidence | None:
    """The lead outlet is past its limit, and the lag is not as far as the product shows."""
    permeate, lead = _permeate_for_ratio(f), f.number("interstage_tds_mg_per_l")
    product = f.number("product_tds_mg_per_l")
    if permeate is None or lead is None:
        return None
    sure = _lead_is_through(f, lead, permeate)
    if sure is None:
        return None
    numbers: dict[str, float | str] = {"lead_outlet_over_permeate": lead / permeate}
    if product is not None:
        if _lag_is_through(f, product, permeate):
            return None
        numbers["product_tds"] = product
    evidence = _with_lag(f, sure, numbers, _of_lead(f, lead, permeate), product)
    if not f.yes("lag_resin_is_exhausted"):
        return evidence
    # Reading and forecast of the lag may differ: the meter sees ions only, and age and carbon dioxide count too.
    installer, client, action = words.lag_exhausted_by_forecast(_of_lead(f, lead, permeate))
    return replace(evidence, for_installer=installer, for_client=client, action=action)


def _with_lag(f: Facts, sure: float, numbers: Mapping[str, float | str], shown: str, product: float | None) -> Evidence:
    """What the lag does decides whether the two are rotated, and it is not always known."""
    if product is None:
        return Evidence(0.8 * sure, numbers, *words.product_unread(shown))
    if not is_exhausted("product_tds_mg_per_l", product, f.limits.product_tds_mg_per_l):
        return Evidence(sure, numbers, words.lag_holds(shown))
    return Evidence(0.8 * sure, numbers, *words.lag_begins_to_fail(shown))


def _lag_is_through(f: Facts, product: float, permeate: float) -> bool:
    """A step of the meter past the limit is real: the lag lets ions through, and as lead it would not last."""
    return (
        product >= f.limits.product_tds_mg_per_l + f.pattern_limits.meter_step_mg_per_l
        or _reads_as_permeate(f, product, permeate) is not None
    )


def both_exhausted(f: Facts) -> Evidence | None:
    """The water behind the last resin is past its limit, or nothing is held back any more."""
    permeate, lead = _permeate_for_ratio(f), f.number("interstage_tds_mg_per_l")
    product = f.number("product_tds_mg_per_l")
    if product is None or f.no("has_resin") or slips_past_resin(f) is not None:
        return None
    sure = None if permeate is None else _reads_as_permeate(f, product, permeate)
    if permeate is None or sure is None:
        return _past_limit(f, product, lead, permeate)
    numbers: dict[str, float | str] = {"product_over_permeate": product / permeate}
    if lead is None:
        if f.no("has_lag_resin"):
            return Evidence(sure, numbers, *words.only_resin_exhausted())
        return Evidence(0.75 * sure, numbers, words.all_resin_exhausted())
    of_lead = _lead_is_through(f, lead, permeate)
    if of_lead is None:
        return None
    return Evidence(min(sure, of_lead), {"lead_outlet_over_permeate": lead / permeate, **numbers})


def _past_limit(f: Facts, product: float, lead: float | None, permeate: float | None) -> Evidence | None:
    """Still below the permeate, but past the limit of the product."""
    limit, step = f.limits.product_tds_mg_per_l, f.pattern_limits.meter_step_mg_per_l
    if not is_exhausted("product_tds_mg_per_l", product, limit) or f.yes("open_cup_sample"):
        return None
    if resins_in_wrong_order(f) is not None:
        return None
    numbers: dict[str, float | str] = {"product_tds": product, "limit": limit}
    sure = surely((product - limit) / (2.0 * step))
    if f.no("has_lag_resin"):
        return Evidence(sure, numbers, *words.only_resin_past_limit(product, limit))
    if product < limit + step:
        # One step of the meter is no proof that both are exhausted; `lead_exhausted` says to watch the lag.
        return None
    if lead is not None and permeate is not None:
        of_lead = _lead_is_through(f, lead, permeate)
        if of_lead is not None:
            return Evidence(
                0.8 * of_lead,
                {**numbers, "lead_outlet_over_permeate": lead / permeate, "product_over_permeate": product / permeate},
                *words.both_let_ions_through(_of_lead(f, lead, permeate)),
            )
    return Evidence(0.8 * sure, numbers, *words.last_resin_past_limit(product, limit, lead))


def slips_past_resin(f: Facts) -> Evidence | None:
    """The water behind a resin was salty when first read, and has not become saltier: a part of it passes beside.

    What exhausts a resin takes weeks, and then the product rises to the permeate.
    """
    fresh, visits = f.number("fresh_resin_product_tds_mg_per_l"), f.number("fresh_resin_visits")
    product, step = f.number("product_tds_mg_per_l"), f.pattern_limits.meter_step_mg_per_l
    if fresh is None or product is None or f.no("has_resin") or not _fresh_is_salty(f, min(fresh, product), visits):
        return None
    if product > max(1.5 * fresh, fresh + 2.0 * step) or f.yes("open_cup_sample") or resins_in_wrong_order(f):
        return None
    if not _was_read_fresh(f) and not _stands_still(f, product):
        return None
    return Evidence(
        0.7 if visits is None or visits < 2.0 else 0.95,
        {"fresh_resin_product_tds": fresh, "product_tds": product},
        words.slips_past_resin(fresh),
    )


def _was_read_fresh(f: Facts) -> bool:
    """Whether somebody read the product while no resin that was laid out for its water is exhausted.

    How long that is: common practice, no source.
    """
    return (f.number("fresh_resin_first_read_days") or 0.0) <= f.pattern_limits.resin_fresh_days


def _stands_still(f: Facts, product: float) -> bool:
    """Whether a bed that was read late has let a part of the salt through for half as long as it took to be read first.

    A breakthrough is steep: what had brought it so far would have brought it near the permeate in half as many days.
    """
    first, since = f.number("fresh_resin_first_read_days"), f.number("fresh_resin_read_for_days")
    permeate = _permeate_for_ratio(f)
    if first is None or since is None or permeate is None or first > f.pattern_limits.resin_early_days:
        return False
    return since >= 0.5 * first and product <= f.pattern_limits.resin_part_passed * permeate


def _fresh_is_salty(f: Facts, product: float, visits: float | None) -> bool:
    """Two steps of the meter past the limit are salt at once; one step is, where more than one reading says so.

    That is the case two steps above what the same meter read behind the resin before, or at each of three visits.
    """
    limit, step = f.limits.product_tds_mg_per_l, f.pattern_limits.meter_step_mg_per_l
    if product >= limit + 2.0 * step or product < limit + step:
        return product >= limit + step
    before, least = (
        f.number("product_tds_before_fresh_resin_mg_per_l"),
        f.number("least_fresh_resin_product_tds_mg_per_l"),
    )
    if before is not None:
        return product >= before + 2.0 * step
    return least is not None and least >= limit + step and visits is not None and visits >= VISITS


def resin_short_lived(f: Facts) -> Evidence | None:
    """The resin is exhausted long before the life that this permeate gives it."""
    share, explained = f.number("resin_life_share"), f.pattern_limits.resin_life_explained
    if share is None or share >= explained or slips_past_resin(f) is not None:
        return None
    product = f.number("product_tds_mg_per_l")
    is_past = product is not None and is_exhausted("product_tds_mg_per_l", product, f.limits.product_tds_mg_per_l)
    if not is_past and (lead_exhausted(f) or both_exhausted(f)) is None:
        return None
    change = f.ratio("permeate_tds_mg_per_l", "baseline_permeate_tds_mg_per_l")
    if change is not None and change > 1.2:
        return None
    return Evidence(surely(2.0 * (explained - share)), {"resin_life_share": share})


def resin_before_short_lived(f: Facts) -> Evidence | None:
    """The resin before this one was exhausted long before its time, and this one has not lasted longer yet.

    It is changed on the day on which it is found exhausted: what it says of the water outlives it. Carbon dioxide of a
    usual supply shortens a life to a half; a third needs more than that (common practice, no source).
    """
    share, now = f.number("previous_resin_life_share"), f.number("resin_life_share")
    if share is None or share >= f.pattern_limits.previous_resin_life_explained or f.no("has_resin"):
        return None
    if now is not None and now >= f.pattern_limits.resin_life_explained:
        return None
    return Evidence(0.6, {"previous_resin_life_share": share}, words.resin_before_short_lived(share))


def product_above_permeate(f: Facts) -> Evidence | None:
    """The product reads above the permeate."""
    permeate, product = f.number("permeate_tds_mg_per_l"), f.number("product_tds_mg_per_l")
    if permeate is None or product is None or f.no("has_resin"):
        return None
    if product <= permeate + max(1.0 * f.pattern_limits.meter_step_mg_per_l, 0.1 * permeate):
        return None
    return Evidence(0.75, {"product_tds": product, "permeate_tds": permeate})


def resins_in_wrong_order(f: Facts) -> Evidence | None:
    """The water is worse behind the second resin than between the two: the older one stands behind the fresh one."""
    lead, product = f.number("interstage_tds_mg_per_l"), f.number("product_tds_mg_per_l")
    step = f.pattern_limits.meter_step_mg_per_l
    if lead is None or product is None or not f.yes("has_lag_resin") or f.yes("open_cup_sample"):
        return None
    if product < lead + 2.0 * step or product <= f.limits.product_tds_mg_per_l:
        return None
    return Evidence(0.8, {"interstage_tds": lead, "product_tds": product})


def weak_ions_through(f: Facts) -> Evidence | None:
    """The product reads well, and weak ions are reported in it."""
    product = f.number("product_tds_mg_per_l")
    if product is None or is_exhausted("product_tds_mg_per_l", product, f.limits.product_tds_mg_per_l):
        return None
    reports = [name for name in ("ammonia_detected", "silica_detected", "algae_reported") if f.yes(name)]
    if not reports:
        return None
    return Evidence(
        0.75 if reports[0] != "algae_reported" else 0.5, {"product_tds": product, "reported": ", ".join(reports)}
    )


def cup_takes_up_air(f: Facts) -> Evidence | None:
    """A little TDS in a sample from an open cup."""
    product = f.number("product_tds_mg_per_l")
    if product is None or not f.yes("open_cup_sample") or not 0.0 < product <= 2.0:
        return None
    return Evidence(0.7, {"product_tds": product})


def acid_permeate(f: Facts) -> Evidence | None:
    """The water behind the membrane is slightly acid."""
    acidity = f.number("permeate_ph")
    if acidity is None:
        acidity = f.number("product_ph")
    if acidity is None or not 4.8 <= acidity <= 6.2:
        return None
    return Evidence(0.75, {"ph": acidity})
