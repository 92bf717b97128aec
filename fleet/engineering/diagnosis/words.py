"""The words of a finding where its numbers say more than the record of its rule: for installer, client, and what to do.

Spoken through `accounts.language`; values are in mg/L and fractions. What a rule always says stands in its record.
"""

from accounts.figures import figures
from accounts.language import gettext, ngettext

# resin


def lead_reads_as_permeate() -> str:
    """What the outlet of a lead shows that holds nothing back, as the beginning of a sentence."""
    return gettext("The lead outlet reads as the permeate")


def lead_past_limit(share: float, limit: float, limit_mg_per_l: float) -> str:
    """What the outlet of a lead past its limit shows, as the beginning of a sentence."""
    words = gettext(
        "The lead outlet is at {share:.0f} % of the permeate, against a limit of {limit:.0f} % ({tds:.2g} mg/L at the "
        "permeate of this reading)"
    )
    return words.format(share=100.0 * share, limit=100.0 * limit, tds=limit_mg_per_l)


def lag_exhausted_by_forecast(lead: str) -> tuple[str, str, str]:
    """Of the lag only its forecast speaks."""
    return (
        gettext(
            "{lead}, and by its own forecast the lag is exhausted too. Replace both: rotating would put an exhausted "
            "cartridge in the lead."
        ).format(lead=lead),
        gettext(
            "The first resin cartridge is exhausted, and by our estimate the second is too. We will come to replace "
            "both."
        ),
        gettext(
            "Replace both cartridges. Read the product first: where it is still good the forecast was too early, and "
            "rotating is enough."
        ),
    )


def resin_before_short_lived(share: float) -> str:
    """The resin before the one that stands there lasted a fraction of what the permeate explains."""
    return gettext(
        "The resin before this one was exhausted after {share:.0%} of the life this permeate explains: something loads "
        "it that the TDS meter does not see, carbon dioxide above all."
    ).format(share=share)


def product_unread(lead: str) -> tuple[str, str, str]:
    """Nobody knows whether the lag holds."""
    return (
        gettext("{lead}; the product was not read, so whether the lag holds is not known.").format(lead=lead),
        gettext("The first resin cartridge is exhausted. We will check the second when we come to replace it."),
        gettext(
            "Read the product first. Where it is good, discard the lead, move the lag to lead and fit a fresh lag; "
            "where it is not, replace both."
        ),
    )


def lag_holds(lead: str) -> str:
    """The product is good."""
    return gettext("{lead} and the product is still good: the lag holds, rotate.").format(lead=lead)


def lag_begins_to_fail(lead: str) -> tuple[str, str]:
    """The product is just past its limit."""
    return (
        gettext("{lead} and the product has begun to rise: rotate soon, and watch the lag.").format(lead=lead),
        gettext(
            "The first resin cartridge is exhausted and the second begins to let salt through. We will come soon to "
            "replace the first."
        ),
    )


def both_let_ions_through(lead: str) -> tuple[str, str]:
    """Lead and lag are past their limits."""
    return (
        gettext("{lead} and the lag lets ions through as well: replace both.").format(lead=lead),
        gettext(
            "The first resin cartridge is exhausted and the second lets a little salt through. We will come to "
            "replace both."
        ),
    )


def only_resin_exhausted() -> tuple[str, str, str]:
    """The one cartridge holds nothing back."""
    return (
        gettext("The product reads as the permeate: the resin is exhausted."),
        gettext(
            "The resin cartridge is exhausted, so you get plain reverse-osmosis water. We will come to replace it."
        ),
        _replace_one(),
    )


def only_resin_past_limit(product: float, limit: float) -> tuple[str, str, str]:
    """The one cartridge lets through more than the limit."""
    words = gettext("The product is at {product} mg/L, past its limit of {limit:.3g} mg/L: the resin is exhausted.")
    return (
        words.format(product=figures(product), limit=limit),
        gettext("The resin cartridge is exhausted and lets a little salt through. We will come to replace it."),
        _replace_one(),
    )


def all_resin_exhausted() -> str:
    """Nothing is held back, and only the product was read."""
    return gettext(
        "The product reads as the permeate: all resin of the unit is exhausted. The lead outlet was not read."
    )


def last_resin_past_limit(product: float, limit: float, lead: float | None) -> tuple[str, str]:
    """The last cartridge lets through more than the limit; of the lead only its reading is known, or nothing."""
    if lead is None:
        words = gettext(
            "The product is at {product} mg/L, past its limit of {limit:.3g} mg/L: the last resin lets ions "
            "through. The lead outlet was not read."
        )
    else:
        words = gettext(
            "The product is at {product} mg/L, past its limit of {limit:.3g} mg/L: the last resin lets ions "
            "through. The lead outlet is at {lead} mg/L."
        )
    return (
        words.format(product=figures(product), limit=limit, lead=figures(lead) if lead is not None else ""),
        gettext("The resin cartridges let a little salt through. We will come to replace them."),
    )


def _replace_one() -> str:
    return gettext("Replace the resin cartridge; compare with the forecast and look for carbon dioxide.")


# carbon and membrane


def chlorine_through(chlorine: float, limit: float) -> str:
    """Chlorine behind the last carbon."""
    words = gettext(
        "Chlorine after the last carbon is {chlorine:.2g} mg/L, against a limit of {limit:.2g} mg/L: it damages the "
        "membrane."
    )
    return words.format(chlorine=chlorine, limit=limit)


def lead_carbon_exhausted(share: float, limit: float, limit_mg_per_l: float) -> str:
    """Chlorine between the carbons."""
    words = gettext(
        "The lead carbon lets {share:.0f} % of the chlorine through, against a limit of {limit:.0f} % "
        "({chlorine:.2g} mg/L at the feed of this reading): it is exhausted."
    )
    return words.format(share=100.0 * share, limit=100.0 * limit, chlorine=limit_mg_per_l)


def rejection_too_low(rejection: float, limit: float, limit_mg_per_l: float) -> str:
    """Salt behind the membrane."""
    words = gettext(
        "The rejection of the membrane is {rejection:.1f} %, below its limit of {limit:.1f} % ({tds:.3g} mg/L in the "
        "permeate at the feed of this reading)."
    )
    return words.format(rejection=100.0 * rejection, limit=100.0 * limit, tds=limit_mg_per_l)


# flows and pressures


def waste_from_low_pressure_and_cold() -> tuple[str, str]:
    """More waste for each litre, since the pressure is low and the water cold."""
    return (
        gettext("More waste per litre, but the normalised flow is normal: low pressure and colder water."),
        gettext(
            "The unit makes less water because of low pressure and colder water; the membrane is fine. If it makes too "
            "little for you, please call us."
        ),
    )


def line_serves_too_little() -> str:
    """The line is too weak for the demand in the coldest water."""
    return gettext(
        "The line leaves the membrane less than the demand asks for in the coldest water, and less than the customary "
        "50 psi (345 kPa); no booster pump is fitted."
    )


def line_pressure_fell_prefilters_unread() -> tuple[str, str]:
    """The line is weaker, and nobody knows of the prefilters."""
    return (
        gettext("The line pressure is more than 10 psi (69 kPa) below its baseline; the prefilters were not measured."),
        gettext(
            "The water pressure at your site has fallen, so the unit makes less water. We will bring a booster pump, "
            "look for the cause, and fit it if the pressure stays low."
        ),
    )


def nothing_closes_the_feed(drain_l_per_day: float | None) -> tuple[str, str]:
    """What a float valve alone cannot do, and what it costs in water; nobody has seen it run yet."""
    client = gettext(
        "By our records nothing stops the drain of your unit when its container is full. We will look on our next "
        "visit, and tell you what a valve would cost."
    )
    text = gettext("A float valve alone closes the permeate, and nothing closes the feed: the concentrate never stops.")
    if drain_l_per_day is not None:
        text = " ".join((text, gettext("Up to {litres:.0f} L a day are lost.").format(litres=drain_l_per_day)))
    return text, client


def leaks_past_for_good(step: float) -> str:
    """Salt passage has jumped and stays, the flow did not fall."""
    return gettext(
        "The salt passage has jumped to {step:.1f} times what it was and stays, with the flow steady: feed leaks past "
        "the membrane, or it is torn."
    ).format(step=step)


def flow_fell_for_good(step: float) -> str:
    """The flow has fallen at once and stays, no more salt passes."""
    return gettext(
        "The flow has fallen at once to {share:.0%} of what it was and stays, and no more salt passes: something lies "
        "on the membrane (carbon fines of an unflushed cartridge, slime) or holds the permeate back."
    ).format(share=step)


def flow_fell_with_new_carbon(share: float) -> str:
    """The flow has fallen at once when the carbon was changed, no more salt passes."""
    return gettext(
        "Since the carbon was changed the flow is {share:.0%} of what it was, and no more salt passes: fines of the "
        "new carbon lie on the membrane."
    ).format(share=share)


def above_limit_of_use(product: float, limit: float) -> str:
    """The water is past its limit and no fault is seen in the membrane."""
    return gettext(
        "The water reads {product} mg/L, past its limit of {limit:.3g} mg/L, and the membrane is not to blame as "
        "far as it was read: the supply is saltier, or this use asks for more than a membrane gives."
    ).format(product=figures(product), limit=limit)


def above_limit_by_membrane(product: float, limit: float) -> str:
    """The water is past its limit, and another finding says what the membrane suffers from."""
    return gettext(
        "The water reads {product} mg/L, past its limit of {limit:.3g} mg/L: the membrane gives saltier water "
        "than when it was new."
    ).format(product=figures(product), limit=limit)


def adds_salt(product: float, limit: float) -> str:
    """The water at the outlet is past its limit and saltier than what the membrane gives."""
    return gettext(
        "The water reads {product} mg/L at the outlet, past its limit of {limit:.3g} mg/L, and more than the "
        "membrane gives: something behind it adds salt, untreated water passes by, or the meter reads wrong."
    ).format(product=figures(product), limit=limit)


def less_than_the_restrictor_passes(share: float) -> str:
    """Far less concentrate than the label of the restrictor lets one expect."""
    return gettext(
        "Only {share:.0%} of what the restrictor passes by its label flows to drain: it is blocked, or a smaller one "
        "is fitted."
    ).format(share=share)


def more_than_the_restrictor_passes(times: float) -> str:
    """Far more concentrate than the label of the restrictor lets one expect."""
    return gettext(
        "{times:.1f} times what the restrictor passes by its label flows to drain: the flush valve is open, or the "
        "restrictor is missing, worn or a larger one."
    ).format(times=times)


def scale_is_likely(tds_mg_per_l: float) -> str:
    """Less flow, a salty concentrate, and a feed whose hardness nobody has analysed."""
    return gettext(
        "The flow is down, and the concentrate carries {tds:.0f} mg/L, most of it hardness in most supplies: scale is "
        "likelier than slime. Have the hardness analysed."
    ).format(tds=tds_mg_per_l)


def flow_fell_while_it_stood(step: float, days: float) -> tuple[str, str, str]:
    """The flow has fallen at once when the unit had stood switched off: for installer and client, and what to do."""
    return (
        gettext(
            "The flow is {share:.0%} of what it was since the unit stood switched off for about {days:.0f} days: slime "
            "has grown meanwhile, or the membrane has dried out."
        ).format(share=step, days=days),
        gettext(
            "Since your unit stood still it makes less water. We will clean it on our next visit, and replace the "
            "membrane if that does not help."
        ),
        gettext("Sanitise and flush for an hour; a membrane that has dried out does not come back: replace it."),
    )


def no_permeate_into_a_full_tank() -> tuple[str, str]:
    """The drain runs, no permeate comes, and the tank holds water under pressure."""
    return (
        gettext(
            "Concentrate flows and no permeate comes, while the tank holds water: it is full, and the shut-off valve "
            "or the check valve does not hold."
        ),
        gettext("Your tank holds water, and yet water runs to the drain. We will come soon to look at the valves."),
    )


def leaks_past_since_changed(over: float) -> str:
    """A new membrane that passes far more salt than the one it replaced."""
    return gettext(
        "The new membrane passes {share:.1f} times the salt of the one before it: it is not seated, an O-ring is "
        "pinched or missing, or it is another one."
    ).format(share=over)


def leaks_past_since_fitted(over_label: float) -> str:
    """A membrane that has passed far more salt than its label says since it was fitted."""
    return gettext(
        "Since the membrane was fitted it has passed {share:.1f} times the salt of its label: it is not seated, an "
        "O-ring leaks, or it is another one."
    ).format(share=over_label)


def feed_was_read_before(days: float) -> str:
    """Added to what rests on a feed that was not read on the visit that is judged."""
    whole = max(1, round(days))
    return ngettext(
        " The feed was not read on that visit but {days} day before; the highest it ever was here is taken.",
        " The feed was not read on that visit but {days} days before; the highest it ever was here is taken.",
        whole,
    ).format(days=whole)


def salt_doubled_untested() -> str:
    """The salt behind the membrane has doubled, and nobody tested what passes the carbon."""
    return gettext(
        "The salt behind the membrane has doubled from visit to visit, and nobody tested what passes the carbon: "
        "chlorine has probably oxidised it."
    )


def feed_is_unknown() -> str:
    """Added to what is told by the permeate alone."""
    return gettext(" Nobody has read the feed, so that other water from the supplier may be the reason: read it first.")


def less_than_its_label(share: float) -> str:
    """A membrane that has given far less than its label since it was fitted."""
    return gettext(
        "Since the membrane was fitted it has given {share:.0%} of what its label gives at this pressure and "
        "temperature: it is another one than recorded, still in its wrapper, or badly seated."
    ).format(share=share)


def less_than_the_one_before(share: float) -> str:
    """A new membrane that gives far less than the one it replaced."""
    return gettext(
        "By their labels the new membrane gives {share:.0%} of what the one before it gave at this pressure and "
        "temperature: it is another one than recorded, still in its wrapper, or badly seated."
    ).format(share=share)


def more_than_its_label(share: float) -> str:
    """A membrane that has given far more than its label since it was fitted."""
    return gettext(
        "Since the membrane was fitted it has given {share:.0%} of what its label gives at this pressure and "
        "temperature: it is another one than recorded, or feed leaks past it."
    ).format(share=share)


def slips_past_resin(fresh_tds: float) -> str:
    """Salt behind a resin that was fresh."""
    return gettext(
        "The product read {fresh:.0f} mg/L when this resin was fresh, and no more since: water passes beside the bed."
    ).format(fresh=fresh_tds)


# readings


def never_read() -> tuple[str, str]:
    """Of a unit that was never read nobody says that there was no reading for a while."""
    return (
        gettext("Nobody has read this unit since it was commissioned; its forecast rests on labels and load alone."),
        gettext("Nobody has read your unit yet."),
    )
