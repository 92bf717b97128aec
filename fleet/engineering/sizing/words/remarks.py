"""The words beside the numbers of an offer: why the layout, what each use gets, what was assumed, what to mind."""

from collections.abc import Sequence

from accounts.language import gettext
from fleet.engineering.formulas.targets import TARGETS
from fleet.engineering.sizing.words import Sentences
from fleet.engineering.sizing.words.quantities import listed, use_in_words

# layout


def reverse_osmosis(uses: Sequence[str]) -> Sentences:
    """No use needs resin."""
    served = listed([use_in_words(use) for use in uses])
    return (
        gettext("Reverse osmosis is enough for {uses}; resin would add nothing.").format(uses=served),
        gettext("For {uses} a membrane is enough; a further filter would only add cost.").format(uses=served),
    )


def deionised(uses: Sequence[str]) -> Sentences:
    """Every use needs resin."""
    served = listed([use_in_words(use) for use in uses])
    installer = gettext("Only deionised water serves {uses}, so resin follows the membrane.")
    client = gettext(
        "For {uses} even the traces behind a membrane are too much, so a last filter follows the membrane."
    )
    return installer.format(uses=served), client.format(uses=served)


def branched(without_resin: Sequence[str], with_resin: Sequence[str]) -> Sentences:
    """Some uses need resin, and the others must not have it or do without."""
    before = listed([use_in_words(use) for use in without_resin])
    behind = listed([use_in_words(use) for use in with_resin])
    installer = gettext(
        "A tee after the membrane: the branch before the resin serves {before}, the branch behind it {behind}. The "
        "resin sees only its own share of the water."
    )
    client = gettext("One unit with two outlets: one for {before}, the other, behind a last filter, for {behind}.")
    return installer.format(before=before, behind=behind), client.format(before=before, behind=behind)


# what each use gets


def behind_resin(use: str, limit: str) -> Sentences:
    """A use at the end of the train."""
    installer = gettext("Behind the resin: {target} The cartridges are replaced before {limit} shows.")
    client = gettext("The water for {use} comes from behind the last filter and is the purest that the unit makes.")
    target = gettext(TARGETS[use].sentence)
    return installer.format(target=target, limit=limit), client.format(use=use_in_words(use))


def not_pure_enough(use: str, shown: str, limit: str) -> Sentences:
    """The permeate is above what a use wants."""
    installer = gettext(
        "Behind the membrane: about {shown} is expected and the limit for {use} is {limit}. More pressure or a "
        "membrane of higher rejection helps."
    )
    client = gettext("The water for {use} will contain more salts than is usual for it; ask us what helps.")
    words = use_in_words(use)
    return installer.format(shown=shown, use=words, limit=limit), client.format(use=words)


def purer_than_wanted(use: str, shown: str, low: str, high: str) -> Sentences:
    """The permeate is below what a use wants."""
    installer = gettext(
        "Behind the membrane: about {shown} is expected and {use} wants {low} to {high}, so minerals are added back."
    )
    client = gettext("The water is purer than {use} wants, so some minerals are added back.")
    words = use_in_words(use)
    return installer.format(shown=shown, use=words, low=low, high=high), client.format(use=words)


def blended(tds: str, hardness: str, alkalinity: str) -> Sentences:
    """Coffee water with some of the feed mixed back in."""
    installer = gettext(
        "Behind the blending valve: about {tds} is expected; aimed at hardness {hardness} and alkalinity {alkalinity}, "
        "of which none is exceeded."
    )
    client = gettext("Your coffee water is mixed to the hardness that was asked for.")
    return installer.format(tds=tds, hardness=hardness, alkalinity=alkalinity), client


def pure_enough(use: str, shown: str, limit: str) -> Sentences:
    """The permeate is what a use wants."""
    installer = gettext("Behind the membrane: about {shown} is expected, and the limit for {use} is {limit}.")
    client = gettext("The water for {use} comes straight from the membrane, which is pure enough for it.")
    words = use_in_words(use)
    return installer.format(shown=shown, use=words, limit=limit), client.format(use=words)


# what was assumed


def water_not_known(
    unknown: Sequence[str], chlorine: str, *, is_scale_assumed: bool, is_gas_assumed: bool
) -> Sentences:
    """What of the water was not measured, and what is assumed instead."""
    assumed = []
    if is_scale_assumed:
        assumed.append(gettext("scaling as in hard water"))
    if "silica" in unknown:
        assumed.append(gettext("no silica"))
    if "total chlorine" in unknown:
        assumed.append(gettext("chlorine of {chlorine}").format(chlorine=chlorine))
    if is_gas_assumed:
        assumed.append(gettext("no load of carbon dioxide on the resin, so that resin may last much shorter"))
    names = listed([gettext(name) for name in unknown])
    installer = gettext("Not measured: {names}. Assumed: {assumed}. Have the water analysed.")
    client = gettext(
        "Your water has not been fully analysed ({names}); an analysis would make these figures more certain."
    )
    nothing = gettext("nothing that matters here")
    return installer.format(names=names, assumed="; ".join(assumed) or nothing), client.format(names=names)


def coldest_not_known(cold: str, warm: str) -> Sentences:
    """Nobody gave the temperature of winter."""
    installer = gettext(
        "The coldest water of the year was not given; at {cold} a membrane gives half of what it gives at {warm}, so "
        "ask before this is offered."
    )
    client = gettext("We do not know yet how cold your water gets in winter, when the unit makes less.")
    return installer.format(cold=cold, warm=warm), client


def warmest_not_known() -> Sentences:
    """Nobody gave the temperature of summer."""
    return (
        gettext(
            "The warmest water of the year was not given: then the membrane makes more, the restrictor passes no more "
            "and scale forms sooner. Ask before the restrictor is chosen."
        ),
        gettext("Tell us how warm your water gets in summer, when scale forms soonest."),
    )


def static_pressure_not_known(limit: str) -> Sentences:
    """Nobody read the line while nothing flowed."""
    installer = gettext(
        "The highest pressure with all taps shut was not given; read it, best at night: above {limit} a pressure "
        "regulator is needed."
    )
    client = gettext("We still have to measure the highest pressure of your line, which decides on a regulator.")
    return installer.format(limit=limit), client


def water_price_assumed(price: str) -> Sentences:
    """Nobody gave the price of water."""
    installer = gettext("The price of water and drain was not given; {price} a cubic metre is assumed.")
    client = gettext("We assumed {price} a cubic metre for water and drain; tell us what you pay.")
    return installer.format(price=price), client.format(price=price)


def starts_assumed(starts: float) -> Sentences:
    """Nobody counted the starts."""
    installer = gettext(
        "{starts:g} starts a day are assumed for the flush water; a float valve that chatters makes many more."
    )
    client = gettext("We assumed that the unit starts {starts:g} times a day.")
    return installer.format(starts=starts), client.format(starts=starts)


# how it runs


def rejects_too_little(expected: float, least: float) -> Sentences:
    """A membrane that is past the limit of its rejection when new; both are fractions."""
    shown, limit = (f"{round(100.0 * fraction, 1):g} %" for fraction in (expected, least))
    installer = gettext(
        "The membrane is expected to hold back {shown} of the salts, and below {limit} it counts as exhausted: more "
        "pressure or a membrane of higher rejection is needed."
    )
    client = gettext("At your place this membrane would hold back less of the salts than we ask of one.")
    return installer.format(shown=shown, limit=limit), client


def no_membrane_needed() -> Sentences:
    """All of the water may go past the membrane: the feed is as soft as what is wanted."""
    return (
        gettext(
            "The feed has no more hardness, alkalinity and TDS than is wanted: all of it may pass the membrane by. "
            "Offer a sediment and a carbon filter instead."
        ),
        gettext("Your water is soft enough already: a filter for taste is all that it needs."),
    )


def runs_little(hours: float) -> Sentences:
    """Long at rest."""
    installer = gettext(
        "It runs {hours:.1f} h a day: salt creeps through at standstill, so let the stored water run well down before "
        "the unit refills it, and flush first."
    )
    client = gettext(
        "The unit is large for your demand; let the stored water run well down before the unit refills it, and flush "
        "the unit first."
    )
    return installer.format(hours=hours), client


def weak_line(inlet: str, least: str, needed: str = "") -> Sentences:
    """Little pressure and no pump; what the demand asks for beside the rule of thumb."""
    installer = gettext(
        "The membrane inlet has {inlet} at the worst time, below {least}: a booster pump is customary; without one the "
        "water is poorer, and fouling leaves less reserve."
    ).format(inlet=inlet, least=least)
    if needed:
        enough = gettext("The demand asks for {needed} in the coldest water, so that it is met without a pump as well.")
        installer = f"{installer} {enough.format(needed=needed)}"
    return installer, gettext("Your water pressure is low; with a pump the water would be purer.")


def membranes_side_by_side(count: int) -> Sentences:
    """More than one membrane."""
    installer = gettext(
        "{count} membranes share one feed and one restrictor; replace them together, and read the flow of each when "
        "one is suspected."
    )
    client = gettext("{count} membranes work side by side to make enough water.")
    return installer.format(count=count), client.format(count=count)


# what is stored


def draw_assumed(draw: str) -> Sentences:
    """Nobody gave the largest draw."""
    installer = gettext("The largest draw was not given; {draw} is assumed for the tap.")
    return installer.format(draw=draw), gettext("Tell us how much water you draw at once, so that the tank fits.")


def no_room_for_tank(volume: str, room: str) -> Sentences:
    """The tank that the draw calls for is too large."""
    installer = gettext(
        "The draw calls for a tank of {volume}, and there is room for {room}: draw less at once, or choose a larger "
        "membrane."
    )
    client = gettext("There is no room for a tank as large as you need: draw less water at once.")
    return installer.format(volume=volume, room=room), client


def reserve(full: str, lasts: str, *, is_for_taps: bool) -> Sentences:
    """How long the store lasts when the unit stops."""
    if is_for_taps:
        installer = gettext("Reserve: the full tank gives {full}, at the usual demand {lasts} of the taps.")
    else:
        installer = gettext("Reserve: the full container gives {full}, at the usual demand {lasts}.")
    client = gettext("If the unit stops, what is stored lasts {lasts} at your usual demand.")
    return installer.format(full=full, lasts=lasts), client.format(lasts=lasts)


def pure_water_does_not_keep() -> Sentences:
    """Deionised water in an open tank takes up carbon dioxide (CRC Handbook: about 1.1 uS/cm at 25 degC)."""
    return (
        gettext(
            "In an open tank deionised water takes up carbon dioxide and reads about 1.1 uS/cm, more than the 1 uS/cm "
            "of grade 2: store the permeate, and put the resin behind the tank with a pump of its own, or draw fresh."
        ),
        gettext("Water this pure does not keep in an open tank: draw it fresh for what has to be purest."),
    )


def no_storage(hourly: str, is_assumed: bool) -> Sentences:
    """No tank is part of the offer."""
    if is_assumed:
        installer = gettext(
            "No tank is included: neither the largest draw nor a reserve was given. In winter {hourly} an hour is "
            "made, and when the unit stops nothing is in store but what the client's own container holds."
        )
    else:
        installer = gettext(
            "No tank is included: production keeps up with the draw. In winter {hourly} an hour is made, and when the "
            "unit stops there is no reserve."
        )
    client = gettext(
        "The unit makes about {hourly} an hour in winter; collect it in a container of your own, which is your reserve "
        "when the unit stops."
    )
    return installer.format(hourly=hourly), client.format(hourly=hourly)


# what the water holds


def iron_or_manganese(iron: str, manganese: str) -> Sentences:
    """What fouls a membrane."""
    installer = gettext("Iron above {iron} or manganese above {manganese} fouls the membrane: treat it first.")
    client = gettext("Your water contains iron or manganese, which must be taken out before the unit.")
    return installer.format(iron=iron, manganese=manganese), client


def resin_alone() -> Sentences:
    """A feed that hardly needs a membrane."""
    return (
        gettext("The feed is so pure that resin without a membrane may cost less at a low demand."),
        gettext("Your water is so pure that a simpler unit without a membrane may do."),
    )


def no_catalytic_carbon() -> Sentences:
    """Chloramine, and no carbon for it."""
    return (
        gettext("Chloramine needs catalytic carbon, and the catalogue has none."),
        gettext("Your supplier uses chloramine; the right carbon for it must still be ordered."),
    )
