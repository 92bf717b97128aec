"""The words of an offer: each configuration in a sentence, what the catalogue lacks, and what sets offers apart."""

from collections.abc import Sequence
from typing import Final

from accounts.language import gettext, gettext_noop, ngettext
from fleet.engineering.sizing.words import Sentences
from fleet.engineering.sizing.words.quantities import listed, purpose_in_words

_CARTRIDGES: Final = {
    "sediment": gettext_noop("sediment cartridge"),
    "carbon": gettext_noop("carbon cartridge"),
    "membrane": gettext_noop("membrane"),
    "resin": gettext_noop("resin cartridge"),
}
_FOR_CLIENT: Final = {
    "sediment": gettext_noop("sediment filter"),
    "carbon": gettext_noop("carbon filter"),
    "membrane": gettext_noop("membrane"),
    "resin": gettext_noop("resin"),
    "post_carbon": gettext_noop("taste filter"),
    "remineralisation": gettext_noop("mineral cartridge"),
    "uv": gettext_noop("UV lamp"),
}
_PLACES: Final = {
    ("sediment", "single"): gettext_noop("sediment"),
    ("carbon", "single"): gettext_noop("carbon"),
    ("carbon", "lead"): gettext_noop("carbon lead"),
    ("carbon", "lag"): gettext_noop("carbon lag"),
    ("membrane", "single"): gettext_noop("membrane"),
    ("resin", "single"): gettext_noop("resin"),
    ("resin", "lead"): gettext_noop("resin lead"),
    ("resin", "lag"): gettext_noop("resin lag"),
    ("post_carbon", "single"): gettext_noop("post-carbon"),
    ("remineralisation", "single"): gettext_noop("remineralisation"),
    ("uv", "single"): gettext_noop("UV lamp"),
}

# one configuration


def place(stage: str, role: str, code: str, count: int) -> str:
    """A cartridge of the train by its code and place, as '2 x M75 (membrane)'."""
    return counted(gettext("{code} ({place})").format(code=code, place=gettext(_PLACES[stage, role])), count)


def counted(name: str, count: int) -> str:
    """A name, and how many where there are several."""
    return gettext("{count} x {name}").format(count=count, name=name) if count > 1 else name


def summary_for_installer(
    train: Sequence[str],
    fittings: Sequence[str],
    waste_ratio: float,
    restrictor_ml_per_min: float,
    expected: tuple[str, str, str],
) -> str:
    """What to fit, and the flow, TDS and inlet pressure to expect."""
    flow, tds, inlet = expected
    words = gettext(
        "Fit {train}; with {fittings}. Waste {ratio:g} to 1, restrictor {restrictor:.0f} mL/min. Expect {flow} and "
        "{tds} behind the membrane at {inlet}."
    )
    return words.format(
        train=", ".join(train),
        fittings=", ".join(fittings),
        ratio=waste_ratio,
        restrictor=restrictor_ml_per_min,
        flow=flow,
        tds=tds,
        inlet=inlet,
    )


def summary_for_client(
    usual_hours: float, winter_hours: float, waste: str, cost: str, first_stage: str, first_life: str
) -> str:
    """How long it runs, what goes to the drain, what cartridges cost, and which is replaced first."""
    words = gettext(
        "It runs about {usual:.1f} hours a day ({winter:.1f} in the coldest water), sends about {waste} a week to the "
        "drain, and needs cartridges for about {cost} a year; the first to be replaced is the {first}, after {life}. "
        "These are estimates."
    )
    return words.format(
        usual=usual_hours,
        winter=winter_hours,
        waste=waste,
        cost=cost,
        first=gettext(_FOR_CLIENT[first_stage]),
        life=first_life,
    )


def no_fitting(purpose: str, size: str) -> Sentences:
    """A fitting that the catalogue lacks; `size` is a sentence, '' where any will do."""
    name = purpose_in_words(purpose)
    if size:
        installer = gettext(
            "The catalogue has no {fitting} that fits. Needed: {size} Its price is not in the first cost."
        )
    else:
        installer = gettext("The catalogue has no {fitting}. Its price is not in the first cost.")
    client = gettext("A part is still to be priced: {fitting}.")
    return installer.format(fitting=name, size=size), client.format(fitting=name)


def expected_values() -> str:
    """What the numbers of an offer are."""
    return gettext(
        "Expected values, not guarantees: flows may differ from their labels by 15 to 20 %, and lives by as much as "
        "their ranges say. Costs are without fitting, driving, electricity and salt; visits count "
        "as the company's policy prices them. Compare the first readings with them in the "
        "commissioning check."
    )


# none at all


def no_cartridge(stage: str) -> Sentences:
    """A stage for which nothing can be bought."""
    installer = gettext("The catalogue has no {cartridge}, which every configuration for this use needs: add one.")
    client = gettext("We have nothing to offer you yet: a part of the unit is missing from our catalogue.")
    return installer.format(cartridge=gettext(_CARTRIDGES[stage])), client


def silica_too_high() -> Sentences:
    """Scale at every waste ratio."""
    return (
        gettext(
            "Silica would leave scale at every usual waste ratio, softened or not: treat the feed first, and have "
            "silica measured again."
        ),
        gettext("Your water contains so much silica that it would clog the membrane; it must be treated first."),
    )


def label_wanted(flow: str, code: str) -> str:
    """The membrane that would do, by its label."""
    words = gettext("Look for {flow} or more on its label, stated as on that of {code}.")
    return words.format(flow=flow, code=code)


def longer_day(hours: int) -> str:
    """That the catalogue would do if the unit ran longer."""
    words = gettext("Or let it run {hours} h a day, out of a store that bears it: then the catalogue has one.")
    return words.format(hours=hours)


def membrane_too_small(most: int, has_power: bool, label_wanted: str) -> Sentences:
    """No membrane makes enough in winter; `label_wanted` says which would, '' where none."""
    if has_power:
        installer = ngettext(
            "No membrane of the catalogue serves this demand in winter: a larger one, more pressure or a lower demand "
            "is needed.",
            "No membrane of the catalogue serves this demand in winter, not even {most} side by side: a larger one, "
            "more pressure or a lower demand is needed.",
            most,
        )
    else:
        installer = ngettext(
            "No membrane of the catalogue serves this demand in winter: a larger one, more pressure, a lower demand or "
            "a power supply for a booster pump is needed.",
            "No membrane of the catalogue serves this demand in winter, not even {most} side by side: a larger one, "
            "more pressure, a lower demand or a power supply for a booster pump is needed.",
            most,
        )
    sentences = " ".join(filter(None, [installer.format(most=most), label_wanted]))
    return sentences, gettext("We have no unit that makes so much water at your place in winter.")


# side by side


def aims_coincide(number: int, aims: Sequence[str], years: float) -> Sentences:
    """One is best in more than one way."""
    names = listed([_aim(aim, years) for aim in aims])
    return (
        gettext("Alternative {number} has the {aims}.").format(number=number, aims=names),
        gettext("Offer {number} has the {aims}.").format(number=number, aims=names),
    )


def _aim(aim: str, years: float) -> str:
    if aim == "least_first_cost":
        return gettext("lowest first cost")
    if aim == "least_running_cost":
        return gettext("lowest running cost")
    if aim == "least_waste":
        return gettext("least waste water")
    return gettext("lowest cost over {years:g} years").format(years=years)


def purer(number: int, own_tds: str, purest_tds: str) -> Sentences:
    """Shown for its purer water."""
    installer = gettext(
        "Alternative {number} is shown for its purer water: about {own} behind the membrane, not {others}."
    )
    client = gettext("Offer {number} makes purer water.")
    return installer.format(number=number, own=own_tds, others=purest_tds), client.format(number=number)


def next_best(number: int) -> Sentences:
    """Shown so that there is something to compare with."""
    installer = gettext(
        "Alternative {number} is best in none of these ways; its cost over the years is the next lowest."
    )
    client = gettext("Offer {number} is shown for comparison.")
    return installer.format(number=number), client.format(number=number)


def few_alternatives(ways: int) -> Sentences:
    """The catalogue leaves little choice."""
    installer = ngettext(
        "The catalogue allows one configuration here: a further membrane, a pump or other cartridges would give a "
        "choice.",
        "The catalogue allows {ways} configurations here: a further membrane, a pump or other cartridges would give "
        "a choice.",
        ways,
    )
    client = ngettext("There is one way to serve your place.", "There is little choice for your place.", ways)
    return installer.format(ways=ways), client


def same_waste() -> Sentences:
    """None wastes less."""
    return gettext("All alternatives waste the same."), gettext("All offers waste the same amount of water.")


def paid_back(number: int, cheapest: int, costs: tuple[str, str], years: float, longest_years: float) -> Sentences:
    """Whether what costs more to buy than the cheapest is worth it.

    `costs` are what it costs more to buy and less a year to run; `longest_years` is how long a unit serves.
    """
    more, less = costs
    when = _paid_back_when(years, longest_years)
    installer = gettext(
        "Alternative {number} costs {more} more to buy than alternative {cheapest} and {less} a year less to run, "
        "fitting, driving, electricity and salt aside: {when}."
    )
    client = gettext(
        "Offer {number} costs {more} more to buy than offer {cheapest}, and {less} a year less to run: {when}."
    )
    facts = {"number": number, "cheapest": cheapest, "more": more, "less": less, "when": when}
    return installer.format(**facts), client.format(**facts)


def _paid_back_when(years: float, longest_years: float) -> str:
    if years > longest_years:
        return gettext("not paid back within {years:g} years").format(years=longest_years)
    if years >= 2.0:
        whole = round(years)
        return ngettext("paid back in about {years} year", "paid back in about {years} years", whole).format(
            years=whole
        )
    months = round(years * 12.0)
    if years < 0.125:
        return gettext("paid back within six weeks")
    return ngettext("paid back in about {months} month", "paid back in about {months} months", months).format(
        months=months
    )
