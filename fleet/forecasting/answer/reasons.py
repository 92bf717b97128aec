"""Why a cartridge is called exhausted: a maximum service time, a reading, or only what has passed through it."""

from dataclasses import dataclass
from typing import Final

import numpy as np

from accounts.language import gettext, gettext_noop
from fleet.engineering.limits import Limits
from fleet.forecasting.answer.explain import spoken_day
from fleet.forecasting.answer.gauges import Gauges
from fleet.forecasting.answer.results import Forecasts
from fleet.forecasting.distribution import percent_text, probability_by
from fleet.forecasting.inputs import vocabulary as words
from fleet.forecasting.inputs.tables import Fleet, Floats
from fleet.forecasting.wear.nominal import maximum_service_days

_SHOWN: Final = {
    (words.RESIN, False): (gettext_noop("product TDS"), "mg/L"),
    (words.RESIN, True): (gettext_noop("TDS between the resins"), "mg/L"),
    (words.CARBON, False): (gettext_noop("chlorine after the carbon"), "mg/L"),
    (words.CARBON, True): (gettext_noop("chlorine between the carbons"), "mg/L"),
    (words.MEMBRANE, False): (gettext_noop("salt passage"), "%"),
    (words.SEDIMENT, False): (gettext_noop("differential pressure over the filter"), "kPa"),
}

_FOR_CLIENT: Final = {
    words.SEDIMENT: gettext_noop("it is clogged and lets less water through"),
    words.CARBON: gettext_noop("it no longer takes out all the chlorine"),
    words.MEMBRANE: gettext_noop("it no longer holds back the salts it should"),
    words.RESIN: gettext_noop("it no longer holds back what it should"),
    words.STAGES.index("remineralisation"): gettext_noop("it no longer gives minerals to the water"),
    words.STAGES.index("uv"): gettext_noop("it no longer shines brightly enough to disinfect the water"),
}
"""What a cartridge past its limit does: a full filter holds back as much as ever, but lets less water through."""


@dataclass(frozen=True)
class Reason:
    """Why a position is exhausted by now.

    `code` is 'maximum_service_time', 'reading' or 'load'; `sentence` is for the installer and `client_sentence` for the
    client, both a clause without a full stop. `reading_index` is the row of the reading that shows it, -1 when none
    does.
    """

    code: str
    sentence: str
    client_sentence: str
    reading_index: int = -1

    @property
    def is_certain(self) -> bool:
        """Whether somebody saw it: what has passed through a cartridge only makes it likely."""
        return self.code != "load"

    @property
    def is_at_its_term(self) -> bool:
        """Whether it is the maximum service time alone."""
        return self.code == "maximum_service_time"


def explain_exhaustion(
    fleet: Fleet, forecasts: Forecasts, gauges: Gauges, position: int, limits: Limits[Floats], offset_days: float = 0.0
) -> Reason:
    """Reason why a position that counts as exhausted by now does.

    Parameters
    ----------
    fleet, forecasts
        The fleet and its forecasts.
    gauges
        Of the same fleet.
    position
        Row of a position whose state is 'exhausted'.
    limits
        Limits of exhaustion, one value for each unit.
    offset_days
        How far the clocks by which dates are told are ahead of UTC.
    """
    placement = int(forecasts.placement_index[position])
    first = float(fleet.placements.first_installed_day[placement])
    stage = fleet.positions.stage[position : position + 1]
    item = fleet.placements.item_index[placement : placement + 1]
    limit_days = float(maximum_service_days(fleet, item, np.array([position]), limits)[0])
    if first + limit_days <= forecasts.as_of_day:
        return Reason(
            "maximum_service_time",
            gettext("it was first installed on {first} and its maximum service time is {days:.0f} days").format(
                first=spoken_day(first, offset_days), days=limit_days
            ),
            gettext("it has reached its maximum service time"),
        )
    readings = gauges.readings_between(position, float(fleet.placements.placed_day[placement]), forecasts.as_of_day)
    if len(readings.day) and readings.is_past[-1]:
        is_lead = int(fleet.positions.role[position]) == words.LEAD
        key = (int(stage[0]), is_lead and int(stage[0]) in (words.CARBON, words.RESIN))
        if key[0] in words.FINISHING_STAGES:
            sign = gauges.sign_of(position, int(readings.reading[-1]))
            name, unit = sign.meaning, sign.unit
        else:
            name, unit = _SHOWN[key]
        scale = 100.0 if unit == "%" else 1.0
        value, limit = scale * readings.value[-1], scale * readings.limit[-1]
        shown, past = _distinct_digits(value, limit)
        if readings.is_least:
            shown, past = f"{shown} {unit}".strip(), f"{past} {unit}".strip()
            installer = gettext("the reading of {day} shows {name} of {shown}, below the least of {past}")
        elif value > limit:
            installer = gettext("the reading of {day} shows {name} of {shown} {unit}, past the limit of {past} {unit}")
        else:
            installer = gettext("the reading of {day} shows {name} of {shown} {unit}, at the limit of {past} {unit}")
        client = gettext("the reading of {day} shows that {what}")
        read_on = spoken_day(readings.day[-1], offset_days)
        of_the_day = _of_the_day(key, limits.take(int(fleet.positions.unit_index[position])))
        return Reason(
            "reading",
            installer.format(day=read_on, name=gettext(name), shown=shown, past=past, unit=unit) + of_the_day,
            client.format(day=read_on, what=gettext(_FOR_CLIENT[int(stage[0])])),
            int(readings.reading[-1]),
        )
    chance = float(probability_by(forecasts.grid_day[position], forecasts.as_of_day))
    if forecasts.readings_used[position] > 0:
        installer = gettext("its readings and its load make it {chance} likely that it is past its limit")
    else:
        installer = gettext("its load alone makes it {chance} likely that it is past its limit")
    client = gettext("of how much water has passed through it")
    return Reason("load", installer.format(chance=percent_text(chance)), client)


def _of_the_day(key: tuple[int, bool], limits: Limits[float]) -> str:
    """What the limit of a lead is a share of: it moves from day to day."""
    if key == (words.RESIN, True):
        sentence = gettext(" ({share} of the permeate of that reading)")
        return sentence.format(share=percent_text(limits.lead_resin_fraction))
    if key == (words.CARBON, True):
        sentence = gettext(" ({share} of the chlorine in the feed of that reading)")
        return sentence.format(share=percent_text(limits.lead_carbon_fraction))
    return ""


def _distinct_digits(value: float, limit: float) -> tuple[str, str]:
    """Both in plain digits, as many as it takes to see that they differ: nobody believes 10 to be past 10.

    >>> _distinct_digits(140.2, 68.9), _distinct_digits(10.0, 9.97)
    (('140', '69'), ('10', '9.97'))
    """
    for digits in (2, 3, 4):
        shown = _plain(value, digits), _plain(limit, digits)
        if shown[0] != shown[1]:
            break
    return shown


def _plain(value: float, digits: int) -> str:
    """So many significant digits and no power of ten, which nobody reads off a gauge: '140', '8.5'."""
    return str(np.format_float_positional(float(value), precision=digits, fractional=False, trim="-"))
