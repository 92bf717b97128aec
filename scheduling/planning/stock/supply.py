"""Who gets which piece: what is at hand and on order, allocated by rank and by date, each piece once."""

from __future__ import annotations

import datetime
from collections import Counter
from collections.abc import Callable, Sequence
from dataclasses import dataclass

from scheduling.planning.errors import PlanningError


@dataclass(frozen=True, slots=True)
class Supply:
    """Pieces of one item in one place.

    Attributes
    ----------
    key
        Its name, unique among the supplies.
    quantity
        Pieces, at least 0.
    usable_from
        First day they can be used; None: at hand.
    van
        Van they lie in; empty: the store, which is also where deliveries go.
    """

    key: str
    quantity: int
    usable_from: datetime.date | None = None
    van: str = ""

    def __post_init__(self) -> None:
        if self.quantity < 0:
            raise PlanningError(f"supply {self.key}.quantity", f"must be at least 0, not {self.quantity!r}.")

    def is_there_on(self, day: datetime.date) -> bool:
        """Whether the pieces can be used on the day."""
        return self.usable_from is None or self.usable_from <= day

    @property
    def order(self) -> tuple[datetime.date, str]:
        """Sorting key: what can be used first, first."""
        return self.usable_from or datetime.date.min, self.key


@dataclass(frozen=True, slots=True)
class Demand:
    """Pieces of one item that one visit takes.

    Attributes
    ----------
    key
        Its name, unique among the demands.
    quantity
        Pieces, at least 0.
    day
        Day they are used.
    rank
        A lower rank is served before a higher one, whatever the days.
    van
        Van of the round it is in; empty: in no round yet.
    """

    key: str
    quantity: int
    day: datetime.date
    rank: int = 0
    van: str = ""

    def __post_init__(self) -> None:
        if self.quantity < 0:
            raise PlanningError(f"demand {self.key}.quantity", f"must be at least 0, not {self.quantity!r}.")


@dataclass(frozen=True, slots=True)
class Share:
    """Pieces of a supply that a demand gets; late when they can only be used after its day."""

    demand: str
    supply: str
    quantity: int
    is_late: bool = False


def allocate(demands: Sequence[Demand], supplies: Sequence[Supply]) -> list[Share]:
    """Give out the pieces of one item.

    In turn, each time by rank and then by day:

    1. a round takes what lies in its own van,
    2. what is still wanting is met from the store and from deliveries that come in time; as many pieces are met as
       can be, the lower ranks first, and the earlier the day the earlier the piece it gets,
    3. then from what is left in other vans,
    4. then from deliveries that come too late for the day: they are bought already, so that nobody orders them again.

    Parameters
    ----------
    demands, supplies
        Of one item; keys are unique.

    Returns
    -------
    Shares with at least one piece; what no share covers is missing.
    """
    turn = sorted(demands, key=lambda d: (d.rank, d.day, d.key))
    wanting = Counter({d.key: d.quantity for d in turn})
    unallocated = Counter({s.key: s.quantity for s in supplies})
    store = sorted((s for s in supplies if not s.van), key=lambda s: s.order)
    vans = sorted((s for s in supplies if s.van), key=lambda s: s.order)
    shares: list[Share] = []

    def give(demand: Demand, choice: Sequence[Supply], fits: Callable[[Supply], bool], *, late: bool = False) -> None:
        for supply in choice:
            pieces = min(wanting[demand.key], unallocated[supply.key])
            if pieces and fits(supply):
                wanting[demand.key] -= pieces
                unallocated[supply.key] -= pieces
                shares.append(Share(demand.key, supply.key, pieces, late))

    for demand in turn:
        if demand.van:
            give(demand, vans, lambda s, d=demand: s.van == d.van)  # type: ignore[misc]
    met = _met_in_time(turn, wanting, store)
    for demand in sorted(turn, key=lambda d: (d.day, d.rank, d.key)):
        short = wanting[demand.key] - met[demand.key]
        wanting[demand.key] = met[demand.key]
        give(demand, store, lambda s, d=demand: s.is_there_on(d.day))  # type: ignore[misc]
        wanting[demand.key] += short
    for demand in turn:
        give(demand, vans, lambda s, d=demand: s.is_there_on(d.day))  # type: ignore[misc]
    for demand in turn:
        give(demand, store, lambda s: True, late=True)
    return shares


def _met_in_time(turn: Sequence[Demand], wanting: Counter[str], store: Sequence[Supply]) -> Counter[str]:
    """How many pieces each demand can have from the store by its day.

    Taking the piece that comes last of those in time leaves the others to earlier days, so that a demand that is met
    never costs two that could have been. What is found can then be handed out in the order of the days.
    """
    unallocated = Counter({s.key: s.quantity for s in store})
    met: Counter[str] = Counter()
    for demand in turn:
        for supply in reversed(store):
            if not supply.is_there_on(demand.day):
                continue
            pieces = min(wanting[demand.key] - met[demand.key], unallocated[supply.key])
            met[demand.key] += pieces
            unallocated[supply.key] -= pieces
    return met
