"""The words of commissioning: what to do where a new unit does not give what was promised."""

from accounts.language import gettext
from fleet.engineering.sizing.words import Sentences


def as_promised() -> Sentences:
    """Kept."""
    return gettext("As promised."), gettext("As promised.")


def not_measured() -> Sentences:
    """Nothing can be said of it yet."""
    return (
        gettext("Not read, or not with the pressure, temperature and feed TDS it is judged by: read it and ask again."),
        gettext("This was not measured yet."),
    )


def permeate_flow(tolerance: float) -> Sentences:
    """Too little or too much water; `tolerance` is a fraction."""
    installer = gettext(
        "The flow is more than {percent:.0f} % off what the label gives at this pressure, temperature and TDS: check "
        "the tank valve, the pressures and the seat of the membrane."
    )
    client = gettext("The unit does not make the amount of water it should yet; we are looking into it.")
    return installer.format(percent=100.0 * tolerance), client


def permeate_tds() -> Sentences:
    """Water that is not pure enough behind the membrane."""
    return (
        gettext("The permeate is worse than the label gives here: flush longer, then check O-rings and seat."),
        gettext("The membrane does not hold back as much as it should yet; we are looking into it."),
    )


def waste_ratio() -> Sentences:
    """Too much or too little to the drain."""
    return (
        gettext(
            "The waste ratio is not the design value: the restrictor is the wrong one, or the flush valve is open. Too "
            "little waste leaves scale on the membrane."
        ),
        gettext("The unit wastes more or less water than planned; we will set it right."),
    )


def inlet_pressure(shortfall: str) -> Sentences:
    """Too little pressure."""
    installer = gettext(
        "The membrane inlet is more than {shortfall} below the design value: check line, prefilters and pump."
    )
    return installer.format(shortfall=shortfall), gettext("The water pressure is lower than planned.")


def product_tds(limit_mg_per_l: float) -> Sentences:
    """Water that is not good enough for its use."""
    installer = gettext(
        "The product is above {limit:.3g} mg/L TDS, the most it may show here: flush the unit, look for a bypass at "
        "the seats of resin and membrane."
    )
    return installer.format(limit=limit_mg_per_l), gettext("The water is not good enough for its use yet.")


def chlorine(limit_mg_per_l: float) -> Sentences:
    """Chlorine passes new carbon."""
    installer = gettext(
        "Chlorine passes new carbon, at or above the limit of {limit:.2g} mg/L: the cartridge is badly seated or of "
        "the wrong kind, or the flow is too high. Chlorine ruins the membrane; do not leave the unit running."
    )
    client = gettext(
        "A filter does not hold back chlorine as it should; we will set it right before the water is used."
    )
    return installer.format(limit=limit_mg_per_l), client
