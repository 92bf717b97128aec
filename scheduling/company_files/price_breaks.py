"""Price breaks in one cell, both ways: '10: 3.90; 50: 3.50' is a piece for 3.90 from 10 packs on, for 3.50 from 50."""

import re
from collections.abc import Iterable, Mapping
from typing import Any, Final

_BREAK: Final = re.compile(r"^(?P<packs>\d{1,6})\s*[:=]\s*(?P<price>\d{1,10}(?:[.,]\d{1,2})?)$")


def price_breaks_of(cell: str) -> list[dict[str, Any]]:
    """Price breaks of a cell; semicolons part them, since a comma can be a decimal sign.

    Raises
    ------
    ValueError
        For what is none.

    >>> price_breaks_of("10: 3,90; 50: 3.5")
    [{'from_packs': 10, 'price': '3.90'}, {'from_packs': 50, 'price': '3.5'}]
    """
    breaks = []
    for part in (part.strip() for part in cell.split(";")):
        if not part:
            continue
        match = _BREAK.match(part)
        if match is None:
            raise ValueError(f"'{part[:40]}' is no price break; write packs and the price of a piece, as '10: 3.90'")
        breaks.append({"from_packs": int(match["packs"]), "price": match["price"].replace(",", ".")})
    return breaks


def price_breaks_in_cell(breaks: Iterable[Mapping[str, Any]]) -> str:
    """The cell of stored price breaks."""
    return "; ".join(f"{each['from_packs']}: {each['price']}" for each in breaks)
