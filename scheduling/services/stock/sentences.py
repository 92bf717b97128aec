"""What a line of a parts list says in words."""

from collections.abc import Mapping, Sequence
from datetime import date

from scheduling.models import PartsLine
from scheduling.planning.stock.supply import Share
from scheduling.services.stock.supplies import STORE, Coming


def day_in_words(day: date) -> str:
    """'Tue 19 Jan 2027'."""
    return f"{day:%a} {day.day} {day:%b} {day.year}"


def sentence_of_shares(
    quantity: int,
    shares: Sequence[Share],
    coming: Sequence[Coming],
    van_names: Mapping[int, str],
    *,
    own_van: int | None,
) -> str:
    """Where the pieces of a visit or a round come from, place by place.

    Parameters
    ----------
    quantity
        Pieces that are taken.
    shares
        What was given to it.
    coming
        The item's pieces on order.
    van_names
        Installer id to name.
    own_van
        Installer id of the round; None for a visit.
    """
    orders = {c.key: c for c in coming}
    pieces: dict[str, int] = {}
    for share in shares:
        key = f"late {share.supply}" if share.is_late else share.supply
        pieces[key] = pieces.get(key, 0) + share.quantity
    sources = []
    for key, count in pieces.items():
        place = key.removeprefix("late ")
        if place == STORE:
            sources.append(f"{count} from the store")
        elif place == f"van:{own_van}":
            sources.append(f"{count} aboard")
        elif place.startswith("van:"):
            sources.append(f"{count} in the van of {van_names.get(int(place[4:]), 'somebody else')}")
        else:
            line = orders[place].line
            expected = f", expected {day_in_words(line.expected_on)}" if line.expected_on is not None else ""
            too_late = ", too late for this day" if key.startswith("late ") else ""
            sources.append(f"{count} on order {line.order.number}{expected}{too_late}")
    missing = quantity - sum(pieces.values())
    if missing:
        sources.append(f"{missing} neither in stock nor ordered")
    return "; ".join(sources) + "."


def sentence_of_period(line: PartsLine, *, last: date, level: float, expected: float) -> str:
    """Why so many are to be ordered, or that none are.

    Parameters
    ----------
    line
        The line of a period's list, its numbers filled in.
    last
        Last day of the period.
    level
        The policy's service level.
    expected
        Pieces wanted on average.
    """
    until = f"until {day_in_words(last)}"
    demand_words = f"{line.quantity} for visits {until}" if line.quantity else f"None for a visit {until}"
    if line.spare:
        demand_words += (
            f", and {line.spare} for work that no visit holds yet and for cartridges that may be exhausted sooner: "
            f"with {100 * level:g} % probability none is missing ({expected:.1f} are used on average)"
        )
    stock = f"{line.in_stock} in stock and {line.on_order} on order"
    if not line.short:
        return f"{demand_words}. {stock}: nothing to order."
    return f"{demand_words}. {stock} leave {line.short} to order."
