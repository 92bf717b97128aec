"""Sediment and carbon cartridges in the way of the feed: clean resistance, and dirt by the litre."""

from dataclasses import dataclass

from tests.strangers.fault_histories.water import viscosity_ratio


@dataclass
class Prefilters:
    """All cartridges before the membrane, taken together."""

    design_flow: float
    """L/day at which the losses below are meant."""
    clean_bar: float = 0.10
    """Lost over clean cartridges at the design flow and 25 degC."""
    dirty_bar: float = 0.25
    """What dirt adds after `life` litres."""
    life: float = 25000.0
    litres: float = 0.0
    extra_bar: float = 0.0
    """Dirt from an event, apart from the litres."""

    def pressure_loss(self, feed: float, degc: float) -> float:
        dirt = self.dirty_bar * (self.litres / self.life) ** 2 + self.extra_bar
        return (self.clean_bar + dirt) * feed / self.design_flow * viscosity_ratio(degc)
