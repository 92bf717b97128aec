"""What happens when the store is full, and what people see on the floor."""

from typing import Final

from tests.strangers.fault_histories.fault import FROM_FIRST_DAY, Fault, Seen
from tests.strangers.fault_histories.signs import Sign
from tests.strangers.fault_histories.state import State

DRAIN_RUNS = (Sign("concentrate flow", above=40.0, state="full"),)
RUNS_ON = "Water runs into the drain all day, even when the container is full."


def drain_runs(state: State, days: float) -> None:
    state.drain_open = True


def air_lost(state: State, days: float) -> None:
    state.precharge_bar = 0.05


def nothing(state: State, days: float) -> None:
    """The numbers know nothing of it."""


FAULTS_OF_STORES: Final = (
    Fault(
        "shut-off valve failed, tank",
        "The diaphragm of the shut-off valve is torn: with the tank full, the concentrate runs on.",
        "severe", "tap", ("shut-off valve fails", "check valve fails"), DRAIN_RUNS, times=1, effect=drain_runs,
        seen=(Seen(20, "client", RUNS_ON, "drain", ("sparse",)),),
    ),
    Fault(
        "check valve failed, tank",
        "The check valve leaks back: the tank's water presses into the membrane, the shut-off valve reopens.",
        "severe", "coffee", ("check valve fails", "shut-off valve fails"), DRAIN_RUNS, times=1, effect=drain_runs,
        seen=(Seen(12, "client", "The pump starts again and again and the drain never stops.", "drain"),),
    ),
    Fault(
        "shut-off valve failed, open container",
        "The float closes the product, the shut-off valve does not close the feed: it runs to the drain for ever.",
        "severe", "reef", ("shut-off valve fails", "check valve fails"), DRAIN_RUNS, times=1, effect=drain_runs,
        seen=(Seen(15, "client", RUNS_ON, "drain", ("one gauge", "sparse")),),
    ),
    Fault(
        "float without shut-off valve",
        "A float closes the product, and nothing closes the feed: the concentrate never stops, by construction.",
        "moderate", "small reef", ("no shut-off valve fitted",), DRAIN_RUNS, times=1, effect=drain_runs,
        onset=FROM_FIRST_DAY, changes_layout={"shut_off": False, "check_valve": False},
        seen=(Seen(8, "client", RUNS_ON, "drain", ("sparse",)),),
    ),
    Fault(
        "tank lost its air",
        "The tank has lost its air charge: it gives a glass of water and then a trickle.",
        "minor", "tap", ("tank lost its air",), (Sign("tank pressure", under=0.4, state="emptied"),), times=1,
        effect=air_lost, seen=(Seen(25, "client", "After one glass only a trickle comes from the tap.", "slow"),),
    ),
    Fault(
        "leak on the floor",
        "A housing leaks; the gauges show nothing of it.",
        "severe", "tap", ("water on the floor",), (), times=1, effect=nothing, days_after=60,
        seen=(Seen(3, "client", "There is water on the floor under the unit.", "leak"),),
    ),
)  # fmt: skip
