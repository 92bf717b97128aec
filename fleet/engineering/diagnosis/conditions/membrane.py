"""Conditions on the membrane: what a normalised change of flow and salt passage means."""

from typing import Final

from fleet.engineering.constants import DAYS_PER_YEAR
from fleet.engineering.diagnosis import words
from fleet.engineering.diagnosis.conditions.common import (
    BEHIND_ITS_CAUSE,
    REST_HIGH,
    REST_LOW,
    normalised_flow_is_normal,
    surely,
)
from fleet.engineering.diagnosis.conditions.flows import too_little_concentrate
from fleet.engineering.diagnosis.conditions.pressures import pressure_fault
from fleet.engineering.diagnosis.facts import Facts
from fleet.engineering.diagnosis.record import Evidence
from fleet.engineering.limits import is_exhausted
from fleet.engineering.usual import NEW_MEMBRANE_RINSES_DAYS, SOUND_FLOW_LOSS_PER_YEAR, SOUND_SALT_GAIN_PER_YEAR

_FLOW_LEFT_AFTER_YEAR: Final = 1.0 - SOUND_FLOW_LOSS_PER_YEAR[1]
_SALT_AFTER_YEAR: Final = 1.0 + SOUND_SALT_GAIN_PER_YEAR[1]

_HARMFUL_EXPOSURE_PPM_H: Final = 200.0
_OLD_DAYS: Final = 730.0
# No season brings so much more salt than usual: one look is enough.
_OTHER_WATER: Final = 1.6
# Up to so much more salt flows through a membrane that is only plugged.
_STEADY_SALT: Final = 1.2
# After so long slime has grown, or a membrane that was emptied has dried out (common practice, no source).
_LONG_STANDSTILL_DAYS: Final = 14.0
# A whole-number meter moves by one step by itself; by so many it does not.
_STEPS_OF_A_METER: Final = 1.5
# Below it no permeate comes.
_SOME_FLOW: Final = 0.05


def _membrane(f: Facts) -> tuple[float, float] | None:
    flow, passage = f.number("normalised_flow_ratio"), f.number("normalised_salt_passage_ratio")
    # Without any permeate there is nothing to say about the membrane; the rules on the flows speak then.
    return None if flow is None or passage is None or flow < _SOME_FLOW else (flow, passage)


def _most_flow_left(f: Facts) -> float | None:
    """The most that is left of the flow where nobody read how warm the water was; None where the cold explains it.

    From the warmest to the coldest mains water of a year the flow of a membrane falls to two thirds (3 % for each degC:
    common practice, no source).
    """
    as_read, coldest = f.number("flow_as_read_level_ratio"), f.pattern_limits.coldest_flow_share
    return None if as_read is None or as_read >= coldest else as_read / coldest


def _flow_level(f: Facts) -> float | None:
    """The most that the flow may be at the newest visits over that of the first ones, by whatever tells of it.

    Brought to one condition; before a tank of unread pressure; or as read, where no cold explains it.
    """
    level = f.number("flow_level_ratio")
    known = (f.number("flow_level_behind_tank_ratio") if level is None else level, _most_flow_left(f))
    return min((each for each in known if each is not None), default=None)


def _plugged(f: Facts) -> tuple[float, float] | None:
    """Flow and salt passage as `_membrane`; of a reading that cannot be normalised, as its visits agree on them."""
    both = _membrane(f)
    if both is not None:
        return both
    salt, level = f.number("salt_level_ratio"), _flow_level(f)
    if salt is None or level is None or level < _SOME_FLOW:
        return None
    if f.number("salt_passage_as_read_level_ratio") is not None:
        # The salt that flows is its share of the water; the cold that is allowed for holds back both.
        salt *= level if _most_flow_left(f) is None else level * f.pattern_limits.coldest_flow_share
    return level, salt / level


def _numbers(flow: float, passage: float, **more: float) -> dict[str, float | str]:
    return {"normalised_flow_ratio": flow, "normalised_salt_passage_ratio": passage, **more}


def _passes_twice_the_salt(f: Facts) -> tuple[float, float] | None:
    """Flow and salt passage of a membrane whose flow is steady and whose salt passage has doubled."""
    both = _membrane(f)
    if both is None or f.text("membrane_material") == "cellulose":
        return None
    flow, passage = both
    steady = flow >= f.pattern_limits.flow_steady_low
    return both if steady and passage >= f.pattern_limits.salt_passage_double else None


def _salt_has_doubled(f: Facts) -> float | None:
    """Salt at the newest visits over that of the first ones, where it is twice as much and more than age explains.

    The flow has not fallen with it, where it is known: slime or scale passes more salt with less water.
    """
    level, age = f.number("salt_level_ratio"), f.number("membrane_age_days") or 0.0
    flow = _flow_level(f) or f.number("normalised_flow_ratio")
    as_read = f.number("flow_as_read_level_ratio")
    least = max(
        f.pattern_limits.salt_passage_double,
        f.pattern_limits.salt_passage_of_age * _SALT_AFTER_YEAR ** (age / 365.25),
    )
    if level is None or level < least or f.text("membrane_material") == "cellulose":
        return None
    at_one = (f.number("flow_level_ratio"), f.number("normalised_flow_ratio"))
    is_as_read = all(each is None for each in at_one)
    if is_as_read and as_read is not None and as_read < f.pattern_limits.as_read_flow_steady:
        # The cold may have taken it: but then nothing says that the flow is as it was.
        return None
    return None if flow is not None and flow < f.limits.membrane_flow_fraction else level


def oxidised(f: Facts) -> Evidence | None:
    """Flow steady, salt passage doubled, and chlorine passes the carbon."""
    both, chlorine, level = _passes_twice_the_salt(f), f.chlorine_after_carbon, _salt_has_doubled(f)
    if chlorine is None or not f.chlorine_passes:
        return None
    if both is None:
        return None if level is None else Evidence(0.85, {"salt_over_first": level, "chlorine": chlorine})
    sure = surely(both[1] - f.pattern_limits.salt_passage_double, at_limit=0.8)
    return Evidence(sure, _numbers(*both, chlorine=chlorine))


def oxidised_before(f: Facts) -> Evidence | None:
    """Flow steady, salt passage doubled, and the membrane has met much chlorine; none is known to pass now."""
    both, exposure, level = _passes_twice_the_salt(f), f.number("membrane_exposure_ppm_h"), _salt_has_doubled(f)
    if exposure is None or exposure < _HARMFUL_EXPOSURE_PPM_H or f.chlorine_passes:
        return None
    if both is None:
        return None if level is None else Evidence(0.6, {"salt_over_first": level, "exposure_ppm_h": exposure})
    return Evidence(0.6, _numbers(*both, exposure_ppm_h=exposure))


def _has_grown_slowly(f: Facts) -> float | None:
    """Salt that has doubled from visit to visit, and not at once; None where chlorine is known to have done it."""
    level, step, exposure = _salt_has_doubled(f), f.number("salt_passage_step_ratio"), _exposure(f)
    if level is None or f.chlorine_passes or (exposure is not None and exposure >= _HARMFUL_EXPOSURE_PPM_H):
        return None
    return None if step is not None and step >= f.pattern_limits.salt_passage_step else level


def _exposure(f: Facts) -> float | None:
    return f.number("membrane_exposure_ppm_h")


def oxidised_unseen(f: Facts) -> Evidence | None:
    """Salt has doubled slowly with the flow steady, and no test says what passes the carbon.

    Scale and slime take the flow, and a leak mostly comes at once: what is left is chlorine.
    """
    level = _has_grown_slowly(f)
    if level is None or _exposure(f) is not None or leaking_past(f) is not None:
        return None
    said = words.salt_doubled_untested() + words.feed_is_unknown() if f.yes("feed_is_unknown") else ""
    return Evidence(0.65, {"salt_over_first": level}, said)


def _salt_flux(flow: float, passage: float) -> float:
    """Salt through the membrane over that of the baseline.

    With less water the same salt is a larger share: the passage alone rises where a membrane is only plugged.
    """
    return flow * passage


def _less_than_age_explains(f: Facts, flow: float) -> bool:
    """Whether the flow is surely past its limit, and lower than that of a sound membrane of this age.

    Of a membrane that was read before, two of its newest three visits must say so: a flow taken with bucket and watch,
    with a gauge and a thermometer beside it, repeats within 5 to 10 % (common practice, no source). And it must be
    short of its label by more than makers' tolerance of about 15 % (from memory), where that is known: the one or two
    readings of its first weeks may have been high.
    """
    level, over_label = _flow_level(f), f.number("flow_level_over_label")
    if level is None and f.number("membrane_visits") is not None and _most_flow_left(f) is None:
        return False
    kept, sure = max(flow, level or 0.0), f.pattern_limits.flow_sureness
    if not is_exhausted("membrane_flow_fraction", kept / sure, f.limits.membrane_flow_fraction):
        return False
    if over_label is not None and over_label >= f.pattern_limits.flow_of_label:
        return False
    age = f.number("membrane_age_days")
    return age is None or kept < sure * _FLOW_LEFT_AFTER_YEAR ** (age / DAYS_PER_YEAR)


def _saltier_than_age_explains(f: Facts, flux: float) -> bool:
    """Whether more salt passes than through a sound membrane of this age."""
    age = f.number("membrane_age_days")
    return flux > f.pattern_limits.salt_passage_up * _SALT_AFTER_YEAR ** ((age or 0.0) / DAYS_PER_YEAR)


def _flow_step(f: Facts) -> float | None:
    """A sudden change of the flow that lasts; where it cannot be normalised, as read if no season brings as much."""
    step, as_read = f.number("flow_step_ratio"), f.number("flow_as_read_step_ratio")
    if step is not None or as_read is None:
        return step
    return as_read if as_read < f.pattern_limits.as_read_flow_steady else None


def _step_at_steady_flow(f: Facts) -> float | None:
    """Salt passage after a sudden change that lasts over that before it, where the flow did not fall with it."""
    step, flow_step = f.number("salt_passage_step_ratio"), _flow_step(f)
    rise = f.number("salt_step_mg_per_l")
    if step is None or step < f.pattern_limits.salt_passage_step or not _more_than_the_meter_rounds(f, step):
        return None
    if rise is not None and rise < _STEPS_OF_A_METER * f.pattern_limits.meter_step_mg_per_l:
        return None
    if flow_step is not None and flow_step < f.pattern_limits.flow_step_down:
        return None
    # What takes the water for months makes the salt a larger share of what is left: no leak has to be there.
    age = f.number("membrane_age_days") or 0.0
    steady = f.pattern_limits.flow_step_down * _FLOW_LEFT_AFTER_YEAR ** (age / DAYS_PER_YEAR)
    flows = (f.number("flow_at_salt_step_ratio"), _flow_level(f))
    return None if any(flow is not None and flow < steady for flow in flows) else step


def _more_than_the_meter_rounds(f: Facts, step: float, *, steps: float = _STEPS_OF_A_METER) -> bool:
    """Whether the permeate rose by more than a whole-number meter does by itself: from 2 to 3 mg/L is one digit."""
    permeate = f.number("permeate_tds_mg_per_l")
    return permeate is None or permeate * (1.0 - 1.0 / step) >= steps * f.pattern_limits.meter_step_mg_per_l


def _has_come_down(f: Facts) -> bool:
    """Whether the membrane passes less than in its first weeks: flushed clean, or seated since."""
    return any(
        since is not None and since < 0.7
        for since in (f.number("normalised_salt_passage_ratio"), f.number("salt_level_ratio"))
    )


def _passes_since_fitted(f: Facts) -> float | None:
    """Salt passage of the first weeks over that of the label, where it is far more and has not fallen since."""
    first = f.number("first_salt_passage_over_label")
    if first is None or first < f.pattern_limits.first_salt_passage_over_label or _has_come_down(f):
        return None
    return first


def _passes_more_than_the_one_before(f: Facts) -> float | None:
    """Salt passage of the first weeks over that of the membrane it replaced, where a new one passes far more."""
    over, first = f.number("salt_passage_over_previous_membrane"), f.number("first_salt_passage_over_label")
    if over is None or over < f.pattern_limits.salt_passage_over_previous_membrane or _has_come_down(f):
        return None
    if first is None:
        return over if f.yes("feed_is_unknown") else None
    # What holds back as its label says is sound, however good the one before it was.
    return over if first > 1.0 else None


def damaged(f: Facts) -> Evidence | None:
    """Salt passage has jumped to a level that stays, and the flow has fallen with it: dried out, or torn."""
    step, flow_step = f.number("salt_passage_step_ratio"), _flow_step(f)
    if step is None or flow_step is None or f.chlorine_passes or flow_step >= f.pattern_limits.flow_step_down:
        return None
    flux = _salt_flux(flow_step, step)
    if flux < f.pattern_limits.salt_passage_jump or not _more_than_the_meter_rounds(f, step):
        return None
    sure = surely(flux - f.pattern_limits.salt_passage_jump, at_limit=0.65)
    return Evidence(sure, {"salt_passage_over_before": step, "flow_over_before": flow_step})


def leaking_past(f: Facts) -> Evidence | None:
    """Flow steady, salt passage much higher than before, and no chlorine."""
    lasting = _step_at_steady_flow(f)
    if lasting is not None and not f.chlorine_passes:
        sure = surely(lasting - f.pattern_limits.salt_passage_step, at_limit=0.65)
        said = words.leaks_past_for_good(lasting) + _of_an_earlier_feed(f, "feed_read_days_before")
        return Evidence(sure, {"salt_passage_over_before": lasting}, said)
    if not f.chlorine_passes and (first := _passes_since_fitted(f)) is not None:
        said = words.leaks_past_since_fitted(first) + _of_an_earlier_feed(f, "first_feed_read_days_before")
        return Evidence(0.7, {"first_salt_passage_over_label": first}, said)
    if not f.chlorine_passes and (over := _passes_more_than_the_one_before(f)) is not None:
        said = words.leaks_past_since_changed(over) + _of_an_earlier_feed(f, "first_feed_read_days_before")
        return Evidence(0.75, {"salt_passage_over_previous": over}, said)
    both = _membrane(f)
    if both is None:
        return None
    flow, passage = both
    chlorine = f.chlorine_after_carbon
    if f.chlorine_passes:
        return None
    if not f.pattern_limits.flow_steady_low <= flow <= f.pattern_limits.flow_steady_high:
        return None
    jump = f.number("salt_passage_ratio_since_last_reading")
    if (
        # One look against the one before it: of 3 and 5 mg/L nobody can say more than that the meter rounds.
        jump is not None
        and min(jump, passage) >= f.pattern_limits.salt_passage_double
        and _more_than_the_meter_rounds(f, min(jump, passage), steps=4.0)
    ):
        return Evidence(0.8 if chlorine is not None else 0.65, _numbers(flow, passage, jump=jump))
    if jump is None and passage >= f.pattern_limits.salt_passage_double:
        return Evidence(0.55 if chlorine is not None else 0.45, _numbers(flow, passage))
    return None


def _of_an_earlier_feed(f: Facts, name: str) -> str:
    if f.yes("feed_is_unknown"):
        return words.feed_is_unknown()
    days = f.number(name)
    return "" if days is None else words.feed_was_read_before(days)


def seal_gives_way(f: Facts) -> Evidence | None:
    """Salt has doubled slowly with the flow steady, and the tests behind the carbon found no chlorine.

    Of an old membrane it is its age.
    """
    level, age = _has_grown_slowly(f), f.number("membrane_age_days")
    if level is None or _exposure(f) is None or age is None or age >= _OLD_DAYS or leaking_past(f) is not None:
        return None
    return Evidence(0.5, {"salt_over_first": level})


def plugged_by_fines(f: Facts) -> Evidence | None:
    """The flow fell at once when the carbon was changed and stays so, and no more salt flows than before.

    Scale and slime grow for months; the black dust of a new carbon comes with its first water.
    """
    both, fell_to = _plugged(f), f.number("flow_over_before_new_carbon")
    if both is None or fell_to is None or fell_to >= f.pattern_limits.flow_step_down:
        return None
    flow, passage = both
    if not _less_than_age_explains(f, flow) or _salt_flux(flow, passage) > _STEADY_SALT:
        return None
    sure = surely(5.0 * (f.pattern_limits.flow_step_down - fell_to), at_limit=0.55)
    return Evidence(sure, {"flow_over_before": fell_to}, words.flow_fell_with_new_carbon(fell_to))


def scaled(f: Facts) -> Evidence | None:
    """Less flow, more salt passage, and a concentrate that can form scale."""
    both = _plugged(f)
    if both is None or plugged_by_fines(f) is not None:
        return None
    flow, passage = both
    if not _less_than_age_explains(f, flow):
        return None
    index, silica = f.number("concentrate_langelier_index"), f.number("concentrate_silica_share")
    if index is not None and index > 0.0:
        return Evidence(surely(2.0 * index, at_limit=0.6), _numbers(flow, passage, langelier_index=index))
    if silica is not None and silica >= 0.9:
        return Evidence(0.7, _numbers(flow, passage, silica_share=silica))
    feed, recovery = f.number("feed_tds_mg_per_l"), f.recovery
    if index is None and feed is not None and recovery is not None and recovery < 1.0:
        concentrate = feed / (1.0 - recovery)
        if concentrate >= f.pattern_limits.hard_concentrate_tds_mg_per_l:
            return Evidence(
                0.5, _numbers(flow, passage, concentrate_tds=concentrate), words.scale_is_likely(concentrate)
            )
    return None


def fouled(f: Facts) -> Evidence | None:
    """Less flow with the salt passage steady."""
    both = _plugged(f)
    if both is None or plugged_by_fines(f) is not None:
        return None
    flow, passage = both
    index = f.number("concentrate_langelier_index")
    # Slime holds the salt at the membrane and passes some of it; where no scale can form that is no scale.
    most_salt = _STEADY_SALT if index is None or index > 0.0 else 2.0
    if not _less_than_age_explains(f, flow) or _salt_flux(flow, passage) > most_salt:
        return None
    differential_pressure_ratio = f.number("feed_brine_differential_pressure_ratio")
    if differential_pressure_ratio is not None and differential_pressure_ratio >= 1.1:
        return Evidence(
            surely(5.0 * (differential_pressure_ratio - 1.1), at_limit=0.65),
            _numbers(flow, passage, differential_pressure_ratio=differential_pressure_ratio),
        )
    if f.yes("smell_or_slime"):
        return Evidence(0.75, _numbers(flow, passage))
    flow_step = f.number("flow_step_ratio")
    if flow_step is not None and flow_step < f.pattern_limits.flow_step_down:
        stood, since = f.number("days_stood_off"), f.number("flow_over_before_standstill")
        came_with_it = since is not None and since < f.pattern_limits.flow_step_down
        if stood is not None and stood >= _LONG_STANDSTILL_DAYS and came_with_it:
            more = {"flow_over_before": flow_step, "days_stood_off": stood}
            return Evidence(0.6, _numbers(flow, passage, **more), *words.flow_fell_while_it_stood(flow_step, stood))
        return Evidence(0.6, _numbers(flow, passage, flow_over_before=flow_step), words.flow_fell_for_good(flow_step))
    return Evidence(0.45, _numbers(flow, passage)) if index is None or index <= 0.0 else None


def running_in(f: Facts) -> Evidence | None:
    """A new membrane with a little less flow."""
    both, age = _membrane(f), f.number("membrane_age_days")
    if both is None or age is None or age > 42.0:
        return None
    flow, passage = both
    # One step of a 1 mg/L meter moves the salt passage by a fifth at 5 mg/L: 'steady' cannot mean less.
    is_steady = flow <= 0.98 and passage <= 1.25
    if is_steady and not is_exhausted("membrane_flow_fraction", flow, f.limits.membrane_flow_fraction):
        return Evidence(0.75, _numbers(flow, passage, membrane_age_days=age))
    return None


def aged(f: Facts) -> Evidence | None:
    """An old membrane with less flow and more salt passage, for no other reason."""
    both, age = _plugged(f), f.number("membrane_age_days")
    if age is None or age < _OLD_DAYS:
        return None
    if _exposure(f) is not None and leaking_past(f) is None and (level := _has_grown_slowly(f)) is not None:
        return Evidence(0.65, {"salt_over_first": level, "membrane_age_days": age})
    if both is None:
        return None
    flow, passage = both
    jump = f.number("salt_passage_ratio_since_last_reading")
    if not _less_than_age_explains(f, flow) or scaled(f) is not None:
        return None
    if not _saltier_than_age_explains(f, _salt_flux(flow, passage)):
        return None
    if f.chlorine_passes or (jump is not None and jump >= f.pattern_limits.salt_passage_jump):
        return None
    return Evidence(0.65, _numbers(flow, passage, membrane_age_days=age))


def _is_explained(f: Facts) -> bool:
    """Whether another rule says what the membrane suffers from."""
    causes = (
        oxidised, oxidised_before, oxidised_unseen, leaking_past, seal_gives_way, damaged, plugged_by_fines, scaled,
        fouled,
    )  # fmt: skip
    return any(cause(f) is not None for cause in causes)


def holds_back_too_little(f: Facts) -> Evidence | None:
    """The rejection read is below its limit, whatever the membrane was like before."""
    permeate, feed, of_earlier = f.number("permeate_tds_mg_per_l"), f.number("feed_tds_mg_per_l"), ""
    usual = f.number("baseline_feed_tds_mg_per_l")
    if feed is None and usual is not None:
        # As much as a season moves it may be the feed's.
        feed, of_earlier = usual * f.pattern_limits.feed_of_season, _of_an_earlier_feed(f, "feed_read_days_before")
    if permeate is None or feed is None or not 0.0 < permeate <= feed:
        return None
    if f.text("state") == "static" or f.no("sampled_after_flush"):
        return None
    age = f.number("membrane_age_days")
    if age is not None and age < NEW_MEMBRANE_RINSES_DAYS:
        # What preserved it still comes out of it.
        return None
    passage, allowed = permeate / feed, 1.0 - f.limits.minimum_rejection_fraction
    # One step of the meter is no proof.
    if permeate - f.pattern_limits.meter_step_mg_per_l <= allowed * feed:
        return None
    # Where the cause is known it comes first, and the client hears no second time that it has to be looked for.
    is_explained = names_cause = _is_explained(f)
    if not is_explained and pressure_fault(f):
        normalised = f.number("normalised_salt_passage_ratio")
        if normalised is not None and normalised <= _STEADY_SALT:
            # The membrane is as it was: too little water dilutes the salt that passes it.
            return None
        is_explained = True
    return Evidence(
        BEHIND_ITS_CAUSE if is_explained else surely(passage / allowed - 1.0),
        {"rejection": 1.0 - passage, "limit": 1.0 - allowed},
        words.rejection_too_low(1.0 - passage, 1.0 - allowed, allowed * feed) + of_earlier,
        tells_client=not names_cause,
    )


def above_its_limit(f: Facts) -> Evidence | None:
    """The water of a unit without resin is past its limit, although the membrane holds back as it should.

    What people use is read at the outlet; where nobody read it there, it is the permeate.
    """
    if not f.no("has_resin") or f.yes("open_cup_sample"):
        return None
    permeate, product, feed = (f.number(f"{where}_tds_mg_per_l") for where in ("permeate", "product", "feed"))
    step, limit = f.pattern_limits.meter_step_mg_per_l, f.limits.product_tds_mg_per_l
    adds_salt = product is not None and permeate is not None and product > max(1.1 * permeate, permeate + step)
    if not adds_salt and holds_back_too_little(f) is not None:
        return None
    is_permeate = product is None
    if is_permeate and (f.text("state") == "static" or f.no("sampled_after_flush")):
        return None
    water = permeate if product is None else product
    # More salt than the feed has is told by the meters.
    if water is None or not is_exhausted("product_tds_mg_per_l", water, limit) or (feed is not None and water > feed):
        return None
    numbers: dict[str, float | str] = {"product_tds": water, "limit": limit}
    sure = surely((water - limit) / (2.0 * step))
    is_membrane = _is_explained(f) or aged(f) is not None or holds_back_too_little(f) is not None
    if adds_salt:
        if is_membrane and permeate is not None and is_exhausted("product_tds_mg_per_l", permeate, limit):
            # Its own water is past the limit already: what comes after the membrane is not the first to blame.
            sure *= BEHIND_ITS_CAUSE
        return Evidence(sure, numbers, words.adds_salt(water, limit))
    if is_membrane:
        # The membrane is to blame, which its own rule says: it comes first.
        return Evidence(BEHIND_ITS_CAUSE, numbers, words.above_limit_by_membrane(water, limit))
    return Evidence(sure, numbers, words.above_limit_of_use(water, limit))


def creep(f: Facts) -> Evidence | None:
    """The permeate of the first minute is high, and normal after flushing."""
    first, later = f.number("permeate_tds_at_start_mg_per_l"), f.number("permeate_tds_mg_per_l")
    if (
        first is None
        or later is None
        or first < 2.0 * later
        or first - later < 5.0 * f.pattern_limits.meter_step_mg_per_l
    ):
        return None
    change = f.ratio("permeate_tds_mg_per_l", "baseline_permeate_tds_mg_per_l")
    if change is not None and change > 1.3:
        return None
    return Evidence(0.9 if change is not None else 0.7, {"first_minute_tds": first, "flushed_tds": later})


def supply_changed(f: Facts) -> Evidence | None:
    """The permeate has risen in proportion to the feed."""
    permeate = f.ratio("permeate_tds_mg_per_l", "baseline_permeate_tds_mg_per_l")
    feed = f.ratio("feed_tds_mg_per_l", "baseline_feed_tds_mg_per_l")
    if permeate is None or feed is None or feed < f.pattern_limits.feed_of_season or permeate < 1.15:
        return None
    if not _more_than_the_meter_rounds(f, permeate):
        return None
    passage = f.number("normalised_salt_passage_ratio")
    # Soft water leaves so few mg/L that the meter rounds off more than a quarter of it.
    rounded = f.pattern_limits.meter_step_mg_per_l * feed / (f.number("baseline_permeate_tds_mg_per_l") or 1.0)
    in_proportion = abs(permeate - feed) <= max(0.25 * feed, rounded)
    normal = passage is None or 0.8 <= passage <= 1.2
    if not (in_proportion and normal):
        return None
    return Evidence(
        0.85 if passage is not None else 0.7,
        {"permeate_over_baseline": permeate, "feed_over_baseline": feed},
        is_clear=feed >= _OTHER_WATER,
    )


def low_driving_pressure(f: Facts) -> Evidence | None:
    """Less and saltier water at a low inlet pressure, normalised values normal."""
    both = _membrane(f)
    permeate = f.ratio("permeate_tds_mg_per_l", "baseline_permeate_tds_mg_per_l")
    flow = f.ratio("permeate_flow_l_per_day", "baseline_permeate_flow_l_per_day")
    inlet = f.ratio("inlet_pressure_kpa", "baseline_inlet_pressure_kpa")
    if both is None or permeate is None or flow is None or inlet is None:
        return None
    normal = REST_LOW <= both[0] <= REST_HIGH and both[1] <= 1.2
    if not normal or permeate < 1.15 or flow > REST_LOW or inlet > f.pattern_limits.low_pressure_share:
        return None
    # Where its own rule says why the pressure is low, this says no more than what comes of it.
    sure = BEHIND_ITS_CAUSE if pressure_fault(f) else 0.85
    return Evidence(
        sure, {"inlet_over_baseline": inlet, "flow_over_baseline": flow, "permeate_tds_over_baseline": permeate}
    )


def warm_water(f: Facts) -> Evidence | None:
    """More and saltier water at a higher temperature, normalised flow normal."""
    temperature, base = f.number("temperature_degc"), f.number("baseline_temperature_degc")
    flow = f.ratio("permeate_flow_l_per_day", "baseline_permeate_flow_l_per_day")
    passage = f.salt_passage_ratio_raw
    if temperature is None or base is None or flow is None or passage is None:
        return None
    if temperature - base <= f.pattern_limits.temperature_shift_degc or flow <= 1.05 or passage <= 1.05:
        return None
    if normalised_flow_is_normal(f) is False or pressure_fault(f) or too_little_concentrate(f) is not None:
        # What has to be mended is not called normal.
        return None
    return Evidence(0.8, {"temperature_degc": temperature, "baseline_degc": base, "flow_over_baseline": flow})
