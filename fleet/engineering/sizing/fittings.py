"""What an offer needs beside the cartridges, looked for in the catalogue by the words of its name."""

import re
from collections.abc import Mapping, Sequence
from typing import Final

from fleet.engineering.sizing.offer import Fitting, Item

# A fitting is known by a word of its name; the catalogue has no other attribute that says what it is for.
WORDS: Final[Mapping[str, tuple[str, ...]]] = {
    "booster_pump": ("booster pump",),
    "flow_restrictor": ("restrictor",),
    "tank": ("tank",),
    "softener": ("softener",),
    "degassing": ("degas", "aerat"),
    "shut_off_valve": ("shut-off valve", "shutoff valve"),
    "check_valve": ("check valve",),
    "pressure_regulator": ("pressure regulator", "pressure reducing"),
}
# A restrictor within this share of the size asked for does (common practice, no source).
RESTRICTOR_TOLERANCE: Final = 0.2
_ML_PER_MIN: Final = re.compile(r"([0-9]+(?:\.[0-9]+)?)\s*mL/min", re.IGNORECASE)


def fitting(what: str, catalogue: Sequence[Item], *, size: str, reason: str, near: float | None = None) -> Fitting:
    """Return a fitting with the cheapest item of the catalogue that is one, or with none.

    Parameters
    ----------
    what : str
        One of `WORDS`.
    catalogue : sequence of Item
        All of it.
    size, reason : str
        What is needed, and why, as sentences.
    near : float, optional
        Size in mL/min; an item that names one must lie within 20 % of it.

    Returns
    -------
    Fitting
        `item` is None where the catalogue has none.

    Raises
    ------
    KeyError
        A kind of fitting that has no words.

    Examples
    --------
    >>> stock = [Item("R9", "flow restrictor 900 mL/min", "accessory", 4.6)]
    >>> fitting("flow_restrictor", stock, size="", reason="", near=850.0).item.code
    'R9'
    >>> fitting("flow_restrictor", stock, size="", reason="", near=400.0).item is None
    True
    """
    words = WORDS[what]
    found = [
        item
        for item in catalogue
        if item.kind == "accessory" and any(word in item.name.casefold() for word in words) and _fits(item, near)
    ]
    return Fitting(what, min(found, key=lambda item: (item.price, item.code), default=None), size, reason)


def _fits(item: Item, near: float | None) -> bool:
    stated = _ML_PER_MIN.search(item.name)
    if near is None or stated is None:
        return True
    return abs(float(stated.group(1)) - near) <= RESTRICTOR_TOLERANCE * near
