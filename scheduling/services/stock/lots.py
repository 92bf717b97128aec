"""Lots of the stock: as rows say them, and as the ledger works them out."""

from collections import Counter
from collections.abc import Iterable, Mapping, Sequence
from datetime import date
from typing import Any, Final

from accounts.errors import Fault
from accounts.models import Company
from scheduling.models import StockLevel, StockMovement
from scheduling.planning.stock.lots import UNKNOWN_LOT, Lot, LotMovement, Place, lots_by_place

STORE: Final = "store"
"""The store, among the places of lots; a van is there by its installer's id."""

_CLEARING: Final = (StockMovement.Kind.SCRAP, StockMovement.Kind.SUPPLIER_RETURN)


def stored_lots(lots: Mapping[Lot, int]) -> list[dict[str, Any]]:
    """Lots as a row keeps them, first to expire first; pieces of no known lot are left out."""
    return [
        {
            "lot": lot.code,
            "expires_on": lot.expires_on.isoformat() if lot.expires_on is not None else None,
            "quantity": pieces,
        }
        for lot, pieces in sorted(lots.items(), key=lambda entry: entry[0].order)
        if lot != UNKNOWN_LOT and pieces
    ]


def read_lots(rows: Iterable[Mapping[str, Any]]) -> Counter[Lot]:
    """The lots that a row keeps, or that somebody sent; the day they expire on as a date or as text."""
    lots: Counter[Lot] = Counter()
    for row in rows:
        day = row.get("expires_on")
        lots[Lot(row.get("lot", ""), date.fromisoformat(day) if isinstance(day, str) else day)] += row["quantity"]
    return lots


def faults_of_lots(lots: Sequence[Mapping[str, Any]], quantity: int, pointer: str = "/lots") -> list[Fault]:
    """What cannot be right about lots that somebody sent of so many pieces."""
    faults = [
        Fault(f"{pointer}/{number}", "a lot has a code or a day on which it expires; give lot, expires_on, or both.")
        for number, row in enumerate(lots)
        if not row.get("lot") and row.get("expires_on") is None
    ]
    total = sum(row["quantity"] for row in lots)
    if total > quantity:
        faults.append(
            Fault(pointer, f"the lots have {total} pieces together, and there are {quantity}; give at most so many.")
        )
    return faults


def expired_pieces(level: StockLevel, day: date) -> int:
    """Pieces at a place that may not be used on a day any more."""
    return sum(pieces for lot, pieces in read_lots(level.lots).items() if lot.is_expired_on(day))


def lots_of_item(*, company: Company, item: int) -> dict[Place, Counter[Lot]]:
    """Which lots of an item lie where, worked out from the rows of the ledger that are in force."""
    rows = StockMovement.objects.of_company(company).filter(item=item, reversal_of=None, reversal=None)
    return lots_by_place(_as_planned(row, company) for row in rows.order_by("happened_at", "pk"))


def _as_planned(row: StockMovement, company: Company) -> LotMovement:
    """A row of the ledger in the words of the planning room."""
    source, destination = (
        _place(row.from_place, row.from_installer_id),
        _place(row.to_place, row.to_installer_id),
    )
    is_count = row.kind in StockMovement.COUNTS
    pieces = (row.counted or 0) if is_count else row.pieces - row.uncounted
    return LotMovement(
        day=company.day_at(row.happened_at),
        pieces=pieces,
        source=None if is_count else source,
        # a count that found less stands as pieces that left
        destination=destination if destination is not None or not is_count else source,
        lots=read_lots(row.lots),
        is_count=is_count,
        takes_expired_first=row.kind in _CLEARING,
    )


def _place(where: str, installer: int | None) -> Place | None:
    if where == StockMovement.Place.OUTSIDE:
        return None
    return installer if installer is not None else STORE
