"""Faults of the membrane and of how it sits."""

import math

from tests.strangers.service_diaries.fault import Fault
from tests.strangers.service_diaries.hydraulics import Body
from tests.strangers.service_diaries.signs import both, flow_lost, passage_up, salty_start


def _oxidises(body: Body, days: float, size: float) -> None:
    body.salt *= min(math.exp(days / (70 + 60 * size)), 7.0)
    body.water *= min(math.exp(days / 450), 1.5)


def _wears_out(body: Body, days: float, size: float) -> None:
    body.salt *= min(math.exp(days / (150 + 60 * size)), 6.0)


def _scales(body: Body, days: float, size: float) -> None:
    body.water *= max(math.exp(-days / (110 + 70 * size)), 0.25)
    body.salt *= min(math.exp(days / 260), 2.0)


def _fouls(body: Body, days: float, size: float) -> None:
    body.water *= max(math.exp(-days / (80 + 60 * size)), 0.25)


def _seal_leaks(body: Body, days: float, size: float) -> None:
    body.leak = body.label_flow * (0.018 + 0.03 * size)


def _tears(body: Body, days: float, size: float) -> None:
    body.leak = body.label_flow * (0.05 + 0.1 * size)


def _is_smaller(body: Body, days: float, size: float) -> None:
    body.label_flow *= 0.33 + 0.17 * size


def _starts_salty(shown: dict[str, float], days: float, size: float) -> None:
    shown["start_tds"] = shown["permeate_tds"] * (4 + 4 * size)


FAULTS_OF_MEMBRANES = (
    Fault(
        "membrane eaten by chlorine",
        "The carbon let chlorine through for months, and the membrane is oxidised.",
        "severe",
        ("membrane eaten by chlorine", "carbon used up"),
        sign=passage_up(1.9),
        needs=("permeate_tds", "feed_tds", "permeate"),
        acts=_oxidises,
        neglected=("carbon", "membrane", "sediment"),
        carbon_days=40.0,
    ),
    Fault(
        "membrane worn out",
        "After years the membrane lets several times the salt through.",
        "moderate",
        ("membrane worn out", "membrane eaten by chlorine"),
        sign=passage_up(2.0),
        needs=("permeate_tds", "feed_tds"),
        acts=_wears_out,
        neglected=("membrane",),
        sound_days=(900, 1150),
    ),
    Fault(
        "membrane scaled",
        "On hard water lime has settled on the membrane.",
        "moderate",
        ("membrane scaled", "membrane fouled"),
        weight=2,
        sign=flow_lost,
        needs=("permeate", "inlet", "permeate_tds", "degc"),
        acts=_scales,
        neglected=("membrane",),
        is_hard=True,
    ),
    Fault(
        "membrane fouled",
        "On soft water slime has grown on the membrane.",
        "moderate",
        ("membrane fouled",),
        sign=flow_lost,
        needs=("permeate", "inlet", "permeate_tds", "degc"),
        acts=_fouls,
        neglected=("membrane",),
        is_soft=True,
    ),
    Fault(
        "seal leaks after a change of the membrane",
        "The new membrane was put in with a pinched O-ring.",
        "severe",
        ("membrane seal leaks", "membrane damaged"),
        weight=2,
        sign=passage_up(1.9),
        needs=("permeate_tds", "feed_tds"),
        acts=_seal_leaks,
        work="membrane",
        neglected=("membrane",),
        sound_days=(300, 480),
    ),
    Fault(
        "membrane torn",
        "The membrane tore or dried out from one day to the next.",
        "severe",
        ("membrane damaged", "membrane seal leaks"),
        sign=passage_up(2.5),
        needs=("permeate_tds", "feed_tds"),
        acts=_tears,
        neglected=("membrane",),
    ),
    Fault(
        "wrong membrane",
        "A much smaller membrane than the papers say was put in.",
        "moderate",
        ("wrong membrane",),
        kinds=("reef pair", "workshop", "bar", "planted"),
        sign=flow_lost,
        needs=("permeate", "inlet", "degc", "permeate_tds"),
        acts=_is_smaller,
        work="membrane",
        neglected=("membrane",),
        sound_days=(300, 480),
    ),
    Fault(
        "salt in the first minutes",
        "The unit starts many times a day for a few minutes, and every start is salty.",
        "minor",
        ("salt in the first minutes",),
        kinds=("reef", "reef pair", "workshop"),
        sign=both(salty_start, lambda _, __, now: "permeate_tds" in now),
        needs=("start_tds", "permeate_tds"),
        spoils=_starts_salty,
    ),
)
