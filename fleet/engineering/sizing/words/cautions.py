"""The words of what can hurt people, animals or a house."""

from accounts.language import gettext
from fleet.engineering import cautions
from fleet.engineering.sizing.words import Sentences


def air_gap() -> Sentences:
    """Drain and supply."""
    return (
        gettext(
            "The drain needs an air gap and the supply protection against backflow; follow local codes and use "
            "licensed trades for plumbing and electrical work."
        ),
        gettext(
            "The connection to supply and drain must follow your local codes, and be made by a licensed trade where "
            "they ask for one."
        ),
    )


def pressure() -> Sentences:
    """Housings under pressure."""
    return (
        gettext(
            "Keep below the pressure limits of housings and membrane, fit a leak detector with a shut-off at "
            "unattended sites, and relieve the pressure before a housing is opened."
        ),
        gettext("Do not open the housings yourself while the water is on: they are under pressure."),
    )


def metals() -> Sentences:
    """Pure water dissolves metals."""
    return (
        gettext("This water attacks brass, copper and solder: only plastic or stainless steel behind the membrane."),
        gettext("Do not run this water through copper or brass pipes."),
    )


def electricity() -> Sentences:
    """Mains near water."""
    return (
        gettext(
            "Pump and solenoid belong on a circuit with residual-current protection, with a drip loop and the "
            "transformer off the floor; unplug before opening."
        ),
        gettext("The pump needs a socket with residual-current protection; unplug it if anything leaks."),
    )


def resin_is_irritant() -> Sentences:
    """Handling of resin."""
    return (
        gettext(
            "Resin is irritant and slippery: wear gloves, and sweep up what is spilled. Never let it come into contact "
            "with strong oxidisers."
        ),
        gettext("Keep resin cartridges away from children, and do not open them."),
    )


def no_health_claim() -> Sentences:
    """What a unit does for drinking water, and what it does not."""
    return (
        gettext(
            "Reverse osmosis is not disinfection and TDS says nothing about germs or lead: the feed must be safe to "
            "drink, and a claim about drinking water needs an accredited laboratory. People with weak immune systems "
            "and infants: ask medical and water authorities. Never for dialysis."
        ),
        gettext(
            "The unit does not make unsafe water safe. If someone with a weak immune system or an infant drinks it, "
            "ask your doctor or water authority first. Never use it for dialysis."
        ),
    )


def test_before_fish() -> Sentences:
    """Chlorine, chloramine and ammonia kill animals."""
    return (
        gettext(
            "Chlorine, chloramine and the ammonia that chloramine leaves kill: test the product water before first "
            "use, each time the carbon is replaced, and when the supplier changes its disinfectant."
        ),
        gettext(
            "Test the water for chlorine and ammonia before it first goes to your animals, and each time "
            "its filters are replaced."
        ),
    )


def drink_before_resin() -> Sentences:
    """One unit for people and for deionised water."""
    return (
        gettext(
            "Deionised water is not for drinking: people drink from the branch before the resin only; mark both "
            "outlets."
        ),
        gettext("Drink only from the outlet marked for it: the water behind the last filter is not for drinking."),
    )


def not_for_drinking() -> Sentences:
    """A unit of deionised water alone."""
    return (
        gettext("Deionised water is not for drinking: mark the outlet."),
        gettext("The water of this unit is not for drinking."),
    )


def flush_new_parts(*, with_resin: bool) -> Sentences:
    """Fines, preservative and, where there is resin, what it sheds first."""
    parts = [cautions.FLUSH_CARBON, cautions.FLUSH_MEMBRANE, *([cautions.FLUSH_RESIN] if with_resin else [])]
    return (
        " ".join(gettext(text) for text in parts),
        gettext("After every filter change the first water goes to the drain; please use none before we say so."),
    )


def uv_lamp() -> Sentences:
    """What burns behind an own well."""
    return (
        " ".join(
            (
                gettext("The UV lamp belongs on a circuit with residual-current protection that nobody switches off."),
                gettext(cautions.UV_LIGHT),
                gettext(cautions.UV_MERCURY),
            )
        ),
        gettext(
            "Never open the lamp of the ultraviolet unit and never switch it off; water is safe only while it burns."
        ),
    )


def uv_lamp_without_power() -> Sentences:
    """A lamp where nothing can be plugged in."""
    return (
        gettext("The lamp needs a socket, and there is none: without power this water must not be drunk."),
        gettext("The ultraviolet lamp needs a socket nearby; without it the water must not be drunk."),
    )


def cold_water(limit: str) -> Sentences:
    """Hot water ruins membranes and bursts housings."""
    return (
        gettext(cautions.COLD_WATER).format(limit=limit),
        gettext("The unit is for cold water only: hot water damages it and makes it leak."),
    )


def dispose_of_resin() -> Sentences:
    """Where resin goes."""
    return (
        gettext(cautions.DISPOSAL),
        gettext("Resin must not go down the drain: old cartridges are disposed of by local rules."),
    )


def light_proof_store() -> Sentences:
    """Algae in drinking water."""
    return (
        gettext(cautions.LIGHT_PROOF),
        gettext("Keep drinking water from the unit in the dark and cool, and use it within a day or two."),
    )


def well_not_tested() -> Sentences:
    """An own well that nobody knows to be safe."""
    return (
        gettext(
            "NOT FOR DRINKING until an accredited laboratory has found no bacteria in this well: reverse osmosis does "
            "not disinfect. The ultraviolet unit before the tap is a second barrier and replaces neither test nor cure."
        ),
        gettext(
            "Do not drink this water yet: your well must first be tested for bacteria by an accredited laboratory, and "
            "every year from then on. The unit does not make unsafe water safe."
        ),
    )


def test_well_yearly() -> Sentences:
    """An own well that was tested or is disinfected."""
    return (
        gettext(cautions.TEST_WELL),
        gettext("Have your well tested for bacteria by an accredited laboratory every year, and after every flood."),
    )


def well_has_bacteria() -> Sentences:
    """No unit for drinking until the well is cured."""
    return (
        gettext(
            "Bacteria were found in this well and nothing disinfects it: no unit for drinking is offered. Have the "
            "well cured by a licensed trade, then tested again by an accredited laboratory."
        ),
        gettext(
            "Bacteria were found in your well. Do not drink from it; we can offer a unit once it has been disinfected "
            "and a laboratory finds none."
        ),
    )
