"""Each indicator in a sentence: for the installer who reads the gauges, and for the client who asks what it means."""

from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType
from typing import Final

from accounts.language import gettext
from accounts.language import gettext_noop as _
from fleet.engineering.errors import EngineeringError


@dataclass(frozen=True)
class Words:
    """Two sentences with a place for the value, `{}`."""

    for_installer: str
    for_client: str


WORDS: Final[Mapping[str, Words]] = MappingProxyType(
    {
        "rejection_fraction": Words(
            _("The membrane holds back {} of the feed TDS."),
            _("Your membrane takes {} of the dissolved salts out of the water."),
        ),
        "salt_passage_fraction": Words(
            _("{} of the feed TDS passes the membrane."),
            _("{} of the dissolved salts still get through the membrane."),
        ),
        "recovery_fraction": Words(
            _("{} of the feed becomes permeate; the rest goes to drain."),
            _("Of the water the unit takes in, {} becomes purified water."),
        ),
        "waste_ratio": Words(
            _("The concentrate flow is {} times the permeate flow."),
            _("The unit sends {} times as much water to the drain as it purifies."),
        ),
        "net_driving_pressure_kpa": Words(
            _("The net driving pressure, after back-pressure and osmotic pressure, is {}."),
            _("{} of pressure does the work of purifying; more pressure means more and better water."),
        ),
        "normalised_permeate_flow_l_per_day": Words(
            _("At the baseline pressure, temperature and feed the membrane would give {}."),
            _("Under the conditions of its first weeks your unit would now make {}."),
        ),
        "normalised_flow_ratio": Words(
            _("Normalised, the permeate flow is {} of the baseline."),
            _("Temperature and pressure set aside, the unit makes {} of what it made when the membrane was new."),
        ),
        "normalised_salt_passage_fraction": Words(
            _("Normalised to the baseline, the salt passage is {}."),
            _("Under the conditions of its first weeks, {} of the salts would get through the membrane."),
        ),
        "normalised_salt_passage_ratio": Words(
            _("Normalised, the salt passage is {} times that of the baseline."),
            _("The membrane lets through {} times as much salt as when it was new."),
        ),
        "flow_over_expected": Words(
            _("The permeate flow is {} of what the label gives at this pressure, temperature and feed."),
            _("The unit makes {} of the water its membrane should give under these conditions."),
        ),
        "prefilter_differential_pressure_kpa": Words(
            _("The prefilters take {} at this flow."),
            _("The first filters take {} of your water pressure."),
        ),
        "normalised_prefilter_differential_pressure_kpa": Words(
            _("At the design flow and 25 degC the prefilters would take {}."),
            _("Temperature and flow set aside, the first filters take {} of your water pressure."),
        ),
        "lead_outlet_fraction": Words(
            _("{} of the permeate TDS comes through the lead resin; near 100 % it is exhausted."),
            _("The first resin cartridge lets through {} of what reaches it."),
        ),
        "product_fraction": Words(
            _("{} of the permeate TDS comes through all the resin."),
            _("The resin lets through {} of what reaches it."),
        ),
        "carbon_removal_fraction": Words(
            _("The carbon takes out {} of the chlorine."),
            _("The carbon takes {} of the chlorine out of the water."),
        ),
        "lead_carbon_removal_fraction": Words(
            _("The lead carbon alone takes out {} of the chlorine."),
            _("The first carbon filter takes {} of the chlorine out of the water."),
        ),
        "salt_balance_closure_fraction": Words(
            _("Salt out differs from salt in by {}; beyond 10 % a flow or a TDS is probably wrong."),
            _("The readings agree with each other to within {}."),
        ),
        "creep_ratio": Words(
            _("The first minute after standstill reads {} times the flushed permeate."),
            _("The first water after a pause carries {} times the usual salt; let it run a moment."),
        ),
    }
)


def in_words(indicator: str, shown: str) -> Words:
    """Return an indicator in its two sentences.

    Parameters
    ----------
    indicator : str
        A name of `INDICATORS`.
    shown : str
        Its value with the unit, or the percent, as the reader wants it.

    Returns
    -------
    Words
        Both sentences with the value in place.

    Raises
    ------
    EngineeringError
        An indicator that has no sentences.

    Examples
    --------
    >>> in_words("recovery_fraction", "20 %").for_client
    'Of the water the unit takes in, 20 % becomes purified water.'
    """
    words = WORDS.get(indicator)
    if words is None:
        raise EngineeringError("indicator", f"{indicator!r} is not an indicator; the names are {', '.join(WORDS)}.")
    return Words(gettext(words.for_installer).format(shown), gettext(words.for_client).format(shown))
