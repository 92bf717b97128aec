"""How full each cartridge is, and what comes through it."""

import math
from dataclasses import dataclass
from random import Random

from tests.strangers.fault_histories.parts import Layout
from tests.strangers.service_diaries.catalogue import CARBON_G, MEMBRANES, RESIN_EQ
from tests.strangers.service_diaries.hydraulics import Body

MG_PER_MEQ = 56.0
"""Of usual tap water salt: from memory."""
FRESH_BAR = 0.012
"""Pressure lost in a fresh filter, for each 1000 L/day."""


@dataclass
class Cartridges:
    """Loads of all cartridges of one unit."""

    layout: Layout
    water_spread: float
    salt_spread: float
    """This membrane over its label."""
    ages_flow: float
    ages_salt: float
    """A year: share of flow lost, share of salt passage gained."""
    sediment_load: float = 0.0
    carbon_g: float = 0.0
    resin_eq: float = 0.0
    lag_eq: float = 0.0
    membrane_litres: float = 0.0
    membrane_days: float = 0.0

    def item(self, stage: str) -> str:
        return next(place.item for place in self.layout.train if place.stage == stage)

    @property
    def has_pair(self) -> bool:
        return any(place.role == "lag" for place in self.layout.train)

    @property
    def has_resin(self) -> bool:
        return any(place.stage == "resin" for place in self.layout.train)

    @property
    def resin_share(self) -> float:
        """Load of the first resin over its capacity."""
        return self.resin_eq / RESIN_EQ[self.item("resin")]

    @property
    def lag_share(self) -> float:
        return self.lag_eq / RESIN_EQ[self.item("resin")]

    @property
    def carbon_share(self) -> float:
        return self.carbon_g / CARBON_G[self.item("carbon")]

    @property
    def chlorine_passes(self) -> float:
        return breakthrough(self.carbon_share)

    def body(self, waste: float, pump_bar: float) -> Body:
        """The unit as its cartridges make it."""
        flow, bar, rejection = MEMBRANES[self.item("membrane")]
        years = self.membrane_days / 365.25
        flushing = 1 + 0.5 * math.exp(-self.membrane_litres / 40)
        return Body(
            label_flow=flow,
            label_bar=bar,
            water=self.water_spread * (1 - self.ages_flow) ** years,
            salt=(1 - rejection) * self.salt_spread * (1 + self.ages_salt) ** years * flushing,
            waste=waste,
            is_capillary=self.layout.capillary,
            sediment=FRESH_BAR * math.exp(self.sediment_load),
            carbon=1.5 * FRESH_BAR,
            pump_bar=pump_bar,
        )

    def load(self, *, product: float, feed: float, permeate_tds: float, carbon_dioxide: float, chlorine: float) -> None:
        """One day of water, in litres and mg/L."""
        self.carbon_g += feed * chlorine / 1000
        self.membrane_litres += product
        self.membrane_days += 1
        if self.has_resin:
            eq = product * (permeate_tds / MG_PER_MEQ + carbon_dioxide / 44.0) / 1000
            passes = breakthrough(self.resin_share)
            self.resin_eq += eq
            if self.has_pair:
                self.lag_eq += eq * passes

    def renew(self, stage: str) -> None:
        if stage == "sediment":
            self.sediment_load = 0.0
        elif stage == "carbon":
            self.carbon_g = 0.0
        elif stage == "membrane":
            self.membrane_litres = self.membrane_days = 0.0
        else:
            self.resin_eq, self.lag_eq = (self.lag_eq, 0.0) if self.has_pair else (0.0, 0.0)


def breakthrough(share: float) -> float:
    """Share of what comes that gets through a bed loaded so far."""
    return 1 / (1 + math.exp(-(share - 1) / 0.04))


def fresh(layout: Layout, rng: Random) -> Cartridges:
    return Cartridges(
        layout,
        water_spread=rng.uniform(0.9, 1.1),
        salt_spread=rng.uniform(0.6, 1.1),
        ages_flow=rng.uniform(0.02, 0.06),
        ages_salt=rng.uniform(0.03, 0.11),
    )
