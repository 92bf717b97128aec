"""The words of parts for a unit in service: what to look for where the catalogue has nothing that fits."""

from accounts.language import gettext


def no_restrictor(ml_per_min: float, pressure: str) -> str:
    """No restrictor comes near what this unit wants."""
    words = gettext("No flow restrictor of the catalogue fits: look for one of about {flow:.0f} mL/min at {pressure}.")
    return words.format(flow=round(ml_per_min, -1), pressure=pressure)


def no_pump(feed: str, pressure: str) -> str:
    """No pump moves so much feed at so much pressure."""
    words = gettext("No booster pump of the catalogue fits: look for one that moves {feed} or more at {pressure}.")
    return words.format(feed=feed, pressure=pressure)


def no_catalytic_carbon() -> str:
    """The supply carries chloramine, and no carbon of the catalogue that fits takes it out."""
    return gettext(
        "The supply carries chloramine and no catalytic carbon of the catalogue fits here: look for one of this format."
    )
