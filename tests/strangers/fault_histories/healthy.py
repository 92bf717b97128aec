"""Units that nothing is wrong with: old and young ones, cold and warm places, dirty filters changed in time."""

import random
from dataclasses import replace
from datetime import date, timedelta
from typing import Final

from tests.strangers.fault_histories.instruments import EASY, ONE_GAUGE, SPARSE, Kit
from tests.strangers.fault_histories.life import Course, Life
from tests.strangers.fault_histories.logbook import Habits, Logbook
from tests.strangers.fault_histories.make import history_of
from tests.strangers.fault_histories.parts import LAYOUTS
from tests.strangers.fault_histories.records import History
from tests.strangers.fault_histories.water import Water

KITS: Final = (
    replace(EASY, every_days=75),
    replace(ONE_GAUGE, every_days=80, looks_when_full=False),
    replace(ONE_GAUGE, every_days=95, flow_error=0.05, chlorine_test=True, looks_when_full=False),
    replace(SPARSE, every_days=110, client_days=75, slips=0.0015),
)
PLACES: Final = (
    ("temperate", {}),
    ("cold winters", {"mean_degc": 10.0, "swing_degc": 6.5}),
    ("hot summers", {"mean_degc": 18.0, "swing_degc": 8.0}),
    ("changing feed", {"tds_swing": 0.2, "tds_wander": 0.06}),
    ("another works", {"changes": 1.0}),
    ("hard water", {"hardness": 260.0, "alkalinity": 190.0, "tds": 360.0}),
)


def make_healthy_history(number: int, *, code: str, seed: int) -> History:
    """The `number`-th: more than half are older than two years."""
    name = f"{seed}:healthy:{number}"
    chance = random.Random(f"{name}:course")
    place, waters = PLACES[number % len(PLACES)]
    layout = LAYOUTS[chance.choice(tuple(LAYOUTS))]
    days = chance.randrange(740, 1420) if number % 9 < 5 else chance.randrange(180, 700)
    first_day = date(2022, 3, 1) + timedelta(days=chance.randrange(330))
    kit: Kit = KITS[chance.randrange(len(KITS))]
    water = _water(name, chance, dict(waters), first_day, days)
    if layout.booster:
        water = replace(water, line_bar=chance.uniform(2.6, 3.8))
    course = Course(
        layout=layout,
        water=water,
        kit=kit,
        first_day=first_day,
        days=days,
        onset=days + 1,
        prefilter_days=chance.randrange(150, 215),
        membrane_changes=(chance.randrange(650, 1000),) if days > 1050 and chance.random() < 0.4 else (),
    )
    lived = Life(course, name, Logbook(code, Habits.of(name))).live()
    return history_of(course, lived, name=name, variant=place, samples=chance.random() < 0.7)


def _water(name: str, chance: random.Random, waters: dict[str, float], first_day: date, days: int) -> Water:
    drawn = {
        "mean_degc": chance.uniform(11.0, 14.5),
        "swing_degc": chance.uniform(3.5, 6.5),
        "tds": chance.uniform(120.0, 320.0),
        "hardness": chance.uniform(60.0, 190.0),
        "alkalinity": chance.uniform(60.0, 150.0),
        "ph": chance.uniform(7.6, 8.2),
        "line_bar": chance.uniform(3.9, 4.8),
        "chlorine": chance.uniform(0.1, 0.4),
        "tds_swing": chance.uniform(0.03, 0.12),
    }
    changes = waters.pop("changes", 0.0)
    water = Water(seed=name, **{**drawn, **waters})  # type: ignore[arg-type]
    if changes:
        changes_on = first_day + timedelta(days=int(days * chance.uniform(0.3, 0.7)))
        water = replace(water, later_tds=water.tds * chance.choice((0.65, 1.4)), changes_on=changes_on)
    return water
