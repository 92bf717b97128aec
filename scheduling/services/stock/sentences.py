"""What a line of a parts list says in words."""

from collections.abc import Mapping, Sequence
from datetime import date

from scheduling.models import PartsLine
from scheduling.planning.stock.deliveries import first_order_day
from scheduling.planning.stock.supply import Share
from scheduling.services.stock.supplies import STORE, Coming, place_of
from scheduling.services.words import stock as words


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
        key = f"late {share.supply}" if share.is_late else place_of(share.supply)
        pieces[key] = pieces.get(key, 0) + share.quantity
    sources = []
    for key, count in pieces.items():
        place = key.removeprefix("late ")
        if place == STORE:
            sources.append(words.from_store(count))
        elif place == f"van:{own_van}":
            sources.append(words.aboard(count))
        elif place.startswith("van:"):
            sources.append(words.in_van_of(count, van_names.get(int(place[4:]), "")))
        else:
            line = orders[place].line
            is_late = key.startswith("late ")
            sources.append(words.on_order(count, line.order.number, line.expected_on, is_late=is_late))
    missing = quantity - sum(pieces.values())
    if missing:
        sources.append(words.missing(missing))
    return "; ".join(sources) + "."


def sentence_of_period(
    line: PartsLine,
    *,
    last: date,
    level: float,
    expected: float,
    today: date,
    next_order_here: date,
) -> str:
    """Why so many are to be ordered and by when, and what happens if they are not; or that none are.

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
    today
        Day on which it is told.
    next_order_here
        When an order of the next look usually arrives.
    """
    demand = words.wanted_for_visits(line.quantity, last)
    if line.spare:
        demand += words.and_to_spare(line.spare, level, expected)
    sentences = [words.to_order(demand, line.in_stock, line.on_order, line.short)]
    first = first_order_day(today)
    if line.short and line.order_by is not None and line.order_by < first:
        sentences.append(words.order_is_late(first, (first - line.order_by).days, is_today=first == today))
    if line.short and line.chance_of_running_out is not None:
        sentences.append(words.if_not_ordered(line.chance_of_running_out, next_order_here))
    return " ".join(sentences)
