"""What the intake tells of rows that it keeps: doubts that stay with them, and how far it is.

Spoken through `accounts.language`. What it refuses is told, in English, beside the condition.
"""

from typing import Final

from accounts.language import gettext, gettext_noop, ngettext
from fleet.intake.names import spoken
from fleet.intake.rows import Sent

# doubts


def unusual(column: str, doubt: str) -> str:
    """A value that is possible and unusual; `doubt` is what `plausibility` says."""
    name = gettext(spoken(column))
    return gettext("{name}: {doubt}").format(name=f"{name[0].upper()}{name[1:]}", doubt=doubt)


def read_before_settled(minutes: float, settling_minutes: float) -> str:
    """A reading of the first minutes."""
    words = ngettext(
        "Taken {minutes:g} minute after the start; before {settling:g} minutes of flow it does not count for the "
        "trend.",
        "Taken {minutes:g} minutes after the start; before {settling:g} minutes of flow it does not count for the "
        "trend.",
        1 if minutes == 1.0 else 2,
    )
    return words.format(minutes=minutes, settling=settling_minutes)


def static_with_flow() -> str:
    """State and flow contradict each other."""
    return gettext("The state is static, yet permeate flows; one of the two is wrong.")


def flowing_without_flow() -> str:
    """State and flow contradict each other, the other way round."""
    return gettext("The state is flowing, yet the permeate flow is 0.")


def outlet_above_line(outlet: Sent, line: Sent) -> str:
    """Water does not gain pressure in a filter."""
    words = gettext(
        "The pressure after the prefilters, {outlet}, is above the line pressure, {line}; check both gauges."
    )
    return words.format(outlet=outlet, line=line)


def inlet_above_line(inlet: Sent) -> str:
    """Nor before the membrane without a pump."""
    words = gettext(
        "The membrane inlet, {inlet}, is above the pressure before it without a booster pump; check the gauges, or "
        "record the pump."
    )
    return words.format(inlet=inlet)


def concentrate_below_feed(concentrate: Sent, feed: Sent) -> str:
    """A membrane concentrates what it holds back."""
    words = gettext("The concentrate TDS, {concentrate}, is below the feed, {feed}; a membrane concentrates it.")
    return words.format(concentrate=concentrate, feed=feed)


def permeate_and_feed_exchanged(permeate: Sent, feed: Sent) -> str:
    """Exchanged they are what the unit usually shows."""
    words = gettext(
        "The permeate TDS, {permeate}, is above the feed, {feed}, and exchanged the two fit the unit's recent "
        "readings: exchanged in the log, or the probes are swapped."
    )
    return words.format(permeate=permeate, feed=feed)


def permeate_above_feed(permeate: Sent, feed: Sent) -> str:
    """A membrane adds no salt."""
    words = gettext(
        "The permeate TDS, {permeate}, is above the feed, {feed}: exchanged values, swapped probes, or a sample from "
        "the wrong tube; take both again."
    )
    return words.format(permeate=permeate, feed=feed)


def digit_slip(column: str, sent: Sent, factor: float) -> str:
    """A value by a power of ten off what the unit shows; `factor` is one of 0.01, 0.1, 10 and 100."""
    times = gettext(_TIMES[factor])
    words = gettext("The {name}, {sent}, is about {times} what this unit usually shows; check the digits.")
    return words.format(name=gettext(spoken(column)), sent=sent, times=times)


_TIMES: Final = {
    10.0: gettext_noop("ten times"),
    0.1: gettext_noop("a tenth of"),
    100.0: gettext_noop("a hundred times"),
    0.01: gettext_noop("a hundredth of"),
}


def unit_slip(column: str, sent: Sent, one_unit: str, other_unit: str) -> str:
    """A pressure off what the unit shows by the factor between two units."""
    words = gettext(
        "The {name}, {sent}, differs from this unit's recent readings by the factor between {one} and {other}; check "
        "the unit."
    )
    return words.format(name=gettext(spoken(column)), sent=sent, one=one_unit, other=other_unit)


def totaliser_backwards(sent: Sent, before_l: float, day: str) -> str:
    """A counter that shows less than it did."""
    words = gettext("The totaliser, {sent}, is below the {before:g} L of {day}: mistyped, reset or exchanged.")
    return words.format(sent=sent, before=before_l, day=day)


def pure_water_compensation(column: str) -> str:
    """Too pure for what brings a conductivity to 25 degC."""
    words = gettext(
        "The {name} is below 5 uS/cm, where no general temperature compensation holds; measure near 25 degC or with a "
        "meter that compensates for pure water."
    )
    return words.format(name=gettext(spoken(column)))


def time_came_twice(local: str, zone: str) -> str:
    """A time in the hour that is repeated when clocks are put back."""
    words = gettext("{time} came twice in {zone} when the clocks were put back; the first is taken.")
    return words.format(time=local, zone=zone)


# how far it is


def finding_units() -> str:
    """Readings: rows are placed."""
    return gettext("finding units and dates")


def finding_sites() -> str:
    """Feed water: rows are placed."""
    return gettext("finding sites and dates")


def converting_units() -> str:
    """Values are brought to the units they are kept in."""
    return gettext("converting units")


def looking_for_known() -> str:
    """Rows that are stored already are found."""
    return gettext("looking for what is already known")


def comparing() -> str:
    """Rows are held against earlier ones."""
    return gettext("comparing with earlier readings")


def reading_rows(done: int, rows: int) -> str:
    """A file is read in pieces: how far it is."""
    return gettext("{done} of {rows} rows read").format(done=done, rows=rows)


def too_many_refused(refused: int, done: int, rows: int) -> str:
    """A file is given up: nearly nothing of it can be true."""
    words = gettext(
        "{refused} rows were refused by row {done} of {rows}, so the rest is not read; what was stored stays. See the "
        "reasons at the batch, correct the file and upload it again: rows that are known are not stored twice."
    )
    return words.format(refused=refused, done=done, rows=rows)


def sender_is_gone() -> str:
    """Who sent a file may not send any more when it is read."""
    return gettext("Whoever sent the file is no member any more; nothing more of it is read.")


def storing() -> str:
    """Rows are stored."""
    return gettext("storing")


def done() -> str:
    """Nothing is left to do."""
    return gettext("done")
