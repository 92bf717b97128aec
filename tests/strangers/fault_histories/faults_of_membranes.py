"""Membranes: seals, tears, chlorine, scale, dirt, age."""

from typing import Final

from tests.strangers.fault_histories.fault import FROM_FIRST_DAY, Fault, Seen
from tests.strangers.fault_histories.signs import Sign
from tests.strangers.fault_histories.state import State

PASSAGE_JUMPS = (Sign("passage", over=1.6),)


def seal_leaks(state: State, days: float) -> None:
    state.membrane.bypass = 3.2


def bursts(state: State, days: float) -> None:
    state.membrane.bypass = 11.0
    state.membrane.water_left *= 1.08


def dried_out(state: State, days: float) -> None:
    state.membrane.salt_grown *= 2.6
    state.membrane.water_left *= 0.72


def plugged_by_fines(state: State, days: float) -> None:
    state.membrane.water_left *= 0.5


def scales(state: State, days: float) -> None:
    share = min(days / 260.0, 1.0)
    state.membrane.water_left *= 1 - 0.5 * share
    state.membrane.salt_grown *= 1 + 0.12 * share


def fouls(state: State, days: float) -> None:
    share = min(days / 220.0, 1.0)
    state.membrane.water_left *= 1 - 0.42 * share
    state.membrane.salt_grown *= 1 - 0.05 * share


def chlorine_attacks(state: State, days: float) -> None:
    state.carbon.taken_g = state.carbon.capacity_g * min(0.85 + days / 180.0, 1.4)
    attack = max(days - 20.0, 0.0) / 80.0
    state.membrane.salt_grown *= 1 + 0.9 * attack**1.2
    state.membrane.water_left *= 1 + 0.06 * attack


def wears_out(state: State, days: float) -> None:
    share = min(days / 420.0, 1.0)
    state.membrane.salt_grown *= 1 + 3.2 * share
    state.membrane.water_left *= 1 - 0.15 * share


FAULTS_OF_MEMBRANES: Final = (
    Fault(
        "seal leaks after membrane change",
        "A new membrane was put in and its O-ring was pinched: brine passes from that day on.",
        "severe", "reef", ("seal leaks",), (Sign("passage", over=1.8),), effect=seal_leaks, membrane_changed=True,
    ),
    Fault(
        "membrane burst",
        "The membrane tore in the middle of its life; salt jumps and stays, and a little more water comes.",
        "severe", "small reef", ("membrane damaged", "seal leaks"), PASSAGE_JUMPS, effect=bursts,
        not_served=("resin",), days_after=130,
    ),
    Fault(
        "membrane dried out",
        "The home stood empty, the housing ran dry; since then the membrane passes more salt and less water.",
        "severe", "planted", ("membrane damaged",), PASSAGE_JUMPS, effect=dried_out, standstill=75,
        seen=(Seen(2, "client", "The unit was switched off while we were away.", "off"),),
    ),
    Fault(
        "flow halves after carbon change",
        "New carbon was not flushed to the drain; its fines lie on the membrane and the flow is half of what it was.",
        "moderate", "planted", ("membrane fouled", "permeate held back"), (Sign("permeate flow", under=0.7),),
        effect=plugged_by_fines, prefilters_changed=True,
    ),
    Fault(
        "scaling on hard water",
        "Hard water and a tight restrictor: over months scale takes half of the flow, the salt hardly changes.",
        "moderate", "planted", ("membrane scaled",), (Sign("permeate flow", under=0.8),), effect=scales,
        water={"hardness": 400.0, "alkalinity": 310.0, "tds": 420.0, "ph": 7.8, "mean_degc": 15.0},
        changes_layout={"ratio": 1.6}, days_after=300,
    ),
    Fault(
        "fouling on soft water",
        "Slime and colloids lie on the membrane: over months it loses flow, the salt stays.",
        "moderate", "reef", ("membrane fouled",), (Sign("permeate flow", under=0.8),), effect=fouls,
        water={"hardness": 40.0, "alkalinity": 35.0, "tds": 90.0, "ph": 7.3}, days_after=270,
    ),
    Fault(
        "oxidised, chlorine tested",
        "The carbon was never changed; chlorine passes it and opens the membrane. Salt and flow grow.",
        "severe", "coffee", ("membrane oxidised", "carbon exhausted"),
        (Sign("carbon outlet total chlorine", above=0.1), Sign("passage", over=1.6)), effect=chlorine_attacks,
        water={"chlorine": 1.2}, not_served=("carbon",), days_after=260,
    ),
    Fault(
        "oxidised, chlorine never tested",
        "Chlorine passes the carbon and nobody tests for it; salt grows for months and the flow a little with it.",
        "severe", "tap", ("membrane oxidised", "carbon exhausted"), PASSAGE_JUMPS, effect=chlorine_attacks,
        water={"chlorine": 1.2}, not_served=("carbon",), days_after=300,
    ),
    Fault(
        "membrane worn out",
        "An old membrane fails at last: within a year its salt passage grows several times.",
        "moderate", "planted", ("membrane worn out", "membrane oxidised", "membrane damaged"),
        (Sign("passage", over=1.7),), effect=wears_out, onset=1100, days_after=330,
    ),
    Fault(
        "seal never seated",
        "The membrane was put in without its O-rings sitting: high salt since the first day.",
        "severe", "tap", ("seal leaks", "membrane damaged"), (Sign("passage", over=1.9),), effect=seal_leaks,
        onset=FROM_FIRST_DAY,
    ),
    Fault(
        "wrong membrane from the first day",
        "A membrane of half the size in the papers was put in.",
        "moderate", "small reef", ("wrong membrane",), (Sign("permeate flow", under=0.7),),
        effect=lambda state, days: _half_size(state), onset=FROM_FIRST_DAY,
    ),
)  # fmt: skip


def _half_size(state: State) -> None:
    state.membrane.water_left *= 0.5
    state.membrane.salt_grown *= 0.5
