"""Faults that show at gauges and in the measuring jug: filters, supply, pump, restrictor."""

import math

from tests.strangers.service_diaries.fault import Fault
from tests.strangers.service_diaries.hydraulics import Body
from tests.strangers.service_diaries.signs import (
    gauge_denied,
    line_lost,
    moved,
    pressure_lost_at_pump,
    pressure_lost_in_filters,
    waste_not_as_labelled,
)

WITHOUT_PUMP = ("reef", "reef pair", "planted", "sink", "workshop")


def _blocks_sediment(body: Body, days: float, size: float) -> None:
    body.sediment = min(body.sediment * math.exp(days / (14 + 12 * size)), 1.4 + size)


def _blocks_carbon(body: Body, days: float, size: float) -> None:
    body.carbon = min(body.carbon * math.exp(days / (8 + 6 * size)), 1.4 + size)


def _weakens_pump(body: Body, days: float, size: float) -> None:
    body.pump_bar *= 0.03 if size < 0.5 else 0.35


def _throttles(body: Body, days: float, size: float) -> None:
    total = body.waste / 1000 + body.label_flow / 1500
    body.throttle = (4 + 5 * size) / total**2


def _blocks_restrictor(body: Body, days: float, size: float) -> None:
    body.waste *= max(0.12 + 0.2 * size, 1 - days / 12)


def _frees_waste(body: Body, days: float, size: float) -> None:
    body.waste *= 3.0 + 4 * size


def _too_little_waste(body: Body, days: float, size: float) -> None:
    body.waste *= 0.22 + 0.12 * size


def _breaks_gauge(shown: dict[str, float], days: float, size: float) -> None:
    shown["inlet"] *= 0.25 * size


FAULTS_OF_FLOW = (
    Fault(
        "sediment filter blocked",
        "The sediment filter was left in too long and is full of dirt.",
        "moderate",
        ("sediment filter blocked",),
        weight=3,
        sign=pressure_lost_in_filters,
        kinds=WITHOUT_PUMP,
        needs=("inlet",),
        acts=_blocks_sediment,
        neglected=("sediment", "carbon"),
    ),
    Fault(
        "carbon block plugged",
        "After works on the mains brown water went through, and silt sits in the carbon block.",
        "moderate",
        ("carbon block plugged", "sediment filter blocked"),
        sign=pressure_lost_in_filters,
        kinds=WITHOUT_PUMP,
        needs=("inlet", "feed_tds"),
        acts=_blocks_carbon,
        neglected=("carbon", "sediment"),
        works=(1.0, 1.02),
    ),
    Fault(
        "booster pump weak",
        "The booster pump gives little or no pressure any more.",
        "moderate",
        ("pump weak or dead",),
        kinds=("sink pump", "bar"),
        sign=pressure_lost_at_pump,
        needs=("inlet", "permeate"),
        acts=_weakens_pump,
    ),
    Fault(
        "house pressure fallen",
        "The pressure reducer of the house gives far less than it did.",
        "moderate",
        ("supply pressure low", "feed valve not fully open"),
        kinds=WITHOUT_PUMP,
        sign=line_lost,
        needs=("inlet",),
        acts=_throttles,
        accepted_with_one_gauge=("sediment filter blocked",),
    ),
    Fault(
        "feed valve half shut",
        "After the filters were changed the feed valve was opened half-way only.",
        "moderate",
        ("feed valve not fully open", "supply pressure low"),
        kinds=WITHOUT_PUMP,
        sign=line_lost,
        needs=("inlet",),
        acts=_throttles,
        work="sediment",
        accepted_with_one_gauge=("sediment filter blocked",),
    ),
    Fault(
        "restrictor blocked",
        "The restrictor is nearly closed by lime or dirt, and hardly any waste runs.",
        "severe",
        ("restrictor blocked",),
        weight=2,
        sign=moved("waste", below=0.5),
        needs=("waste", "permeate"),
        acts=_blocks_restrictor,
    ),
    Fault(
        "waste runs free",
        "The capillary slipped out, or the flush valve stayed open: the waste runs freely.",
        "moderate",
        ("restrictor lets too much through", "flush valve open"),
        sign=moved("waste", above=1.7),
        needs=("waste", "permeate", "inlet"),
        acts=_frees_waste,
    ),
    Fault(
        "wrong restrictor",
        "Since the first day a restrictor for a far smaller membrane is fitted.",
        "moderate",
        ("wrong restrictor", "restrictor blocked"),
        sign=waste_not_as_labelled,
        needs=("waste", "permeate", "inlet"),
        acts=_too_little_waste,
        is_there_from_the_first_day=True,
    ),
    Fault(
        "gauge broken",
        "The gauge in front of the membrane hangs near its stop while the water runs as ever.",
        "minor",
        ("gauge broken",),
        sign=gauge_denied,
        needs=("inlet", "permeate"),
        spoils=_breaks_gauge,
    ),
)
