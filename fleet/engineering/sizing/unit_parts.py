"""Which part of the catalogue fits one unit in service: restrictor and pump by what passes them."""

from collections.abc import Sequence
from dataclasses import dataclass

from fleet.engineering.constants import MINUTES_PER_DAY
from fleet.engineering.errors import EngineeringError
from fleet.engineering.formulas.expected_flow import MembraneRating, expected_permeate_flow_l_per_day
from fleet.engineering.formulas.mass_balance import recovery_from_waste_ratio
from fleet.engineering.formulas.restrictor import concentrate_flow_for_ratio
from fleet.engineering.sizing.fittings import cheapest, nearest_restrictor
from fleet.engineering.sizing.offer import Item
from fleet.engineering.sizing.pumps import fitting_pump
from fleet.engineering.sizing.survey import SizingPolicy
from fleet.engineering.sizing.words import unit_parts as words
from fleet.engineering.sizing.words.quantities import in_words
from fleet.engineering.units import FLOW, PRESSURE


@dataclass(frozen=True)
class UnitCondition:
    """What a unit has and usually works at; None where it is not known.

    Attributes
    ----------
    waste_ratio : float
        Concentrate over permeate it is set up for, above 0.
    rating : MembraneRating, optional
        Label of the membrane that is installed.
    membranes : int
        Side by side; all of one label.
    inlet_pressure_kpa : float, optional
        Membrane inlet while producing, gauge.
    temperature_degc, feed_tds_mg_per_l : float, optional
        Of the feed; TDS on the 0.5 scale.
    restrictor_flow_l_per_day, restrictor_pressure_kpa : float, optional
        Label of the restrictor that is fitted.
    """

    waste_ratio: float
    rating: MembraneRating | None = None
    membranes: int = 1
    inlet_pressure_kpa: float | None = None
    temperature_degc: float | None = None
    feed_tds_mg_per_l: float | None = None
    restrictor_flow_l_per_day: float | None = None
    restrictor_pressure_kpa: float | None = None

    def permeate_at(self, inlet_kpa: float | None) -> float | None:
        """Return the permeate flow of new membranes at a pressure, L/day; None where too little is known."""
        if self.rating is None or inlet_kpa is None or self.temperature_degc is None or self.feed_tds_mg_per_l is None:
            return None
        try:
            flow = expected_permeate_flow_l_per_day(
                self.rating,
                pressure_kpa=inlet_kpa,
                temperature_degc=self.temperature_degc,
                tds_mg_per_l=self.feed_tds_mg_per_l,
                recovery_fraction=recovery_from_waste_ratio(self.waste_ratio),
            )
        except EngineeringError:
            # no driving pressure, or a condition outside the formulas
            return None
        return float(flow) * self.membranes or None


@dataclass(frozen=True)
class PartChoice:
    """The part that fits a unit.

    `item` is None where the catalogue has none, and `missing_part` then says what to look for. Both are empty where too
    little is known of the unit to tell.
    """

    item: Item | None = None
    missing_part: str = ""


def fitting_part(
    purpose: str,
    unit: UnitCondition,
    catalogue: Sequence[Item],
    policy: SizingPolicy | None = None,
    unit_system: str = "metric",
) -> PartChoice:
    """Return the part of a purpose that fits a unit.

    Parameters
    ----------
    purpose : str
        A name of `PURPOSES`.
    unit : UnitCondition
        What is known of it.
    catalogue : sequence of Item
        What can be bought.
    policy : SizingPolicy, optional
        The company's practice, for the pressure a pump is to give; the usual one by default.
    unit_system : {"metric", "us"}
        Of the sentence.

    Returns
    -------
    PartChoice
        A restrictor passes, at the pressure of the unit, the waste ratio times the flow that its membrane gives there;
        a pump moves the feed at the pressure it is to give. Of other purposes the cheapest fits.

    Raises
    ------
    EngineeringError
        A waste ratio that is not positive.

    Examples
    --------
    >>> label = MembraneRating(284.0, 414.0, 25.0, 250.0, 0.15, 0.97)
    >>> unit = UnitCondition(4.0, label, inlet_pressure_kpa=414.0, temperature_degc=25.0, feed_tds_mg_per_l=250.0)
    >>> stock = [Item(f"R{size}", "", "accessory", 4.6, purpose="flow_restrictor", rated_flow_l_per_day=size * 1.44,
    ...     rated_pressure_kpa=414.0) for size in (300, 800)]
    >>> fitting_part("flow_restrictor", unit, stock).item.code
    'R800'
    >>> fitting_part("flow_restrictor", unit, stock[:1]).missing_part
    'No flow restrictor of the catalogue fits: look for one of about 790 mL/min at 4.1 bar.'
    """
    if purpose == "flow_restrictor":
        return _restrictor(unit, catalogue, unit_system)
    if purpose == "booster_pump":
        return _pump(unit, catalogue, policy or SizingPolicy(), unit_system)
    return PartChoice(cheapest(purpose, catalogue))


def _restrictor(unit: UnitCondition, catalogue: Sequence[Item], unit_system: str) -> PartChoice:
    permeate, inlet = unit.permeate_at(unit.inlet_pressure_kpa), unit.inlet_pressure_kpa
    if permeate is not None:
        drain = float(concentrate_flow_for_ratio(permeate, unit.waste_ratio))
    elif unit.restrictor_flow_l_per_day and unit.restrictor_pressure_kpa:
        # as the one before: it was chosen for this membrane
        drain, inlet = unit.restrictor_flow_l_per_day, unit.restrictor_pressure_kpa
    else:
        return PartChoice()
    if inlet is None:
        return PartChoice()
    item = nearest_restrictor(catalogue, drain, inlet)
    if item is not None:
        return PartChoice(item)
    pressure = in_words(inlet, PRESSURE, unit_system)
    return PartChoice(None, words.no_restrictor(drain * 1000.0 / MINUTES_PER_DAY, pressure))


def _pump(unit: UnitCondition, catalogue: Sequence[Item], policy: SizingPolicy, unit_system: str) -> PartChoice:
    permeate = unit.permeate_at(policy.pump_pressure_kpa)
    if permeate is None:
        return PartChoice()
    feed = permeate * (1.0 + unit.waste_ratio)
    item = fitting_pump(catalogue, feed, policy.pump_pressure_kpa)
    if item is not None:
        return PartChoice(item)
    pressure = in_words(policy.pump_pressure_kpa, PRESSURE, unit_system)
    return PartChoice(None, words.no_pump(in_words(feed, FLOW, unit_system), pressure))
