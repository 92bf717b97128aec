"""Puts a history together: draws a unit, a house and a person, lets them live, and looks whether the diary shows it."""

from dataclasses import dataclass, replace
from datetime import date, timedelta
from itertools import pairwise
from random import Random

from tests.strangers.fault_histories.parts import Layout
from tests.strangers.fault_histories.records import History, Truth
from tests.strangers.service_diaries.catalogue import MEMBRANES
from tests.strangers.service_diaries.fault import Fault
from tests.strangers.service_diaries.hydraulics import Body, Running, run
from tests.strangers.service_diaries.life import Life, Lived, Plan
from tests.strangers.service_diaries.notes import header, read_log, rows
from tests.strangers.service_diaries.people import Writer, good_writer, lazy_writer, visit_writer
from tests.strangers.service_diaries.signs import Papers, first_day_to_know
from tests.strangers.service_diaries.supply import NEVER, Supply, draw_supply
from tests.strangers.service_diaries.units import HAS_PUMP, HAS_RESIN, layout_of

FIRST_DAYS = (date(2021, 1, 10), date(2021, 12, 20))
TRIES = 60
DAYS_AFTER = 260
"""So long at most a fault may stay hidden."""


@dataclass(frozen=True)
class Drawn:
    """A plan with what the papers say of it."""

    plan: Plan
    recovery: float
    restrictor: float


def _first_day(rng: Random, years: int = 0) -> date:
    begin, end = FIRST_DAYS
    day = begin + timedelta(days=rng.randrange((end - begin).days))
    return day.replace(year=day.year + years, day=min(day.day, 28))


def _columns(kind: str, rng: Random, *, is_lazy: bool, needs: tuple[str, ...]) -> tuple[str, ...]:
    if is_lazy:
        columns = ["inlet", "feed_tds", "permeate_tds"]
        columns += [each for each, share in (("degc", 0.5), ("permeate", 0.6), ("waste", 0.3)) if rng.random() < share]
        columns += ["line"] if rng.random() < 0.2 else []
    else:
        columns = ["line", "inlet", "degc", "feed_tds", "permeate_tds", "permeate", "waste"]
        columns += ["feed_chlorine", "chlorine"] if rng.random() < 0.6 else []
        columns += ["prefilter_outlet"] if kind in HAS_PUMP or rng.random() < 0.3 else []
        columns += ["start_tds"] if kind in HAS_RESIN and rng.random() < 0.2 else []
    if kind == "reef pair":
        columns.append("between_tds")
    if kind in HAS_RESIN or rng.random() < 0.4:
        columns.append("product_tds")
    columns += [each for each in needs if each not in columns]
    return tuple(columns)


def _papers_body(layout: Layout, waste: float, pump_bar: float) -> Body:
    membrane = next(place.item for place in layout.train if place.stage == "membrane")
    flow, bar, rejection = MEMBRANES[membrane]
    return Body(flow, bar, 1.0, 1 - rejection, waste, layout.capillary, 0.015, 0.02, pump_bar)


def _draw(kind: str, rng: Random, writer: Writer, supply: Supply, days: int, fault: Fault | None) -> Drawn:
    layout = layout_of(kind, rng)
    pump_bar = rng.uniform(3.6, 4.4) if kind in HAS_PUMP else 0.0
    label_flow = MEMBRANES[next(place.item for place in layout.train if place.stage == "membrane")][0]
    waste = float(round(0.75 * layout.ratio * label_flow, -1))
    laid_out: Running = run(_papers_body(layout, waste, pump_bar), supply.line_bar, supply.mean_degc, supply.tds)
    fault_day = 0
    if fault and not fault.is_there_from_the_first_day:
        fault_day = rng.randint(*fault.sound_days)
    if fault and fault.works:
        works_on = supply.works_on if supply.works_on != NEVER else _first_day(rng)
        supply = replace(supply, works_on=works_on, works_tds=rng.uniform(*fault.works))
    plan = Plan(
        layout=layout,
        supply=supply,
        writer=writer,
        waste=waste,
        pump_bar=pump_bar,
        begin=_first_day(rng, 2 if max(days, fault_day) < 800 else 0),
        days=fault_day + DAYS_AFTER if fault else days,
        fault=fault,
        fault_day=fault_day,
        size=rng.random(),
        filter_days=rng.randint(160, 360 - round(writer.every_days + writer.jitter_days)),
        membrane_days=rng.randint(750, 1500),
    )
    if fault and fault.works:
        works_on = plan.begin + timedelta(days=fault_day)
        plan = replace(plan, supply=replace(supply, works_on=works_on))
    return Drawn(plan, round(laid_out.recovery, 2), waste)


def _history(drawn: Drawn, lived: Lived, *, code: str, name: str, variant: str, seed: str, last: date) -> History:
    plan = drawn.plan
    notes = [note for note in lived.notes if note.at.date() <= last]
    return History(
        name=name,
        variant=variant,
        layout=plan.layout,
        water=plan.supply.as_record(seed),
        commissioned_on=plan.begin,
        last_day=last,
        design_recovery=drawn.recovery,
        restrictor_l_per_day=drawn.restrictor,
        restrictor_bar=4.0,
        header=header(plan.writer),
        rows=rows(code, plan.writer, notes),
        changes=tuple(change for change in lived.changes if change.at.date() <= last),
        samples=tuple(sample for sample in lived.samples if sample.at.date() <= last),
        observations=tuple(each for each in lived.observations if each.at.date() <= last),
        also_true=tuple(each for each in lived.also_true() if each.since <= last),
        truth=None,
    )


def _knowable(fault: Fault, drawn: Drawn, lived: Lived) -> date | None:
    if lived.since is None:
        return None
    if fault.sign is None:
        return max(each.at.date() for each in lived.observations) if lived.observations else None
    papers = Papers(drawn.plan.layout.target_tds, drawn.restrictor, drawn.plan.supply.tds)
    log = read_log(header(drawn.plan.writer), rows("U", drawn.plan.writer, lived.notes))
    return first_day_to_know(fault.sign, papers, log, lived.since, times=fault.times)


def fault_history(fault: Fault, variant: str, *, number: int, code: str, seed: int) -> History:
    """A diary in which this fault can be seen; drawn again until it can."""
    for attempt in range(TRIES):
        name = f"{code} {fault.name}, {variant}"
        key = f"diary {seed} {fault.name} {variant} {number} {attempt}"
        rng = Random(key)
        kind = rng.choice(fault.kinds)
        columns = _columns(kind, rng, is_lazy=variant == "lazy", needs=fault.needs)
        writer = (lazy_writer if variant == "lazy" else good_writer)(rng, columns)
        supply = draw_supply(rng, has_pump=kind in HAS_PUMP, hard=fault.is_hard, soft=fault.is_soft)
        drawn = _draw(kind, rng, writer, supply, 0, fault)
        lived = Life(drawn.plan, rng).live()
        known = _knowable(fault, drawn, lived)
        if known is None or lived.since is None:
            continue
        since = lived.since
        if (known - since).days > fault.within or not _is_well(lived, since):
            continue
        sound_notes = sum(note.at.date() < since for note in lived.notes)
        last = known + timedelta(days=rng.randint(40, 90))
        if last > drawn.plan.begin + timedelta(days=drawn.plan.days - 1):
            continue
        if sound_notes < 5 and not fault.is_there_from_the_first_day:
            continue
        if sum(known <= note.at.date() <= last for note in lived.notes) < 2:
            continue
        if fault.resin_load > 1 and not _came_too_soon(lived, since):
            continue
        has_one_gauge = "line" not in columns
        accepted = (*fault.accepted, *(fault.accepted_with_one_gauge if has_one_gauge else ()))
        history = _history(drawn, lived, code=code, name=name, variant=variant, seed=key, last=last)
        truth = Truth(fault.name, fault.told, fault.severity, accepted, since, known)
        return replace(history, truth=truth)
    raise RuntimeError(f"{fault.name}, {variant}, seed {seed}: no diary shows it in {TRIES} draws")


def _came_too_soon(lived: Lived, since: date) -> bool:
    """An earlier cartridge lasted at least twice as long as this one."""
    placed = [change.at.date() for change in lived.changes if change.stage == "resin" and change.at.date() < since]
    if len(placed) < 2:
        return False
    return (since - placed[-1]).days < 0.5 * max((after - before).days for before, after in pairwise(placed))


def _is_well(lived: Lived, until: date) -> bool:
    """Nothing that one would call a fault stands in the days before."""
    ills = ("product above its limit", "carbon used up", "sediment filter blocked", "supply pressure low")
    return not any(day < until for words in ills for day in lived.true_days.get(words, ()))


def sound_history(*, number: int, code: str, seed: int, is_old: bool) -> History:
    """A unit that is well, with all that happens to such a unit."""
    for attempt in range(TRIES):
        key = f"sound {seed} {number} {attempt}"
        rng = Random(key)
        kind = rng.choice(("reef", "reef", "reef pair", "planted", "sink", "sink", "sink pump", "bar", "workshop"))
        variant = rng.choice(("good", "lazy", "lazy", "visit"))
        columns = _columns(kind, rng, is_lazy=variant == "lazy", needs=())
        make = {"good": good_writer, "lazy": lazy_writer, "visit": visit_writer}[variant]
        writer = make(rng, columns)
        days = rng.randint(760, 1500) if is_old else rng.randint(240, 700)
        if is_old and variant == "good":
            writer = replace(writer, every_days=2 * writer.every_days, jitter_days=2 * writer.jitter_days)
        supply = draw_supply(rng, has_pump=kind in HAS_PUMP)
        drawn = _draw(kind, rng, writer, supply, days, None)
        if "feed_tds" in columns and rng.random() < 0.2:
            works_on = drawn.plan.begin + timedelta(days=rng.randint(100, days))
            supply = replace(supply, works_on=works_on, works_tds=rng.uniform(0.75, 1.3))
            drawn = replace(drawn, plan=replace(drawn.plan, supply=supply))
        lived = Life(drawn.plan, rng).live()
        if not _is_well(lived, date.max):
            continue
        last = drawn.plan.begin + timedelta(days=days - 1)
        name = f"{code} sound, {kind}, {variant}"
        return _history(drawn, lived, code=code, name=name, variant=variant, seed=key, last=last)
    raise RuntimeError(f"sound {number}, seed {seed}: it is not well in {TRIES} draws")
