"""From a kind of fault and a variant to a history; the same unit is lived a second time without the fault."""

import random
from dataclasses import replace
from datetime import date, datetime, time, timedelta
from typing import Any

from tests.strangers.fault_histories.fault import Fault
from tests.strangers.fault_histories.instruments import VARIANTS, Kit
from tests.strangers.fault_histories.life import Course, Life, Lived
from tests.strangers.fault_histories.logbook import Habits, Logbook
from tests.strangers.fault_histories.parts import LAYOUTS
from tests.strangers.fault_histories.records import History, Observation, Sample, Truth
from tests.strangers.fault_histories.signs import first_day_to_know
from tests.strangers.fault_histories.water import Water

DAYS_TO_BE_FOUND = 60
"""The log goes on for so long, or longer, after the day on which it can be known."""

MOST_UNITS = 40


def make_fault_history(fault: Fault, variant: str, *, code: str, seed: int) -> History:
    """Live the course with the fault and without it; where its log never shows the fault, another unit is drawn.

    Raises
    ------
    ValueError
        None of `MOST_UNITS` units shows it: the history is of no use.
    """
    for unit in range(MOST_UNITS):
        history = _history(fault, variant, code=code, seed=seed, unit=unit, longer=0)
        if history is None:
            continue
        if history.truth and (history.last_day - history.truth.knowable_on).days < DAYS_TO_BE_FOUND:
            history = _history(fault, variant, code=code, seed=seed, unit=unit, longer=DAYS_TO_BE_FOUND)
        if history is not None:
            return history
    raise ValueError(f"{seed}:{fault.name}:{variant}: the log of no unit shows it")


def _history(fault: Fault, variant: str, *, code: str, seed: int, unit: int, longer: int) -> History | None:
    """The history of the `unit`-th unit that is drawn; None where its log never shows the fault."""
    name = f"{seed}:{fault.name}:{variant}"
    drawn = f"{name}:{unit}" if unit else name
    chance = random.Random(f"{drawn}:course")
    kit = _kit(fault, VARIANTS[variant])
    onset = fault.onset if fault.onset is not None else chance.randrange(250, 430)
    first_day = date(2022, 9, 1) + timedelta(days=chance.randrange(500))
    if fault.begins_in_month:
        first_day = date(2024, fault.begins_in_month, chance.randrange(5, 25)) - timedelta(days=onset)
    days_after = max(fault.days_after, 3 * kit.every_days + 10) + longer
    water = _water(fault, drawn, chance)
    course = Course(
        layout=replace(LAYOUTS[fault.layout], **fault.changes_layout),  # type: ignore[arg-type]
        water=water,
        kit=kit,
        first_day=first_day,
        days=onset + days_after,
        onset=onset,
        effect=fault.effect,
        is_by_work=fault.membrane_changed or fault.prefilters_changed,
        slip=fault.slip,
        prefilter_days=chance.randrange(165, 200),
        membrane_changes=(onset,) if fault.membrane_changed else (),
        not_served=frozenset(fault.not_served),
        wrong_order_at=onset if fault.wrong_order else -1,
        standstill=(onset - fault.standstill, onset) if fault.standstill else (0, 0),
        resin_limit=fault.resin_limit,
    )
    if fault.prefilters_changed:
        course = replace(course, prefilter_days=onset)
    sound = replace(
        course, effect=None, slip=None, not_served=frozenset(), wrong_order_at=-1, resin_limit=0.0,
        layout=LAYOUTS[fault.layout] if not fault.changes_layout.get("ratio") else course.layout,
        water=replace(water, **fault.sound_water),  # type: ignore[arg-type]
    )  # fmt: skip
    lived, other = (Life(each, drawn, Logbook(code, Habits.of(drawn))).live() for each in (course, sound))
    since = first_day + timedelta(days=onset)
    knowable = first_day_to_know(fault.signs, fault.times, lived.looked, other.looked, since)
    seen = tuple(
        Observation(
            datetime.combine(since + timedelta(days=told.after_days), time(18, 30)), told.by, told.words, told.reach
        )
        for told in fault.seen
        if variant in told.variants
    )
    telling = [each.at.date() for each in seen if fault.times == 1]
    if telling:
        knowable = min([*telling, *([knowable] if knowable else [])])
    if knowable is None:
        return None
    accepted = fault.accepted + (fault.accepted_blind if not kit.line_gauge else ())
    truth = Truth(fault.name, fault.told, fault.severity, accepted, since, knowable)
    samples = variant != "sparse" or bool(fault.sound_water)
    return history_of(course, lived, name=name, drawn=drawn, variant=variant, seen=seen, truth=truth, samples=samples)


def history_of(
    course: Course,
    lived: Lived,
    *,
    name: str,
    variant: str,
    seen: tuple[Observation, ...] = (),
    truth: Truth | None = None,
    samples: bool = True,
    drawn: str = "",
) -> History:
    """Put together what came of a life; `drawn` is what its chances were drawn by, the name where it is empty."""
    header, rows = lived.logbook.write()
    return History(
        name=name,
        variant=variant,
        layout=course.layout,
        water=course.water,
        commissioned_on=course.first_day,
        last_day=course.first_day + timedelta(days=course.days),
        design_recovery=lived.recovery,
        restrictor_l_per_day=lived.restrictor,
        restrictor_bar=lived.restrictor_bar,
        header=header,
        rows=rows,
        changes=tuple(lived.changes),
        samples=_samples(course, drawn or name) if samples else (),
        observations=seen,
        also_true=tuple(lived.also_true),
        truth=truth,
    )


def _kit(fault: Fault, kit: Kit) -> Kit:
    """Whoever cannot see the fault without a test or a second look has it, whatever the variant."""
    columns = {sign.column for sign in fault.signs}
    is_of_chlorine = "carbon outlet total chlorine" in columns
    is_of_full_store = any(sign.state != "flowing" for sign in fault.signs)
    return replace(
        kit,
        chlorine_test=is_of_chlorine or (kit.chlorine_test and "never tested" not in fault.name),
        looks_when_full=kit.looks_when_full or is_of_full_store,
    )


def _water(fault: Fault, name: str, chance: random.Random) -> Water:
    drawn: dict[str, Any] = {
        "mean_degc": chance.uniform(11.0, 14.5),
        "swing_degc": chance.uniform(3.5, 6.5),
        "tds": chance.uniform(180.0, 300.0),
        "hardness": chance.uniform(90.0, 170.0),
        "alkalinity": chance.uniform(80.0, 140.0),
        "ph": chance.uniform(7.5, 8.0),
        "line_bar": chance.uniform(3.9, 4.6),
        "chlorine": chance.uniform(0.2, 0.5),
    }
    return Water(seed=name, **{**drawn, **fault.water})


def _samples(course: Course, name: str) -> tuple[Sample, ...]:
    chance = random.Random(f"{name}:samples")
    water = course.water
    days = range(0, course.days + 1, 330)
    return tuple(
        Sample(
            datetime.combine(course.first_day + timedelta(days=day), time(8, 40)),
            water.hardness * chance.uniform(0.93, 1.07),
            water.alkalinity * chance.uniform(0.93, 1.07),
            water.ph + chance.uniform(-0.1, 0.1),
            water.chlorine * chance.uniform(0.8, 1.2),
        )
        for day in days
    )
