"""The words of the fittings: their size, and why each is there."""

from math import ceil
from typing import Final

from accounts.language import gettext, gettext_noop, ngettext
from fleet.engineering.formulas.targets import TARGETS
from fleet.engineering.sizing.words import Sentences
from fleet.engineering.sizing.words.quantities import use_in_words


def cartridge_housing() -> Sentences:
    """One for each cartridge."""
    return (
        gettext("One for each cartridge; note the year, plastic housings are renewed after five to ten."),
        gettext("Each filter sits in a housing of its own, so that it can be replaced without work on the pipes."),
    )


def cartridge_housing_size() -> str:
    """What it must stand."""
    return gettext("Rated for the line pressure or more.")


def membrane_housing() -> Sentences:
    """One for each membrane."""
    return (
        gettext("One for each membrane."),
        gettext("The membrane sits in a housing that withstands the pressure."),
    )


def membrane_housing_size(pumped_to: str) -> str:
    """What it must stand: the pressure behind a pump, or without one ('') the line."""
    if pumped_to:
        return gettext("Rated for {pressure} or more.").format(pressure=pumped_to)
    return gettext("Rated for the line pressure or more.")


def pressure_regulator(line: str, limit: str) -> Sentences:
    """The line gives too much."""
    installer = gettext("The line reaches {line} and more; housings and tubing are kept below {limit}.")
    client = gettext("Your water pressure is high; this keeps it at what the unit is built for.")
    return installer.format(line=line, limit=limit), client


def pressure_regulator_size(limit: str) -> str:
    """What it is set to."""
    return gettext("Set to {limit}.").format(limit=limit)


def flow_restrictor(waste_ratio: float, is_scale_known: bool, warmest: str, is_metric: bool) -> Sentences:
    """Holds the waste ratio; `is_scale_known` where scale could be judged at it, `warmest` '' where not in summer."""
    if is_scale_known and warmest:
        installer = gettext(
            "Holds the waste at {ratio:g} to 1 at the usual temperature, so that no scale forms in this water at "
            "{warmest} either, when the membrane makes more. Set by the flow expected here, not by the label; measure "
            "it when it runs."
        )
    elif is_scale_known:
        installer = gettext(
            "Holds the waste at {ratio:g} to 1, at which no scale forms in this water. Set by the flow expected here, "
            "not by the label; measure it when it runs."
        )
    else:
        installer = gettext(
            "Holds the waste at {ratio:g} to 1, as is customary where scale cannot be judged. Set by the flow expected "
            "here, not by the label; measure it when it runs."
        )
    if is_metric:
        client = ngettext(
            "Lets {ratio:g} litre run to the drain for each one made, which keeps the membrane clean.",
            "Lets {ratio:g} litres run to the drain for each one made, which keeps the membrane clean.",
            ceil(waste_ratio),
        )
    else:
        client = ngettext(
            "Lets {ratio:g} gallon run to the drain for each one made, which keeps the membrane clean.",
            "Lets {ratio:g} gallons run to the drain for each one made, which keeps the membrane clean.",
            ceil(waste_ratio),
        )
    return installer.format(ratio=waste_ratio, warmest=warmest), client.format(ratio=waste_ratio)


def flow_restrictor_size(ml_per_min: float, inlet: str) -> str:
    """Its flow at the pressure of the inlet."""
    return gettext("{flow:.0f} mL/min at {inlet}.").format(flow=ml_per_min, inlet=inlet)


def booster_pump(line: str) -> Sentences:
    """The line gives too little."""
    installer = gettext(
        "The line gives {line} at its lowest; more pressure gives more and better water. It needs a cut-out for low "
        "pressure before it."
    )
    client = gettext("A pump raises the pressure, so that the unit makes more and purer water.")
    return installer.format(line=line), client


def booster_pump_size(flow: str, inlet: str) -> str:
    """What it must deliver."""
    return gettext("For {flow} at {inlet} at the membrane inlet.").format(flow=flow, inlet=inlet)


def flush_valve(weekly: str) -> Sentences:
    """Flushes what crept through at rest."""
    installer = gettext("Flushes {weekly} a week at the starts, so that what crept through at rest goes to the drain.")
    return installer.format(weekly=weekly), gettext("A short flush at each start keeps the membrane clean.")


def softener(salt_kg_per_year: float) -> Sentences:
    """No lime, so less waste."""
    installer = gettext(
        "Without hardness no lime forms, so less water goes to waste. It lowers neither the TDS nor the load on the "
        "resin. It takes about {salt:.0f} kg of salt a year, which is not in the cost."
    )
    client = gettext("Takes the lime out first, so that less water runs to the drain. It needs salt from time to time.")
    return installer.format(salt=salt_kg_per_year), client


def softener_size(weekly: str, hardness: str, flow: str) -> str:
    """What passes it in a week, and while the unit runs."""
    words = gettext("For {weekly} of feed a week at {hardness}, {flow} while the unit runs.")
    return words.format(weekly=weekly, hardness=hardness, flow=flow)


def degassing(share_percent: float, lives: str) -> Sentences:
    """Carbon dioxide exhausts the resin; `lives` is what `resin_lives` says, '' where no resin is chosen."""
    if lives:
        installer = gettext(
            "Carbon dioxide is {share:.0f} % of the load on the resin and passes every membrane. {lives} An extra "
            "anion cartridge before the mixed bed is the other way."
        )
    else:
        installer = gettext(
            "Carbon dioxide is {share:.0f} % of the load on the resin and passes every membrane. An extra anion "
            "cartridge before the mixed bed is the other way."
        )
    client = gettext(
        "Your water contains much carbonic acid, which exhausts the last filter early; aerating the water first makes "
        "that filter last longer."
    )
    return installer.format(share=share_percent, lives=lives), client


def degassing_size(daily: str) -> str:
    """The tank in which the water is aerated."""
    return gettext("An open aerated tank for {daily} a day, with a pump behind it.").format(daily=daily)


def resin_lives(code: str, without: str, behind: str) -> str:
    """How long the first resin lasts without degassing, and behind it."""
    words = gettext("Resin {code} lasts about {without} without it and {behind} behind it.")
    return words.format(code=code, without=without, behind=behind)


def remineralisation(use: str) -> Sentences:
    """Minerals that a use wants back."""
    target, use_words = gettext(TARGETS[use].sentence), use_in_words(use)
    return (
        gettext("On the branch for {use}: {target}").format(use=use_words, target=target),
        gettext("Adds back the minerals that {use} wants.").format(use=use_words),
    )


_LIMITED_BY: Final = {
    "hardness": gettext_noop("hardness"),
    "alkalinity": gettext_noop("alkalinity"),
    "tds": gettext_noop("TDS"),
}


def blending_valve(made: tuple[str, str, str], limited_by: str) -> Sentences:
    """Water for coffee; `made` is hardness, alkalinity and TDS of the blended water."""
    hardness, alkalinity, tds = made
    installer = gettext(
        "Takes water behind the carbon, before a softener, past the membrane: gives hardness {hardness}, alkalinity "
        "{alkalinity} and {tds}. {limited_by} is reached first; more would exceed it. Set it by a hardness test, and "
        "again when the membrane is replaced."
    )
    client = gettext("Mixes some filtered tap water back in, so that your coffee water has hardness {hardness}.")
    first = gettext(_LIMITED_BY[limited_by])
    facts = {"hardness": hardness, "alkalinity": alkalinity, "tds": tds}
    sentence = installer.format(limited_by=first[0].upper() + first[1:], **facts)
    return sentence, client.format(hardness=hardness)


def blending_valve_size(percent: float) -> str:
    """How much passes by."""
    return gettext("Set to {percent:.0f} % past the membrane.").format(percent=percent)
