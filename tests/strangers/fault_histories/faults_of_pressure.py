"""Pressure: prefilters, supply, pump, restrictor."""

from typing import Final

from tests.strangers.fault_histories.fault import FROM_FIRST_DAY, Fault, Seen
from tests.strangers.fault_histories.signs import Sign
from tests.strangers.fault_histories.state import State

INLET_FALLS = (Sign("inlet pressure", below=0.7), Sign("inlet pressure", under=0.8))


def clogs(state: State, days: float) -> None:
    state.prefilters.extra_bar = 2.6 * min(days / 150.0, 1.3) ** 1.6


def supply_falls(state: State, days: float) -> None:
    state.supply_lost = 1.6


def pump_weakens(state: State, days: float) -> None:
    if state.pump:
        state.pump.strength = max(1.0 - days / 160.0, 0.2)


def pump_dies(state: State, days: float) -> None:
    if state.pump:
        state.pump.strength = 0.0


def restrictor_blocks(state: State, days: float) -> None:
    state.restrictor.opening = max(1.0 - 0.7 * min(days / 45.0, 1.0), 0.3)


def restrictor_too_tight(state: State, days: float) -> None:
    state.restrictor.opening = 0.27


def restrictor_too_wide(state: State, days: float) -> None:
    state.restrictor.opening = 2.9


FAULTS_OF_PRESSURE: Final = (
    Fault(
        "prefilter clogged",
        "The sediment filter clogs within months, long before its time, and the membrane gets less pressure.",
        "moderate", "reef", ("prefilter clogged",), INLET_FALLS, effect=clogs, not_served=("sediment", "carbon"),
        seen=(Seen(110, "client", "The container fills slowly.", "slow", ("one gauge", "sparse")),),
    ),
    Fault(
        "prefilter clogged in the cold season",
        "The sediment filter clogs from November on, while the water grows cold.",
        "moderate", "planted", ("prefilter clogged",), INLET_FALLS, effect=clogs, begins_in_month=11,
        not_served=("sediment", "carbon"), water={"swing_degc": 7.5, "mean_degc": 11.5},
    ),
    Fault(
        "filter nobody changed",
        "The prefilters were never changed; after two years hardly any water comes.",
        "moderate", "tap", ("prefilter clogged",), INLET_FALLS, effect=clogs, not_served=("sediment", "carbon"),
        onset=520, days_after=200, seen=(Seen(150, "client", "Little water from the tap.", "slow", ("sparse",)),),
    ),
    Fault(
        "supply pressure fallen",
        "The house got a new pressure reducer: the line has 1.6 bar less since.",
        "moderate", "small reef", ("supply pressure low",), INLET_FALLS, effect=supply_falls,
        accepted_blind=("prefilter clogged",),
    ),
    Fault(
        "booster pump weak",
        "The pump's diaphragm wears; over months the pressure falls.",
        "moderate", "coffee", ("booster pump fails",), INLET_FALLS, effect=pump_weakens,
        accepted_blind=("prefilter clogged",), days_after=190, water={"line_bar": 3.2},
    ),
    Fault(
        "booster pump dead",
        "The pump does not run any more; the membrane has the line's pressure alone.",
        "severe", "laboratory", ("booster pump fails",), INLET_FALLS, effect=pump_dies, water={"line_bar": 2.9},
        seen=(Seen(6, "client", "The pump makes no sound any more.", "noise", ("easy", "sparse")),),
    ),
    Fault(
        "restrictor blocked",
        "The restrictor blocks within weeks: hardly any waste, the recovery climbs.",
        "moderate", "planted", ("restrictor blocked",), (Sign("waste ratio", under=0.6),), effect=restrictor_blocks,
        water={"hardness": 260.0, "alkalinity": 210.0, "tds": 320.0},
    ),
    Fault(
        "restrictor blocked in the cold season",
        "The restrictor blocks in December, when less permeate comes anyway.",
        "moderate", "small reef", ("restrictor blocked",), (Sign("waste ratio", under=0.6),),
        effect=restrictor_blocks, begins_in_month=12, water={"swing_degc": 8.0, "mean_degc": 12.0},
    ),
    Fault(
        "restrictor too tight from the first day",
        "A restrictor for a far smaller membrane was fitted: hardly more waste than product.",
        "moderate", "reef", ("restrictor of wrong size", "restrictor blocked"), (Sign("waste ratio", under=0.6),),
        effect=restrictor_too_tight, onset=FROM_FIRST_DAY,
    ),
    Fault(
        "restrictor too wide from the first day",
        "A restrictor for a far larger membrane was fitted: ten parts of waste to one of product.",
        "moderate", "planted", ("restrictor of wrong size", "restrictor passes too much"),
        (Sign("waste ratio", over=1.8),), effect=restrictor_too_wide, onset=FROM_FIRST_DAY,
    ),
    Fault(
        "flush valve left open",
        "After the filters were changed the flush valve stayed half open: much waste and less pressure since.",
        "moderate", "coffee", ("restrictor passes too much", "restrictor of wrong size"),
        (Sign("waste ratio", over=1.8),), effect=restrictor_too_wide, prefilters_changed=True,
    ),
)  # fmt: skip
