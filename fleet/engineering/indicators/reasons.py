"""Why an indicator cannot be had: a code for machines and a sentence for people."""

from collections.abc import Mapping
from types import MappingProxyType
from typing import Final

from accounts.language import gettext
from accounts.language import gettext_noop as _

# Order is storage order: codes are kept as small integers in arrays, so append only.
_SENTENCES: Final = (
    ("", ""),
    ("feed_tds_missing", _("The feed TDS was not read.")),
    ("permeate_tds_missing", _("The permeate TDS was not read.")),
    ("interstage_tds_missing", _("The TDS between the resin cartridges was not read.")),
    ("product_tds_missing", _("The product TDS was not read.")),
    ("concentrate_tds_missing", _("The concentrate TDS was not read.")),
    ("permeate_flow_missing", _("The permeate flow was not read.")),
    ("concentrate_flow_missing", _("The concentrate flow was not read.")),
    ("inlet_pressure_missing", _("The pressure at the membrane inlet was not read.")),
    ("line_pressure_missing", _("The line pressure was not read.")),
    ("prefilter_outlet_missing", _("There is no pressure after the prefilters to compare with the line.")),
    ("temperature_missing", _("The temperature was not read, and it is never taken as 25 degC.")),
    ("tank_pressure_missing", _("The tank was open to the membrane and its pressure was not read.")),
    ("chlorine_before_missing", _("The chlorine before the carbon was not tested.")),
    ("chlorine_after_missing", _("The chlorine after the carbon was not tested.")),
    ("not_flowing", _("The unit was at rest.")),
    ("sample_not_flushed", _("The sample was taken before flushing.")),
    ("permeate_above_feed", _("The permeate reads above the feed: swapped probes or a sample that was not flushed.")),
    ("feed_tds_zero", _("The feed TDS reads 0, so there is nothing to compare with.")),
    ("no_flow", _("Neither permeate nor concentrate was flowing.")),
    ("no_permeate_flow", _("No permeate was flowing.")),
    (
        "no_driving_pressure",
        _("The pressure does not exceed back-pressure and osmotic pressure: no permeate is expected."),
    ),
    ("pump_in_between", _("A booster pump sits between the gauges; a gauge before the pump is needed.")),
    ("outlet_above_inlet", _("The pressure after the prefilters reads above the line: check the gauges.")),
    (
        "permeate_below_resolution",
        _("The permeate TDS is below three steps of the meter, so a ratio to it means nothing."),
    ),
    ("chlorine_after_above_before", _("More chlorine was found after the carbon than before it: check the tests.")),
    ("no_chlorine_before", _("There was hardly any chlorine before the carbon, so its removal cannot be judged.")),
    ("out_of_range", _("A value is outside the possible range, or outside the range of the formula.")),
    ("baseline_missing", _("There is no baseline yet for this membrane.")),
    ("rating_missing", _("The rating of the membrane with its test conditions is not known.")),
    ("reference_flow_missing", _("The design flow, to which differential pressure is normalised, is not known.")),
    ("too_soon_after_start", _("Read less than 5 minutes after the start.")),
    ("tank_state_unknown", _("The tank may have pushed back: its valve and pressure were not recorded.")),
    ("salt_balance_open", _("Salt in and salt out differ by more than 10 %: a flow or a TDS is wrong.")),
    ("start_tds_missing", _("The TDS of the first minute was not read.")),
)

CODES: Final[tuple[str, ...]] = tuple(code for code, _ in _SENTENCES)
SENTENCES: Final[Mapping[str, str]] = MappingProxyType(dict(_SENTENCES))
NUMBER_OF: Final[Mapping[str, int]] = MappingProxyType({code: number for number, code in enumerate(CODES)})


def sentence(code: str) -> str:
    """Return the sentence of a reason code; an empty code means the indicator is there.

    Examples
    --------
    >>> sentence("temperature_missing")
    'The temperature was not read, and it is never taken as 25 degC.'
    """
    return gettext(SENTENCES[code])
