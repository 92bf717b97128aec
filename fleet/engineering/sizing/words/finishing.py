"""The words of what finishes the water on its way to a tap."""

from collections.abc import Mapping, Sequence
from typing import Final

from accounts.language import gettext, gettext_noop
from fleet.engineering.sizing.words import Sentences
from fleet.engineering.sizing.words.quantities import listed, use_in_words

_MISSING: Final[Mapping[str, Sentences]] = {
    "post_carbon": (
        gettext_noop(
            "The catalogue has no post-carbon: behind a tank one takes the taste of tank and tubing out. Its price is "
            "not in the first cost."
        ),
        gettext_noop("A filter for the taste is still to be priced."),
    ),
    "remineralisation": (
        gettext_noop(
            "The catalogue has no remineralising cartridge: without one the water stays soft, flat and slightly acid. "
            "Its price is not in the first cost."
        ),
        gettext_noop("A cartridge that gives minerals back is still to be priced."),
    ),
    "uv": (
        gettext_noop("The catalogue has no UV lamp to renew: order the lamp of the ultraviolet unit with it."),
        gettext_noop("The lamp of the ultraviolet unit is still to be priced."),
    ),
}
_NO_ROOM: Final[Mapping[str, Sentences]] = {
    "post_carbon": (
        gettext_noop("There is no room for a post-carbon behind the tank: the water may taste of it."),
        gettext_noop("There is no room for a taste filter: the water may taste of its tank."),
    ),
    "remineralisation": (
        gettext_noop("There is no room for a remineralising cartridge: the water stays soft, flat and slightly acid."),
        gettext_noop("There is no room for a mineral cartridge: the water stays soft."),
    ),
}


def post_carbon() -> Sentences:
    """Behind the tank, before the tap."""
    return (
        gettext(
            "In line behind the tank, before the tap: takes out what tank and tubing add. No chlorine is left there, "
            "so it is renewed by age or litres, whatever it looks like."
        ),
        gettext("Takes the taste of tank and tubing out of the water."),
    )


def remineralisation(uses: Sequence[str], *, is_taste: bool) -> Sentences:
    """Minerals that a use wants back, or people as they like the taste."""
    if is_taste:
        return (
            gettext(
                "Last of the cartridges before the tap: the membrane leaves so little in the water that it tastes flat "
                "and is slightly acid. Leave it out where people like it so. Read pH and TDS behind it at each visit: "
                "they fall when it is exhausted."
            ),
            gettext("Adds minerals, so that the water does not taste flat; leave it out if you like soft water."),
        )
    wanted_for = listed([use_in_words(use) for use in uses])
    return (
        gettext(
            "Last of the cartridges before the tap for {use}: the membrane leaves less in the water than is wanted. "
            "Read pH and TDS behind it at each visit: they fall when it is exhausted."
        ).format(use=wanted_for),
        gettext("Adds back the minerals that {use} wants.").format(use=wanted_for),
    )


def uv_lamp() -> Sentences:
    """The lamp of the unit that disinfects."""
    return (
        gettext(
            "The lamp of the ultraviolet unit, which brings its first one. It burns day and night and is renewed at "
            "its hours, also while it still shines; the sleeve is cleaned at the same visit."
        ),
        gettext("The lamp of the ultraviolet unit; it is renewed in time, also while it still shines."),
    )


def none_in_catalogue(stage: str) -> Sentences:
    """A stage that is wanted and cannot be bought."""
    installer, client = _MISSING[stage]
    return gettext(installer), gettext(client)


def no_room(stage: str) -> Sentences:
    """A stage that is wanted and has no place."""
    installer, client = _NO_ROOM[stage]
    return gettext(installer), gettext(client)
