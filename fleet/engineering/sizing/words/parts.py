"""The words of the train: why each cartridge stands where it does, and what there was no room for."""

from math import ceil

from accounts.language import gettext, ngettext
from fleet.engineering.sizing.words import Sentences


def no_resin_large_enough() -> Sentences:
    """Every resin of the catalogue is exhausted at once."""
    return (
        gettext(
            "Every resin cartridge of the catalogue would be exhausted at once by this water: add a larger one, or "
            "treat the feed first."
        ),
        gettext("We have no resin large enough for your water yet."),
    )


def no_room(most: int, least: int, membranes: int, needs_resin: bool) -> Sentences:
    """Fewer places than the least train has cartridges."""
    if needs_resin:
        train = ngettext(
            "sediment, carbon, membrane and resin", "sediment, carbon, {membranes} membranes and resin", membranes
        )
    else:
        train = ngettext("sediment, carbon and membrane", "sediment, carbon and {membranes} membranes", membranes)
    installer = ngettext(
        "There is room for {most} cartridge; {train} need {least}.",
        "There is room for {most} cartridges; {train} need {least}.",
        most,
    )
    client = gettext("There is too little room: the unit needs places for {least} cartridges.")
    return (
        installer.format(most=most, train=train.format(membranes=membranes), least=least),
        client.format(least=least),
    )


def no_second(stage: str, why: Sentences) -> Sentences:
    """A second carbon or resin would be better, and has no place."""
    if stage == "carbon":
        installer = gettext(
            "{why} There is no room for the second carbon cartridge: read the unit more often, and replace early."
        )
        client = gettext(
            "There is no room for a second carbon cartridge, so the one there is must be watched more closely."
        )
    else:
        installer = gettext(
            "{why} There is no room for the second resin cartridge: read the unit more often, and replace early."
        )
        client = gettext(
            "There is no room for a second resin cartridge, so the one there is must be watched more closely."
        )
    return installer.format(why=why[0]), client


def resin_changed_often(life: str, times: float, wanted: str) -> Sentences:
    """The largest resin does not last; one so many times as large would last as wanted."""
    installer = gettext(
        "The largest resin of the catalogue lasts about {life} here. Do not install it so: look for a bed about "
        "{times:.0f} times as large, which would last about {wanted}, or for degassing or a membrane of higher "
        "rejection."
    )
    client = gettext("The last filter would have to be replaced about every {life}; ask us for a larger one.")
    return installer.format(life=life, times=ceil(times), wanted=wanted), client.format(life=life)


def prefilter_changed_often(code: str, life: str, times: float, wanted: str) -> Sentences:
    """A prefilter that does not last; one so many times as large would last as wanted."""
    installer = gettext(
        "{code} lasts about {life} here. Look for a larger one, or for several side by side: about {times:.0f} times "
        "as much would last about {wanted}."
    )
    client = gettext(
        "A filter before the membrane would have to be replaced about every {life}; ask us for a larger one."
    )
    return installer.format(code=code, life=life, times=ceil(times), wanted=wanted), client.format(life=life)


def second_carbon_for_chloramine() -> Sentences:
    """Two carbons, for chloramine."""
    return (
        gettext("The supplier uses chloramine, which needs two carbons in series."),
        gettext("Your supplier uses chloramine, which is hard to take out and kills fish, so there are two of these."),
    )


def second_carbon_for_chlorine(limit: str) -> Sentences:
    """Two carbons, for much chlorine."""
    return (
        gettext("Total chlorine is above {limit}.").format(limit=limit),
        gettext("Your water contains much chlorine, so there are two of these."),
    )


def second_carbon_for_contact(flow: str, limit: str) -> Sentences:
    """Two carbons, for a fast feed."""
    installer = gettext("The feed runs at {flow}, above {limit}, so contact with one carbon is short.")
    client = gettext("The water runs fast, so there are two of these, one behind the other.")
    return installer.format(flow=flow, limit=limit), client


def second_resin_for_purity() -> Sentences:
    """Two resins, since nothing may pass."""
    return (
        gettext("The product must stay at 0, so a second cartridge stands behind the first and is moved up."),
        gettext("So that your water stays pure to the end, a second cartridge stands behind the first."),
    )


def second_resin_for_rotation() -> Sentences:
    """Two resins, since it pays."""
    return (
        gettext("The demand is large enough for rotation to pay."),
        gettext("You use so much water that two cartridges in turn cost less than one."),
    )


def lead(first: Sentences, second: Sentences) -> Sentences:
    """What the lead does, and why there is a second one."""
    return f"{first[0]} {second[0]}", f"{first[1]} {second[1]}"


def lag(second: Sentences) -> Sentences:
    """The lag of a pair."""
    installer = gettext(
        "{why} It moves up when the lead is replaced, so it adds no cost of its own to that of the lead."
    )
    client = gettext("Comes after the first and takes its place when the first is exhausted.")
    return installer.format(why=second[0]), client


def sediment() -> Sentences:
    """The sediment cartridge."""
    return (
        gettext("Holds back particles before carbon and membrane."),
        gettext("Catches sand and rust, so that the filters behind it last."),
    )


def carbon(is_catalytic: bool) -> Sentences:
    """The carbon cartridge."""
    if is_catalytic:
        installer = gettext("Takes out chlorine before the membrane: catalytic carbon, which also takes chloramine.")
    else:
        installer = gettext("Takes out chlorine before the membrane: carbon.")
    return installer, gettext("Takes out the chlorine, which would ruin the membrane.")


def membranes(
    count: int, usual: str, winter: str, needed: str, pressure: str, usual_temperature: str, lowest_temperature: str
) -> Sentences:
    """The membranes: what they make in usual and in the coldest water, and what is needed."""
    installer = ngettext(
        "About {usual} at {pressure} and {usual_temperature}, and {winter} at {lowest_temperature} when aged; "
        "{needed} is needed. The label holds at its own test conditions only.",
        "{count} side by side, since one is not enough. About {usual} at {pressure} and {usual_temperature}, and "
        "{winter} at {lowest_temperature} when aged; {needed} is needed. The label holds at its own test conditions "
        "only.",
        count,
    )
    client = ngettext(
        "It holds back nearly all that is dissolved, and makes enough water in the coldest weeks too.",
        "They hold back nearly all that is dissolved, and make enough water in the coldest weeks too.",
        count,
    )
    return (
        installer.format(
            count=count,
            usual=usual,
            winter=winter,
            needed=needed,
            pressure=pressure,
            usual_temperature=usual_temperature,
            lowest_temperature=lowest_temperature,
        ),
        client,
    )


def resin(tds: str, is_degassed: bool) -> Sentences:
    """The resin cartridge."""
    if is_degassed:
        installer = gettext(
            "Takes out the {tds} that the membrane lets through, and what carbon dioxide is left. Its life is that "
            "behind degassing."
        )
    else:
        installer = gettext("Takes out the {tds} that the membrane lets through, and the carbon dioxide.")
    return installer.format(tds=tds), gettext("Takes out the last traces that the membrane lets through.")
