"""What people read of a unit and of its forecasts: sentences from facts, spoken through `accounts.language`."""

from collections.abc import Sequence
from datetime import date
from typing import Final

from accounts.dates import calendar_day
from accounts.figures import figures
from accounts.language import gettext, gettext_noop, listed, ngettext
from fleet.engineering.observations import OBSERVATIONS
from fleet.engineering.positions import position_name
from fleet.engineering.quantities import SETTLING_MINUTES

DEIONISED: Final = gettext_noop("Deionised water is not for drinking.")
NO_CLAIM: Final = gettext_noop(
    "Readings show how the unit works; a claim about drinking water needs an accredited laboratory."
)
ESTIMATE: Final = gettext_noop(
    "Dates are estimates; they are not the only safeguard. Test your water before you rely on it."
)


# what a client is asked for

TO_READ: Final = {
    "line_pressure_kpa": gettext_noop("the pressure of the water supply"),
    "prefilter_outlet_pressure_kpa": gettext_noop("the pressure behind the prefilters"),
    "feed_tds_mg_per_l": gettext_noop("the TDS of the tap water"),
    "permeate_tds_mg_per_l": gettext_noop("the TDS of the water behind the membrane"),
    "interstage_tds_mg_per_l": gettext_noop("the TDS of the water between the resin cartridges"),
    "product_tds_mg_per_l": gettext_noop("the TDS of the finished water"),
    "feed_total_chlorine_mg_per_l": gettext_noop("the total chlorine of the tap water"),
    "interstage_chlorine_mg_per_l": gettext_noop("the total chlorine between the carbon cartridges"),
    "carbon_outlet_total_chlorine_mg_per_l": gettext_noop("the total chlorine behind the carbon"),
    "remineralised_ph": gettext_noop("the pH of the water behind the mineral cartridge"),
    "remineralised_tds_mg_per_l": gettext_noop("the TDS of the water behind the mineral cartridge"),
    "uv_intensity_fraction": gettext_noop("the intensity that the monitor of the UV lamp shows"),
    "resin_colour_changed_fraction": gettext_noop("the share of the resin that has changed colour"),
}
"""The client's words for what can be asked of them."""


def please_read(columns: Sequence[str]) -> str:
    """Ask a client for a reading of these quantities."""
    ask = gettext("Please read {quantities} once the unit has run for {minutes:.0f} minutes, and send us the values.")
    mind = gettext(
        "They tell us when to come, and may save a visit. Use the meters you have there: open no housing and loosen no "
        "fitting."
    )
    named = [gettext(TO_READ[column]) for column in columns]
    if len(named) > 1:
        *several, last = named
        named = [gettext("{several} and {last}").format(several=", ".join(several), last=last)]
    return f"{ask.format(quantities=named[0], minutes=SETTLING_MINUTES)} {mind}"


def please_tell(names: Sequence[str]) -> str:
    """Ask a client without a meter whether these observations are there; and for the colour of the resin."""
    meaning = {each.name: each.to_client or each.meaning for each in OBSERVATIONS}
    listed_ = [gettext(meaning[name]) for name in names if name in meaning]
    sentences = []
    if listed_:
        *several, last = listed_
        whether = gettext("{several} or {last}").format(several=", ".join(several), last=last) if several else last
        sentences.append(
            gettext("Please tell us whether {whether}: it takes no meter, and a no tells us as much as a yes.").format(
                whether=whether
            )
        )
    if RESIN_COLOUR in names:
        sentences.append(
            gettext("Where the resin shows through its housing, tell us how much of it has changed colour.")
        )
    return " ".join([*sentences, gettext("Open no housing and loosen no fitting.")])


RESIN_COLOUR: Final = "resin_colour_changed_fraction"
"""A quantity that takes an eye and no meter."""


# the status of a unit


def water_within(value: float, allowed: str) -> str:
    """The water is good."""
    words = gettext("The water was at {value} mg/L TDS, within {allowed}.")
    return words.format(value=figures(value), allowed=allowed)


def water_above(value: float, allowed: str) -> str:
    """The water is past the limit."""
    words = gettext("The water was at {value} mg/L TDS, above {allowed}.")
    return words.format(value=figures(value), allowed=allowed)


def allowed_tds(limit: float, target: float) -> str:
    """The limit the water is held against, and what the use alone would allow where that is more."""
    if limit < target:
        words = gettext("the {limit:.4g} mg/L this unit is kept to (your use alone allows {target:.4g} mg/L)")
    else:
        words = gettext("the {limit:.4g} mg/L your use allows")
    return words.format(limit=limit, target=target)


def chlorine_passes(chlorine: float, limit: float) -> str:
    """Chlorine gets past the carbon, as much as its limit (both mg/L) or more."""
    words = gettext(
        "Chlorine gets past the carbon ({chlorine:.2g} mg/L, against a limit of {limit:.2g} mg/L): "
        "the carbon is exhausted."
    )
    return words.format(chlorine=chlorine, limit=limit)


def unread_since_change(has_resin: bool, changed_on: date) -> str:
    """What decides the water was changed, and nobody has read it since."""
    if has_resin:
        words = gettext("The resin was replaced on {day}, and nobody has measured the water since.")
    else:
        words = gettext("The membrane was replaced on {day}, and nobody has measured the water since.")
    return words.format(day=calendar_day(changed_on))


def never_read() -> str:
    """No reading at all."""
    return gettext("Nobody has measured the water of this unit yet.")


def doubtful_reading() -> str:
    """The newest reading cannot be true."""
    return gettext(
        "The newest reading does not make sense, so it says nothing about your water; it should be taken again."
    )


def old_reading(days: int) -> str:
    """The newest reading is too old."""
    return ngettext(
        "The newest reading is {days} day old, too old to say how the water is today.",
        "The newest reading is {days} days old, too old to say how the water is today.",
        days,
    ).format(days=days)


# indicators and findings


def computing_indicators() -> str:
    """How far a run of indicators is: at work."""
    return gettext("computing indicators")


def indicators_stored() -> str:
    """How far a run of indicators is: done."""
    return gettext("indicators stored")


def likely_causes() -> str:
    """What a diagnosis is, and what an empty one does not mean."""
    return gettext(
        "These are likely causes, not certain ones; do the confirming check before a part is replaced. No match means "
        "that nothing was seen in what was given, not that the unit is sound."
    )


def readings_exchanged(finding: int) -> str:
    """The note on a reading that was corrected since its probes were exchanged."""
    words = gettext("Feed and permeate TDS exchanged: the probes were swapped (finding {finding}).")
    return words.format(finding=finding)


def gone_after_work() -> str:
    """The note on a reading that work made: what had been seen is gone."""
    return gettext("Gone after the work that was reported.")


def looking_for_patterns() -> str:
    """How far a run of findings is: at work."""
    return gettext("looking for patterns in the readings")


def findings_stored() -> str:
    """How far a run of findings is: done."""
    return gettext("findings stored")


# how far a run of forecasts is


def learning() -> str:
    """The whole fleet is read first."""
    return gettext("learning from the whole fleet")


def units_forecast(count: int) -> str:
    """So many are done."""
    return ngettext("{count} unit forecast", "{count} units forecast", count).format(count=count)


def forecasting_units(count: int) -> str:
    """So many have news."""
    words = ngettext("forecasting {count} unit with news", "forecasting {count} units with news", count)
    return words.format(count=count)


def units_with_news_forecast(count: int, total: int) -> str:
    """So many of those with news are done."""
    words = ngettext("{count} of {total} unit with news forecast", "{count} of {total} units with news forecast", total)
    return words.format(count=count, total=total)


def forecasts_stored() -> str:
    """All is done."""
    return gettext("forecasts stored")


def files_forecast(positions: int, units: int, readings: int, left_out: int, dropped: int) -> str:
    """What was made of a fleet in files: what was forecast, read, left out, and rows that could not be used."""
    return gettext(
        "{positions} of {units} forecast; {readings} read, {left_out} left out, {dropped} not usable."
    ).format(
        positions=ngettext("{count} position", "{count} positions", positions).format(count=positions),
        units=ngettext("{count} unit", "{count} units", units).format(count=units),
        readings=ngettext("{count} reading", "{count} readings", readings).format(count=readings),
        left_out=ngettext("{count} value", "{count} values", left_out).format(count=left_out),
        dropped=ngettext("{count} row of the files", "{count} rows of the files", dropped).format(count=dropped),
    )


def more_in_report(count: int) -> str:
    """So many faults of the files are not shown."""
    return gettext("... and {count} more; --report FILE lists all.").format(count=count)


def reading_records() -> str:
    """How far the past is judged: at the beginning."""
    return gettext("reading the records")


def replaying(months: int) -> str:
    """How far the past is judged: at work."""
    return ngettext("replaying {months} month", "replaying {months} months", months).format(months=months)


def scores_stored() -> str:
    """How far the past is judged: done."""
    return gettext("scores stored")


# the change between two forecasts


def first_forecast() -> str:
    """There is none to compare with."""
    return gettext("This is the first forecast of the position.")


def other_cartridge() -> str:
    """The older forecast was of another cartridge."""
    return gettext("Another cartridge is installed there now, so the earlier forecast no longer applies.")


def undated_change(before: date | None, after: date | None) -> str:
    """At least one of two forecasts has no date."""
    return gettext("{before} before, {after} now.").format(before=_dated(before), after=_dated(after))


def exhausted_now(expected: date, because: str) -> str:
    """It was to last, and is exhausted."""
    words = gettext("It was expected to last until around {day} and is now exhausted. {because}")
    return words.format(day=calendar_day(expected), because=because).strip()


def still_exhausted(before: str, after: str, basis: str, because: str) -> str:
    """It was exhausted and still is; `before` and `after` are probabilities in words."""
    words = gettext("It counted as exhausted already ({before} likely), and still does ({after}){basis}. {because}")
    return words.format(before=before, after=after, basis=basis, because=because).strip()


def date_unchanged(day: date, basis: str) -> str:
    """The median hardly moved."""
    return gettext("The date stays around {day}{basis}.").format(day=calendar_day(day), basis=basis)


def date_moved(before: date, after: date, basis: str) -> str:
    """The median moved."""
    days = (after - before).days
    if days > 0:
        words = ngettext(
            "The date moved {days} day later, from {before} to {after},{basis}.",
            "The date moved {days} days later, from {before} to {after},{basis}.",
            days,
        )
    else:
        words = ngettext(
            "The date moved {days} day earlier, from {before} to {after},{basis}.",
            "The date moved {days} days earlier, from {before} to {after},{basis}.",
            -days,
        )
    return words.format(days=abs(days), before=calendar_day(before), after=calendar_day(after), basis=basis)


def evidence_of_change(newest: str, others: int, left_out: int) -> str:
    """What came in between two forecasts, with a space before it: a reading, more of them, those left out."""
    parts = [newest] if newest else []
    if others > 0:
        parts.append(ngettext("{count} more reading", "{count} more readings", others).format(count=others))
    if left_out > 0:
        words = ngettext("{count} left out as not usable", "{count} left out as not usable", left_out)
        parts.append(words.format(count=left_out))
    if not parts:
        return gettext(" without any new reading, by what the whole fleet taught")
    return gettext(" after {readings}").format(readings=gettext(" and ").join(parts))


def reading_of(taken_on: date, values: Sequence[tuple[str, float, str]]) -> str:
    """A reading in words: its day, and each quantity with value and unit."""
    shown = ", ".join(f"{gettext(name)} {number:.3g} {unit}" for name, number, unit in values)
    return gettext("the reading of {day} ({values})").format(day=calendar_day(taken_on), values=shown)


def may_be_exhausted(before: float, after: float) -> str:
    """One reading against all others: the probability of being exhausted rose; with a space before it."""
    words = gettext(
        " It may be exhausted already: the probability is {after:.0f} %, {before:.0f} % before. One reading may be "
        "wrong: flush and read again."
    )
    return words.format(before=100 * before, after=100 * after)


def _dated(day: date | None) -> str:
    return gettext("Expected around {day}").format(day=calendar_day(day)) if day is not None else gettext("No date")


# the first replacement at a unit or a site


def position_of_unit(stage: str, role: str, unit: str) -> str:
    """A position as it is spoken of among those of several units."""
    return gettext("the {name} of unit {unit}").format(name=gettext(position_name(stage, role)), unit=unit)


def no_first_date(here: str, why: str) -> str:
    """There is no date; for the office."""
    return gettext("There is no date for {here}: {why}.").format(here=gettext(here), why=gettext(why))


def no_first_date_for_client(yours: str, why: str) -> str:
    """There is no date; for the client."""
    words = gettext("There is no date yet for the next replacement at {yours}: {why}.")
    return words.format(yours=gettext(yours), why=gettext(why))


def first_exhausted(here: str, name: str, others: int, sentence: str) -> str:
    """Something is exhausted by now."""
    if others:
        words = gettext("Exhausted by now at {here}: {name}, and {others} more. {sentence}")
    else:
        words = gettext("Exhausted by now at {here}: {name}. {sentence}")
    return words.format(here=gettext(here), name=name, others=others, sentence=sentence)


def first_due(
    here: str, days: tuple[date | None, date | None, date | None], name: str, why: str, positions: int
) -> str:
    """When the first replacement is due; `days` are the 10 %, 50 % and 90 % dates."""
    early, median, late = (calendar_day(day) if day is not None else "" for day in days)
    return ngettext(
        "The first replacement at {here} is due around {median} (8 in 10: {early} to {late}); most likely {name}: "
        "{why}. {count} position looked at.",
        "The first replacement at {here} is due around {median} (8 in 10: {early} to {late}); most likely {name}: "
        "{why}. {count} positions looked at.",
        positions,
    ).format(here=gettext(here), median=median, early=early, late=late, name=name, why=why, count=positions)


def first_due_for_client(yours: str, day: date | None) -> str:
    """When the first replacement is due; for the client."""
    words = gettext("The first replacement at {yours} should be due around {day}; this is an estimate.")
    return words.format(yours=gettext(yours), day=calendar_day(day) if day is not None else "")


# sites of unknown location


def no_address() -> str:
    """There is nothing to ask a geocoder for."""
    return gettext("it has no address")


def address_not_found() -> str:
    """A geocoder found no place, or several."""
    return gettext("its address was not found")


def geocoder_unavailable(reason: str) -> str:
    """A geocoder could not be asked."""
    return gettext("the geocoder gave no answer: {reason}").format(reason=reason)


def no_place_on_earth(latitude: float, longitude: float) -> str:
    """A geocoder answered something else than degrees."""
    words = gettext("the geocoder answered {latitude:g}, {longitude:g}, which is no place on earth")
    return words.format(latitude=latitude, longitude=longitude)


# what sizing says of a unit in service


def no_demand() -> str:
    """Nobody said how much water the unit gives."""
    return gettext("The weekly use of the unit is 0, so there is nothing to size for.")


def not_read_for_sizing(*, pressure: bool, temperature: bool, tds: bool) -> str:
    """What sizing needs was not read in the past year."""
    missing = [
        name
        for name, is_missing in (
            (gettext("line pressure"), pressure),
            (gettext("temperature"), temperature),
            (gettext("feed TDS"), tds),
        )
        if is_missing
    ]
    return gettext("Not read in the past year: {quantities}.").format(quantities=listed(missing))
