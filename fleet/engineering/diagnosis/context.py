"""Lay a reading, its indicators, the unit's baseline and its facts together into one context for `diagnose`."""

from collections.abc import Mapping
from typing import Final

from fleet.engineering.diagnosis.facts import CONTEXT_KEYS, Fact

# Indicators are ratios of what was read; these go into the context under the same name.
INDICATOR_FACTS: Final = (
    "prefilter_differential_pressure_kpa",
    "recovery_fraction",
    "waste_ratio",
    "normalised_flow_ratio",
    "normalised_salt_passage_ratio",
    "salt_balance_closure_fraction",
)


def context_of(
    reading: Mapping[str, Fact],
    indicator_values: Mapping[str, float] | None = None,
    facts: Mapping[str, Fact] | None = None,
) -> dict[str, Fact]:
    """Return the context of one reading.

    Parameters
    ----------
    reading : mapping
        Canonical quantity names and states of the reading; what the rules do not ask for is left out.
    indicator_values : mapping of str to float, optional
        Indicators of the same reading, as `Indicators.row` gives them.
    facts : mapping, optional
        Baselines, facts of the unit and observations, by the names in `CONTEXT_KEYS`. They win over the reading.

    Returns
    -------
    dict
        Ready for `diagnose`.

    Raises
    ------
    EngineeringError
        Not here: `diagnose` checks names and types of the facts.

    Examples
    --------
    >>> context_of({"feed_tds_mg_per_l": 250.0, "note": "x"}, {"waste_ratio": 4.0}, {"has_resin": True})
    {'feed_tds_mg_per_l': 250.0, 'waste_ratio': 4.0, 'has_resin': True}
    """
    context: dict[str, Fact] = {name: value for name, value in reading.items() if name in CONTEXT_KEYS}
    for name in INDICATOR_FACTS:
        if indicator_values is not None and name in indicator_values:
            context[name] = indicator_values[name]
    context.update(facts or {})
    return context
