"""The physical state of a unit, as nobody sees it, and its first day."""

import random
from dataclasses import dataclass

from tests.strangers.fault_histories.carbon import Carbon
from tests.strangers.fault_histories.hydraulics import Pump, Restrictor, Running, settle
from tests.strangers.fault_histories.membrane import Membrane
from tests.strangers.fault_histories.parts import CARBON_GRAMS, RESIN_LITRES, Layout, label_of
from tests.strangers.fault_histories.prefilters import Prefilters
from tests.strangers.fault_histories.resin import Resin
from tests.strangers.fault_histories.water import Water


@dataclass
class State:
    """Everything that a fault can act on. What follows `age` is set back to sound before each step."""

    membrane: Membrane
    prefilters: Prefilters
    carbon: Carbon
    resins: list[Resin]
    restrictor: Restrictor
    pump: Pump | None
    precharge_bar: float
    counter: float = 0.0
    flow_lost_a_year: float = 0.04
    passage_gained_a_year: float = 0.07
    age: float = 0.0
    """Years of the membrane."""
    supply_lost: float = 0.0
    """Bar."""
    back_bar: float = 0.0
    drain_open: bool = False
    """The concentrate runs on with the store full."""

    def make_sound(self) -> None:
        """Undo what a fault set; age and dirt stay."""
        settling = 0.97 if self.age > 0.04 else 1.0 - 0.75 * self.age
        self.membrane.water_left = settling * (1 - self.flow_lost_a_year) ** self.age
        self.membrane.salt_grown = (1 + self.passage_gained_a_year) ** self.age
        self.membrane.bypass = self.prefilters.extra_bar = self.supply_lost = self.back_bar = 0.0
        self.restrictor.opening = 1.0
        self.drain_open = False
        if self.pump:
            self.pump.strength = 1.0

    def run(self, *, static_bar: float, degc: float, tds: float) -> Running:
        return settle(
            static_bar=static_bar - self.supply_lost,
            pipe_bar=0.12,
            prefilters=self.prefilters,
            pump=self.pump,
            membrane=self.membrane,
            restrictor=self.restrictor,
            degc=degc,
            tds=tds,
            back_bar=self.back_bar,
        )


def fresh_membrane(layout: Layout, chance: random.Random) -> Membrane:
    """A piece within the tolerance of its label."""
    return Membrane(
        label_of(layout.item("membrane")),
        flow_factor=max(0.88, min(1.12, chance.gauss(1.0, 0.05))),
        passage=max(0.012, min(0.034, chance.gauss(0.022, 0.005))),
    )


def first_state(layout: Layout, water: Water, chance: random.Random) -> tuple[State, float, float]:
    """The unit as it is put into service; with it the restrictor's rated flow (rounded as sold) and the recovery."""
    membrane = fresh_membrane(layout, chance)
    pump = Pump() if layout.booster else None
    rating = 5.5 if layout.booster else 4.14
    bar = pump.set_bar if pump else water.line_bar - 0.15
    nominal = Membrane(label_of(layout.item("membrane")))
    permeate = nominal.permeate(bar, 0.0, 15.0, water.tds, nominal.label.flow * layout.ratio * 0.8)[0]
    wanted = layout.ratio * permeate * (rating / bar) ** (0.57 if layout.capillary else 0.5)
    rated = round(wanted / 72.0) * 72.0  # sold in steps of 50 mL/min
    state = State(
        membrane=membrane,
        prefilters=Prefilters(
            design_flow=(1 + layout.ratio) * permeate,
            clean_bar=chance.uniform(0.05, 0.12),
            dirty_bar=chance.uniform(0.04, 0.20),
            life=layout.weekly_litres / 7 * (1 + layout.ratio) * 190,
        ),
        carbon=Carbon(capacity_g=sum(CARBON_GRAMS[place.item] for place in layout.train if place.stage == "carbon")),
        resins=[Resin(RESIN_LITRES[code]) for code in layout.resins],
        restrictor=Restrictor(rated, rating, layout.capillary),
        pump=pump,
        precharge_bar=layout.precharge_bar,
        flow_lost_a_year=chance.uniform(0.02, 0.06),
        passage_gained_a_year=chance.uniform(0.03, 0.12),
    )
    return state, rated, round(1 / (1 + layout.ratio), 2)
