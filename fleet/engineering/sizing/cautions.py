"""What can hurt people, animals or a house, said with every offer it applies to."""

from collections.abc import Iterator
from typing import Final

from fleet.engineering.sizing.flows import FlowChoice
from fleet.engineering.sizing.offer import Remark, SizingRequest

_CAUTIONS: Final = (
    Remark(
        "air_gap",
        "The drain needs an air gap and the supply protection against backflow; follow local codes and use licensed "
        "trades for plumbing and electrical work.",
        "The connection to pipes and drain follows the rules of your place, by a licensed trade where they ask for it.",
    ),
    Remark(
        "pressure",
        "Keep below the limits of housings and membrane, fit a leak detector with a shut-off at unattended sites, and "
        "relieve the pressure before a housing is opened.",
        "Do not open the housings yourself while the water is on: they are under pressure.",
    ),
    Remark(
        "metals",
        "This water attacks brass, copper and solder: only plastic or stainless steel behind the membrane.",
        "Do not lead this water through copper or brass pipes.",
    ),
)
_PUMP: Final = Remark(
    "electricity",
    "Pump and solenoid belong on a residual-current protected circuit, with a drip loop and the transformer off the "
    "floor; unplug before opening.",
    "The pump needs a socket with residual-current protection; unplug it if anything leaks.",
)
_RESIN: Final = Remark(
    "resin_is_irritant",
    "Resin is irritant and slippery: gloves, and sweep up what is spilled. Never bring it together with strong "
    "oxidisers.",
    "Keep resin cartridges away from children, and do not open them.",
)
_DRINKING: Final = Remark(
    "no_health_claim",
    "Reverse osmosis is not disinfection and TDS says nothing of germs or lead: the feed must be safe to drink, and a "
    "claim about drinking water needs an accredited laboratory. People with weak immune systems and infants: ask "
    "medical and water authorities. Never for dialysis.",
    "The unit does not make unsafe water safe. If someone with a weak immune system or an infant drinks it, ask your "
    "doctor or water authority first. Never use it for dialysis.",
)
_FISH: Final = Remark(
    "test_before_fish",
    "Chlorine, chloramine and the ammonia of chloramine kill: test the product before first use, after each change of "
    "carbon, and when the supplier changes its disinfectant.",
    "Test the water for chlorine and ammonia before it first goes to your animals, and after each change of filters.",
)


def cautions_on(request: SizingRequest, choice: FlowChoice) -> tuple[Remark, ...]:
    """Return the cautions of one configuration.

    Examples
    --------
    >>> from fleet.engineering.sizing.offer import Item, WaterUse
    >>> from fleet.engineering.sizing.survey import SiteSurvey
    >>> asked = SizingRequest((WaterUse("coffee", 70.0),), SiteSurvey("coffee", 70.0, 420.0, 8.0, 14.0, 250.0))
    >>> flows = FlowChoice(Item("M", "", "membrane", 38.0), 365.0, 4.0, 190.0, 130.0, 1.3, 1.8, 8.0)
    >>> [caution.code for caution in cautions_on(asked, flows)]
    ['air_gap', 'pressure', 'metals', 'no_health_claim']
    """
    return (
        *_CAUTIONS,
        *([_PUMP] if choice.is_pumped or choice.is_degassed else []),
        *([_RESIN] if request.resin_demand_l_per_week > 0.0 else []),
        *([_FISH] if any(entry.use in ("reef", "planted") for entry in request.uses) else []),
        *_drinking(request),
    )


def _drinking(request: SizingRequest) -> Iterator[Remark]:
    if request.tap_demand_l_per_week > 0.0:
        yield _DRINKING
        if request.resin_demand_l_per_week > 0.0:
            yield Remark(
                "drink_before_resin",
                "Deionised water is not for drinking: people drink from the branch before the resin only; mark both "
                "outlets.",
                "Drink only from the outlet marked for it: the water behind the last filter is not for drinking.",
            )
    elif request.resin_demand_l_per_week > 0.0:
        yield Remark(
            "not_for_drinking",
            "Deionised water is not for drinking: mark the outlet.",
            "The water of this unit is not for drinking.",
        )
