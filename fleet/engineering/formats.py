"""Formats of cartridges and of the places that take them: size, connection, and which way the water passes."""

from collections.abc import Mapping
from dataclasses import dataclass, fields
from typing import Final

from accounts.language import gettext_noop

SIZES: Final[Mapping[str, str]] = {
    "10_inch": gettext_noop("10 inch, 2.5 inch wide"),
    "10_inch_wide": gettext_noop("10 inch, 4.5 inch wide"),
    "20_inch": gettext_noop("20 inch, 2.5 inch wide"),
    "20_inch_wide": gettext_noop("20 inch, 4.5 inch wide"),
    "in_line_2_inch": gettext_noop("in-line, 2 inch wide"),
    "in_line_2_5_inch": gettext_noop("in-line, 2.5 inch wide"),
    "element_1812": gettext_noop("element of 1.8 by 12 inch"),
    "element_2012": gettext_noop("element of 2 by 12 inch"),
    "element_3012": gettext_noop("element of 3 by 12 inch"),
    "element_4021": gettext_noop("element of 4 by 21 inch"),
    "element_4040": gettext_noop("element of 4 by 40 inch"),
    "vessel": gettext_noop("bed in a vessel"),
}
"""Name in code, API and files -> words. Nominal sizes of the trade."""

CONNECTIONS: Final[Mapping[str, str]] = {
    "housing": gettext_noop("dropped into a housing"),
    "twist": gettext_noop("twisted into a head"),
    "thread_1_4_inch": gettext_noop("thread of 1/4 inch"),
    "thread_3_8_inch": gettext_noop("thread of 3/8 inch"),
    "push_in_1_4_inch": gettext_noop("push-in for tubing of 1/4 inch"),
    "push_in_3_8_inch": gettext_noop("push-in for tubing of 3/8 inch"),
}
FLOW_DIRECTIONS: Final[Mapping[str, str]] = {
    "inward": gettext_noop("from outside to the core"),
    "upward": gettext_noop("upward"),
    "downward": gettext_noop("downward"),
    "along": gettext_noop("along it, by the arrow on its label"),
}


@dataclass(frozen=True)
class CartridgeFormat:
    """The format of a cartridge, or of a place that takes one; what is empty is not stated, and anything fits there.

    Attributes
    ----------
    cartridge_size : str
        A name of `SIZES`.
    connection : str
        A name of `CONNECTIONS`.
    flow_direction : str
        A name of `FLOW_DIRECTIONS`.
    """

    cartridge_size: str = ""
    connection: str = ""
    flow_direction: str = ""


WORDS: Final[Mapping[str, Mapping[str, str]]] = {
    "cartridge_size": SIZES,
    "connection": CONNECTIONS,
    "flow_direction": FLOW_DIRECTIONS,
}
"""Attribute of a format -> its names and their words."""


def differences_of_format(place: CartridgeFormat, cartridge: CartridgeFormat) -> tuple[str, ...]:
    """Return the attributes in which a cartridge does not fit a place; empty where it does.

    Examples
    --------
    >>> housing = CartridgeFormat("10_inch", "housing")
    >>> differences_of_format(housing, CartridgeFormat("20_inch")), differences_of_format(housing, CartridgeFormat())
    (('cartridge_size',), ())
    """
    return tuple(
        attribute.name
        for attribute in fields(CartridgeFormat)
        if (wanted := getattr(place, attribute.name)) and (own := getattr(cartridge, attribute.name)) and own != wanted
    )
