"""Lots of a stock level in one cell, both ways: '4 of R17 until 2027-03-31; 2 until 2027-09-30'."""

import re
from collections.abc import Iterable, Mapping
from datetime import date
from typing import Any, Final

_LOT: Final = re.compile(r"^(?P<pieces>\d{1,7})(?:\s+of\s+(?P<lot>.+?))?(?:\s+until\s+(?P<day>\d{4}-\d{2}-\d{2}))?$")
_BETWEEN: Final = re.compile(r";\s*(?=\d+\s+(?:of|until)\s)")
"""A code may hold a semicolon; what follows one that ends a lot begins with its pieces."""


def lots_of(cell: str) -> list[dict[str, Any]]:
    """Lots of a cell, as the API takes them.

    Raises
    ------
    ValueError
        For what is none.

    >>> lots_of("4 of R17 until 2027-03-31; 2 of R18")
    [{'lot': 'R17', 'expires_on': '2027-03-31', 'quantity': 4}, {'lot': 'R18', 'expires_on': None, 'quantity': 2}]
    """
    lots = []
    for part in (part.strip() for part in _BETWEEN.split(cell.strip().rstrip(";"))):
        if not part:
            continue
        match = _LOT.match(part)
        if match is None or not (match["lot"] or match["day"]):
            raise ValueError(f"'{part[:40]}' is no lot; write '4 of R17 until 2027-03-31; 2 until 2027-09-30'")
        try:
            day = date.fromisoformat(match["day"]) if match["day"] else None
        except ValueError:
            raise ValueError(f"'{match['day']}' is no day; write year-month-day, such as 2027-03-31") from None
        lots.append(
            {
                "lot": match["lot"] or "",
                "expires_on": day.isoformat() if day is not None else None,
                "quantity": int(match["pieces"]),
            }
        )
    return lots


def lots_in_cell(lots: Iterable[Mapping[str, Any]]) -> str:
    """The cell of the lots that a stock level keeps."""
    return "; ".join(
        f"{row['quantity']}"
        f"{' of ' + row['lot'] if row['lot'] else ''}{' until ' + row['expires_on'] if row['expires_on'] else ''}"
        for row in lots
    )
