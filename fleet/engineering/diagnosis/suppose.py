"""A reading that nobody took yet, with what is known about its unit, laid out for the diagnosis."""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Final

from fleet.engineering.diagnosis.context import context_of
from fleet.engineering.diagnosis.facts import Fact
from fleet.engineering.errors import EngineeringError
from fleet.engineering.indicators import QUANTITIES, UnitContext, indicators

_WORDS: Final = ("state", "tank_valve", "pump", "tank_is_full", "sampled_after_flush")
# The condition normalised values are referred to.
_STANDARD: Final = (
    "baseline_inlet_pressure_kpa",
    "baseline_temperature_degc",
    "baseline_feed_tds_mg_per_l",
    "baseline_permeate_tds_mg_per_l",
)


@dataclass(frozen=True)
class Supposition:
    """What follows from a reading that is only supposed.

    Attributes
    ----------
    context : mapping
        Facts by name, ready for `diagnose`.
    indicators : mapping of str to float
        What the reading gives.
    reasons : mapping of str to str
        Indicator -> code of the reason why it cannot be had.
    """

    context: Mapping[str, Fact]
    indicators: Mapping[str, float]
    reasons: Mapping[str, str]


def suppose(reading: Mapping[str, Fact], facts: Mapping[str, Fact] | None = None) -> Supposition:
    """Return the context of a reading that is supposed, with the indicators its baselines allow.

    Parameters
    ----------
    reading : mapping
        Canonical quantity names and states of the reading.
    facts : mapping, optional
        Baselines, facts of the unit and observations, by the names in `CONTEXT_KEYS`; they win over what is computed.

    Returns
    -------
    Supposition
        Normalised values refer to the baseline condition, where all of it is given: inlet pressure, temperature, feed
        and permeate TDS, permeate flow.

    Raises
    ------
    EngineeringError
        Two baselines that contradict each other: permeate TDS above feed TDS.

    Examples
    --------
    >>> supposed = suppose(
    ...     {"inlet_pressure_kpa": 400.0, "temperature_degc": 15.0, "feed_tds_mg_per_l": 250.0,
    ...      "permeate_tds_mg_per_l": 20.0, "permeate_flow_l_per_day": 150.0, "concentrate_flow_l_per_day": 600.0},
    ...     {"baseline_inlet_pressure_kpa": 400.0, "baseline_temperature_degc": 15.0,
    ...      "baseline_feed_tds_mg_per_l": 250.0, "baseline_permeate_tds_mg_per_l": 10.0,
    ...      "baseline_permeate_flow_l_per_day": 150.0, "design_recovery_fraction": 0.2})
    >>> round(supposed.context["normalised_flow_ratio"], 2), round(supposed.context["normalised_salt_passage_ratio"], 2)
    (1.0, 2.0)
    """
    given_facts = dict(facts or {})
    columns = {name: [reading.get(name)] for name in (*QUANTITIES, *_WORDS) if reading.get(name) is not None}
    if not columns:
        return Supposition(context_of(reading, {}, given_facts), {}, {})
    computed = indicators(columns, _unit(given_facts))
    values, missing = computed.row(0)
    usable = {
        name: value
        for name, value in values.items()
        if computed.valid_for_trend[0] or not name.startswith("normalised")
    }
    context = context_of(reading, usable, given_facts)
    if reading.get("state") == "static" and "inlet_pressure_kpa" in context:
        context["static_inlet_pressure_kpa"] = context.pop("inlet_pressure_kpa")
    return Supposition({name: value for name, value in context.items() if value is not None}, values, missing)


def _unit(facts: Mapping[str, Fact]) -> UnitContext:
    """Refer normalised values to the baseline, where the whole of its condition is known."""
    numbers: dict[str, float] = {}
    for name in (*_STANDARD, "baseline_permeate_flow_l_per_day", "design_recovery_fraction"):
        value = facts.get(name)
        if isinstance(value, int | float) and not isinstance(value, bool):
            numbers[name] = float(value)
    design = numbers.get("design_recovery_fraction", 0.2)
    pumped = facts.get("has_booster_pump") is True
    plain = UnitContext(design_recovery_fraction=design, has_booster_pump=pumped)
    if not all(name in numbers for name in _STANDARD):
        return plain
    feed, permeate = numbers["baseline_feed_tds_mg_per_l"], numbers["baseline_permeate_tds_mg_per_l"]
    if permeate > feed:
        raise EngineeringError(
            "baseline_permeate_tds_mg_per_l", "The permeate TDS of the baseline lies above its feed TDS; check both."
        )
    drain = facts.get("baseline_concentrate_flow_l_per_day")
    flow = numbers.get("baseline_permeate_flow_l_per_day", float("nan"))
    recovery = design
    if isinstance(drain, int | float) and flow > 0.0 and drain >= 0.0 and flow / (flow + drain) < 0.95:
        recovery = flow / (flow + drain)
    return UnitContext(
        standard_inlet_pressure_kpa=numbers["baseline_inlet_pressure_kpa"],
        standard_temperature_degc=numbers["baseline_temperature_degc"],
        standard_feed_tds_mg_per_l=feed,
        standard_permeate_tds_mg_per_l=permeate,
        standard_recovery_fraction=recovery,
        design_recovery_fraction=design,
        has_booster_pump=pumped,
        # At its own condition the normalised value of the baseline is the value that was read.
        baseline_normalised_flow_l_per_day=flow,
        baseline_normalised_salt_passage_fraction=permeate / feed if feed > 0.0 else float("nan"),
    )
