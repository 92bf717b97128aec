"""The cartridges standing in a simulated unit and how a day of use wears them."""

from dataclasses import dataclass, field
from datetime import date
from typing import Any

import numpy as np

from fleet.demo import physics
from fleet.demo.scenario import Place, Supply, UnitSpec

CLEAN_RESISTANCE_KPA = 6.0
"""Differential pressure of a clean sediment cartridge at 1 L/min; carbon blocks add about as much and clog little."""


@dataclass
class Cartridge:
    """One cartridge: what it is, how good this one is, and how far it is used.

    `captured_share` is chlorine or equivalents captured over capacity; `volume_l` what has passed; `chlorine_hours` the
    exposure of a membrane in mg/L h.
    """

    item: dict[str, str]
    lot: str
    first_installed: date
    quality: float
    volume_l: float = 0.0
    captured_share: float = 0.0
    chlorine_hours: float = 0.0

    def number(self, column: str) -> float:
        """A catalogue attribute as a number."""
        return float(self.item[column])

    def age_days(self, day: date) -> int:
        """Days since it first went into service."""
        return (day - self.first_installed).days


@dataclass
class Conditions:
    """What the outside does to a unit on one day."""

    line_pressure_kpa: float
    temperature_degc: float
    feed_tds_mg_per_l: float
    total_chlorine_mg_per_l: float
    turbidity_ntu: float
    demand_l: float
    waste_never_stops: bool = False


@dataclass
class Train:
    """The standing cartridges of one unit by (stage, role, order), and the counter of product water."""

    unit: UnitSpec
    supply: Supply
    random: np.random.Generator
    spread: float = 1.0
    installed: dict[int, Cartridge] = field(default_factory=dict)
    totaliser_l: float = 0.0

    @property
    def waste_ratio(self) -> float:
        """Concentrate over permeate the unit was built for."""
        return {"reef": 4.0, "planted": 3.5, "drinking": 3.5, "coffee": 2.0, "laboratory": 3.0}[self.unit.use]

    @property
    def restrictor_flow_l_per_day(self) -> float:
        """Concentrate flow of the restrictor at 414 kPa, chosen for the flow expected at the site."""
        membrane = self.installed_at("membrane", "single")
        rated = membrane.number("rated_flow_l_per_day") if membrane else 300.0
        return self.waste_ratio * 0.65 * rated

    def fresh(self, place: Place, item: dict[str, str], day: date) -> Cartridge:
        """A cartridge out of the box; labels are a little optimistic, by an amount of its own."""
        lot = f"{place.item}-{day:%y%m}{int(self.random.integers(10, 99))}"
        spread, middle = (0.06, 1.0) if place.stage == "membrane" else (0.16, 0.88)
        return Cartridge(item, lot, day, float(middle * np.exp(self.random.normal(0, spread * self.spread))))

    def installed_at(self, stage: str, role: str) -> Cartridge | None:
        """The cartridge in the position of this stage and role."""
        place = self.unit.place(stage, role)
        return self.installed.get(place.order) if place else None

    def of_stage(self, stage: str) -> list[tuple[Place, Cartridge]]:
        """Places of a stage with what stands there, in train order."""
        return [(place, self.installed[place.order]) for place in self.unit.places if place.stage == stage]

    def read_gauges(self, now: Conditions, day: date) -> dict[str, float]:
        """What perfect gauges would show, by stored column name."""
        membrane = self.installed_at("membrane", "single")
        if membrane is None:
            raise ValueError(f"{self.unit.code} has no membrane")
        gauges = physics.operate(
            line_pressure_kpa=now.line_pressure_kpa,
            filter_resistance_kpa=self._filter_resistance_kpa(now),
            temperature_degc=now.temperature_degc,
            feed_tds_mg_per_l=now.feed_tds_mg_per_l,
            membrane=self._membrane_state(membrane, day),
            restrictor_flow_l_per_day=self.restrictor_flow_l_per_day,
            pump_pressure_kpa=550.0 if self.unit.has_booster_pump else None,
        )
        out: dict[str, Any] = dict(vars(gauges))
        out.update(self._chlorine(now))
        passing = 1.0
        resins = self.of_stage("resin")
        for place, cartridge in resins:
            passing *= physics.passing_share(cartridge.captured_share, physics.RESIN_TRANSFER_UNITS)
            if place.role == "lead":
                out["interstage_tds_mg_per_l"] = passing * gauges.permeate_tds_mg_per_l
        if resins:
            out["product_tds_mg_per_l"] = passing * gauges.permeate_tds_mg_per_l
        out["totaliser_l"] = self.totaliser_l
        return out

    def use(self, now: Conditions, day: date) -> dict[str, float]:
        """Wear the cartridges by one day; returns the gauges it ran at."""
        gauges = self.read_gauges(now, day)
        permeate_flow, concentrate_flow = gauges["permeate_flow_l_per_day"], gauges["concentrate_flow_l_per_day"]
        hours = min(24 * now.demand_l / permeate_flow, 22.0)
        permeate = permeate_flow * hours / 24
        waste_hours = 24.0 if now.waste_never_stops else hours
        feed = permeate + concentrate_flow * waste_hours / 24
        self.totaliser_l += permeate
        for _, cartridge in self.of_stage("sediment"):
            cartridge.volume_l += feed
        incoming = now.total_chlorine_mg_per_l
        for _, cartridge in self.of_stage("carbon"):
            passed = self._carbon_share(cartridge) * incoming
            cartridge.volume_l += feed
            cartridge.captured_share += feed * (incoming - passed) / 1000 / self._chlorine_capacity_g(cartridge)
            incoming = passed
        membrane = self.installed_at("membrane", "single")
        if membrane is not None:
            membrane.volume_l += permeate
            # Chloramine hardly touches a polyamide membrane; free chlorine does.
            attacking = self._free_share + 0.003 * (1 - self._free_share)
            membrane.chlorine_hours += incoming * attacking * waste_hours
        load = (
            permeate
            / 1000
            * physics.resin_load_meq_per_l(
                gauges["permeate_tds_mg_per_l"],
                physics.carbon_dioxide_mg_per_l(
                    self.supply.ph, self.supply.alkalinity_mg_per_l_as_caco3, now.temperature_degc
                ),
                self.supply.silica_mg_per_l,
            )
        )
        for _, cartridge in self.of_stage("resin"):
            capacity = cartridge.number("resin_volume_l") * cartridge.number("resin_capacity_eq_per_l")
            passing = physics.passing_share(cartridge.captured_share, physics.RESIN_TRANSFER_UNITS)
            cartridge.volume_l += permeate
            cartridge.captured_share += load * (1 - passing) / (capacity * cartridge.quality)
            load *= passing
        return gauges

    @property
    def _free_share(self) -> float:
        return self.supply.free_chlorine_mg_per_l / max(self.supply.total_chlorine_mg_per_l, 1e-9)

    def _filter_resistance_kpa(self, now: Conditions) -> float:
        total = 0.0
        for place, cartridge in self.of_stage("sediment"):
            # A second, finer filter sees what the first one passes: less dirt, but it has fewer pores to spare.
            turbidity = now.turbidity_ntu * (0.3 if place.order > 1 else 1.0)
            limit = 42_000 * (0.5 / turbidity) ** 0.8 * cartridge.quality
            total += CLEAN_RESISTANCE_KPA * physics.blocking_factor(cartridge.volume_l, limit)
        for _, cartridge in self.of_stage("carbon"):
            total += CLEAN_RESISTANCE_KPA * (0.8 + cartridge.volume_l / 120_000)
        return total

    def _membrane_state(self, cartridge: Cartridge, day: date) -> physics.Membrane:
        years = cartridge.age_days(day) / 365
        hard = self.supply.hardness_mg_per_l_as_caco3 / 200 * (1.5 if self.waste_ratio < 2.5 else 1.0)
        attacked = cartridge.chlorine_hours / 130
        return physics.Membrane(
            rated_flow_l_per_day=cartridge.number("rated_flow_l_per_day"),
            rated_pressure_kpa=cartridge.number("rated_pressure_kpa"),
            rated_tds_mg_per_l=cartridge.number("rated_tds_mg_per_l"),
            rejection_fraction=cartridge.number("rejection_fraction"),
            water_factor=cartridge.quality * (1 + 0.05 * np.exp(-years * 20)) * (1 - 0.028 * years * hard)
            * (1 + 0.10 * attacked),
            salt_factor=(1 + 0.06 * years * hard) * (1 + attacked**1.4),
        )  # fmt: skip

    def _carbon_share(self, cartridge: Cartridge) -> float:
        share = physics.passing_share(cartridge.captured_share, physics.CARBON_TRANSFER_UNITS)
        return min(physics.NEVER_CLEAN + share, 1.0)

    def _chlorine_capacity_g(self, cartridge: Cartridge) -> float:
        useful = 0.75 * cartridge.quality
        if self.supply.chloraminated:
            useful *= {"catalytic": 1.6, "block": 0.35, "granular": 0.15}[cartridge.item["carbon_kind"]]
        return cartridge.number("chlorine_capacity_g") * useful

    def _chlorine(self, now: Conditions) -> dict[str, float]:
        total = now.total_chlorine_mg_per_l
        out = {"feed_total_chlorine_mg_per_l": total, "feed_free_chlorine_mg_per_l": total * self._free_share}
        for place, cartridge in self.of_stage("carbon"):
            total *= self._carbon_share(cartridge)
            if place.role == "lead":
                out["interstage_chlorine_mg_per_l"] = total
        out["carbon_outlet_total_chlorine_mg_per_l"] = total
        out["carbon_outlet_free_chlorine_mg_per_l"] = total * self._free_share * 0.7
        return out
