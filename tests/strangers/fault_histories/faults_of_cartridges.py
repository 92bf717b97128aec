"""Carbon and resin."""

from typing import Final

from tests.strangers.fault_histories.fault import FROM_FIRST_DAY, Fault
from tests.strangers.fault_histories.signs import Sign
from tests.strangers.fault_histories.state import State


def carbon_breaks_through(state: State, days: float) -> None:
    state.carbon.taken_g = state.carbon.capacity_g * min(0.9 + days / 150.0, 1.3)


def ordinary_carbon(state: State, days: float) -> None:
    state.carbon.takes_chloramine = False


def resin_runs_out(state: State, days: float) -> None:
    resin = state.resins[-1]
    full = resin.litres * resin.eq_per_litre
    resin.loaded_eq = max(resin.loaded_eq, full * min(0.9 + days / 500.0, 1.06))


def channels(state: State, days: float) -> None:
    """From one day on the water finds a way past the resin."""
    resin = state.resins[-1]
    resin.loaded_eq = resin.litres * resin.eq_per_litre * 1.03


FAULTS_OF_CARTRIDGES: Final = (
    Fault(
        "carbon lets chlorine through",
        "The carbon is exhausted; the test behind it shows chlorine and does so from then on.",
        "severe", "coffee", ("carbon exhausted",), (Sign("carbon outlet total chlorine", above=0.1),),
        effect=carbon_breaks_through, not_served=("carbon",), water={"chlorine": 0.9}, days_after=150,
    ),
    Fault(
        "chloramine and ordinary carbon",
        "The works changed to chloramine; half of it passes the ordinary carbon.",
        "severe", "small reef", ("carbon unfit for chloramine", "carbon exhausted"),
        (Sign("carbon outlet total chlorine", above=0.1),), effect=ordinary_carbon,
        water={"chlorine": 1.1, "chloramine": True},
    ),
    Fault(
        "single resin exhausted",
        "The only resin is exhausted and nobody changes it: product between target and permeate.",
        "severe", "small reef", ("resin exhausted",), (Sign("product TDS", above=1.9),), effect=resin_runs_out,
        not_served=("resin",), water={"tds": 380.0}, changes_layout={"target_tds": 2.0},
    ),
    Fault(
        "resin lets salt through from one day on",
        "Water has found a way past the resin: the product jumps to most of the permeate and stays there.",
        "severe", "small reef", ("resin exhausted",), (Sign("product TDS", above=1.9),), effect=channels,
        not_served=("resin",), water={"tds": 380.0}, changes_layout={"target_tds": 2.0},
    ),
    Fault(
        "lead resin exhausted and left",
        "The first of two resins is exhausted, the second holds; nobody rotates them.",
        "minor", "laboratory", ("lead resin exhausted",), (Sign("interstage TDS", above=2.9),),
        not_served=("resin",), water={"tds": 420.0}, onset=200, days_after=330,
    ),
    Fault(
        "lead and lag in the wrong order",
        "At the change the fresh resin was put in front and the older one behind: the product is worse than the water "
        "between them.",
        "severe", "reef", ("resins in the wrong order",), (Sign("product TDS", above=0.9),), wrong_order=True,
        not_served=("resin",), water={"tds": 420.0},
    ),
    Fault(
        "resin exhausted early by carbon dioxide",
        "Soft to the meter, full of carbon dioxide: the resin lasts a fraction of what the permeate explains.",
        "moderate", "small reef", ("resin loaded unseen",), (Sign("product TDS", above=1.9),),
        water={"alkalinity": 220.0, "ph": 6.9, "hardness": 230.0, "tds": 260.0},
        sound_water={"ph": 7.8}, onset=FROM_FIRST_DAY, days_after=240, resin_limit=1.06,
    ),
)  # fmt: skip
