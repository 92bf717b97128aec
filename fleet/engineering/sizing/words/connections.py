"""The words of what a unit is connected, watched and shut off with."""

from math import ceil

from accounts.language import gettext, ngettext
from fleet.engineering.sizing.words import Sentences


def tee() -> Sentences:
    """Two branches."""
    return (
        gettext("Behind the membrane: one branch to the resin, the other before it."),
        gettext(
            "One outlet for drinking and the like, another for the purest water: only that passes the last filter."
        ),
    )


def storage(draw: str, window_h: float, reserve_days: float, *, is_assumed: bool, has_precharge: bool) -> Sentences:
    """A tank for a draw that the membrane cannot keep up with, or for a reserve (`reserve_days`, 0 for the draw)."""
    if window_h >= 1.0:
        window = gettext("{hours:g} h").format(hours=window_h)
    else:
        minutes = round(window_h * 60.0)
        window = ngettext("{minutes} minute", "{minutes} minutes", minutes).format(minutes=minutes)
    if reserve_days:
        installer = ngettext(
            "A reserve of {days:g} day of the usual demand is asked for.",
            "A reserve of {days:g} days of the usual demand is asked for.",
            ceil(reserve_days),
        ).format(days=reserve_days)
    elif is_assumed:
        installer = gettext("A draw of {draw} within {window} is assumed, and the membrane gives less in that time.")
    else:
        installer = gettext("A draw of {draw} within {window} is asked for, and the membrane gives less in that time.")
    parts = [installer.format(draw=draw, window=window)]
    if has_precharge:
        parts.append(gettext("Check the precharge while the tank is empty; sanitise yearly."))
    else:
        parts.append(gettext("With a lid against dust, and an overflow to the drain over an air gap."))
    return " ".join(parts), gettext("Keeps water ready, since the membrane makes it slowly.")


def storage_size(volume: str, usable: str) -> str:
    """How large the tank must be."""
    return gettext("At least {volume}, of which {usable} is usable.").format(volume=volume, usable=usable)


def automatic_shutoff_valve(has_tank: bool, has_container: bool) -> Sentences:
    """Closes the feed when tank and container are full."""
    if has_tank and has_container:
        installer = gettext(
            "Closes the feed near two thirds of the line pressure, when the tank is full and the float valve is "
            "closed; without it the drain never stops."
        )
        client = gettext("Stops the unit when tank and container are full, so that no water is wasted.")
    elif has_tank:
        installer = gettext(
            "Closes the feed when the tank is full, near two thirds of the line pressure; without it the drain never "
            "stops."
        )
        client = gettext("Stops the unit when the tank is full, so that no water is wasted.")
    else:
        installer = gettext(
            "Closes the feed when the float valve has closed the permeate; a float valve alone lets the drain run on."
        )
        client = gettext("Stops the unit when your container is full, so that no water is wasted.")
    return installer, client


def check_valve(has_tank: bool) -> Sentences:
    """Holds the pressure that closes the shut-off valve."""
    if has_tank:
        return (
            gettext("Holds the tank pressure so that the shut-off valve can close."),
            gettext("Keeps the water in the tank from running back."),
        )
    return (
        gettext("Holds the pressure between membrane and float valve, so that the shut-off valve stays closed."),
        gettext("Keeps the water from running back through the membrane."),
    )


def float_valve() -> Sentences:
    """Closes the permeate to an open container."""
    return (
        gettext("Closes when the container is full, and with shut-off and check valve stops the unit."),
        gettext("Closes the water when your container is full."),
    )


def uv_unit() -> Sentences:
    """A second barrier behind an own well."""
    return (
        gettext("Last before the tap, behind the tank; the lamp is renewed every year whatever it looks like."),
        gettext("Ultraviolet light as a second barrier before the tap; its lamp is renewed every year."),
    )


def uv_unit_size(flow: str) -> str:
    """What passes it while the tap is open."""
    return gettext("For {flow} while the tap is open, approved for drinking water.").format(flow=flow)


def tap() -> Sentences:
    """Where people draw."""
    return (
        gettext("For the branch that people drink from; no metal that pure water attacks."),
        gettext("A tap of its own for the water of the unit."),
    )


def tap_size() -> str:
    """What it must stand."""
    return gettext("Approved for drinking water.")


def leak_detector() -> Sentences:
    """Shuts the feed where nobody is."""
    return (
        gettext("On the floor at the lowest point; shuts the feed at the first water."),
        gettext("Shuts the water off if the unit leaks."),
    )


def pressure_gauges(is_pumped: bool) -> Sentences:
    """One before the prefilters, one before the membrane."""
    if is_pumped:
        installer = gettext(
            "One before the prefilters, one between pump and membrane: they tell a clogged prefilter from a weak "
            "supply, and show what the pump gives."
        )
    else:
        installer = gettext(
            "One before the prefilters, one before the membrane: only two tell a clogged prefilter from a weak supply."
        )
    return installer, gettext("They show at a glance when a filter is clogged.")


def tds_meter(has_resin: bool) -> Sentences:
    """Shows what membrane and resin hold back."""
    if has_resin:
        installer = gettext(
            "One sensor behind the membrane and one behind the resin; between two resin cartridges and in the feed a "
            "hand-held meter is used."
        )
    else:
        installer = gettext("One sensor in the feed and one behind the membrane: their ratio is what passes it.")
    return installer, gettext("Shows whether the water is as pure as it should be.")


def drain_connection() -> Sentences:
    """The waste runs off freely."""
    return (
        gettext("With an air gap; the restrictor's flow must run off freely at its end."),
        gettext("Leads the waste water safely to the drain."),
    )


def tubing() -> Sentences:
    """Between line, unit, drain and outlets."""
    return (
        gettext("From the line to the unit, to the drain and to the outlets; approved for drinking water, opaque."),
        gettext("Connects the unit with tap and drain."),
    )


def tubing_size(length: str) -> str:
    """How much of it is reckoned with."""
    return gettext("{length} are assumed; the catalogue's price is for one metre.").format(length=length)
