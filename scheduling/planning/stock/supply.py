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
    usable_until
        Last day they can be used; None: they keep.
    """

    key: str
    quantity: int
    usable_from: datetime.date | None = None
    van: str = ""
    usable_until: datetime.date | None = None

    def __post_init__(self) -> None:
        if self.quantity < 0:
            raise PlanningError(f"supply {self.key}.quantity", f"must be at least 0, not {self.quantity!r}.")

    def is_there_on(self, day: datetime.date) -> bool:
        """Whether the pieces can be used on the day."""
        return (self.usable_from is None or self.usable_from <= day) and self.keeps_until(day)

    def keeps_until(self, day: datetime.date) -> bool:
        """Whether the pieces will not have expired by the day."""
        return self.usable_until is None or day <= self.usable_until

    @property
    def order(self) -> tuple[datetime.date, datetime.date, str]:
        """Sorting key: what expires first, first; of that, what can be used first."""
        return self.usable_until or datetime.date.max, self.usable_from or datetime.date.min, self.key


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
    weekly_cost
        What a week without the pieces costs, in money: of two of one rank and day, the dearer is served first.
    """

    key: str
    quantity: int
    day: datetime.date
    rank: int = 0
    van: str = ""
    weekly_cost: float = 0.0

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

    In turn, each time by rank, then by day, and on one day the one first for whom waiting is dearest:

    1. a round takes what lies in its own van, unless another would then go short whom nothing else can serve in time,
    2. what is still wanting is met from the store and from deliveries that come in time; as many pieces are met as
       can be, the lower ranks first, and the earlier the day the earlier the piece it gets; what expires first goes
       first,
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
    turn = sorted(demands, key=lambda d: (d.rank, d.day, -d.weekly_cost, d.key))
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

    for demand, own_van, pieces in _from_own_vans(turn, supplies):
        wanting[demand.key] -= pieces
        unallocated[own_van.key] -= pieces
        shares.append(Share(demand.key, own_van.key, pieces))
    met = _met_in_time(turn, wanting, store, unallocated)
    for demand in sorted(turn, key=lambda d: (d.day, d.rank, -d.weekly_cost, d.key)):
        short = wanting[demand.key] - met[demand.key]
        wanting[demand.key] = met[demand.key]
        give(demand, store, lambda s, d=demand: s.is_there_on(d.day))  # type: ignore[misc]
        wanting[demand.key] += short
    for demand in turn:
        give(demand, vans, lambda s, d=demand: s.is_there_on(d.day))  # type: ignore[misc]
    for demand in turn:
        give(demand, store, lambda s, d=demand: s.keeps_until(d.day), late=True)  # type: ignore[misc]
    return shares


def _from_own_vans(turn: Sequence[Demand], supplies: Sequence[Supply]) -> list[tuple[Demand, Supply, int]]:
    """What rounds take from their own vans; as many pieces are met in time, rank by rank, as without that wish."""
    every = sorted(supplies, key=lambda s: s.order)
    in_vans = [s for s in every if s.van and s.quantity]
    wishes = [(d, s) for d in turn if d.quantity for s in in_vans if s.van == d.van and s.is_there_on(d.day)]
    if not wishes:
        return []

    def met_by_rank(taken: Sequence[tuple[Demand, Supply, int]]) -> Counter[int]:
        wanting, unallocated = _remaining(turn, every, taken)
        met: Counter[int] = Counter()
        for demand, _, pieces in taken:
            met[demand.rank] += pieces
        of_rest = _met_in_time(turn, wanting, every, unallocated)
        for demand in turn:
            met[demand.rank] += of_rest[demand.key]
        return met

    def take(*, guarded: bool) -> list[tuple[Demand, Supply, int]]:
        taken: list[tuple[Demand, Supply, int]] = []
        wanting, unallocated = _remaining(turn, every, taken)
        for demand, supply in wishes:
            pieces = min(wanting[demand.key], unallocated[supply.key])
            while guarded and pieces and met_by_rank([*taken, (demand, supply, pieces)]) != most:
                pieces -= 1
            if pieces:
                taken.append((demand, supply, pieces))
                wanting[demand.key] -= pieces
                unallocated[supply.key] -= pieces
        return taken

    most = met_by_rank([])
    taken = take(guarded=False)
    return taken if met_by_rank(taken) == most else take(guarded=True)


def _remaining(
    turn: Sequence[Demand], supplies: Sequence[Supply], taken: Sequence[tuple[Demand, Supply, int]]
) -> tuple[Counter[str], Counter[str]]:
    """What demands still want, and what is left of supplies, by key."""
    wanting = Counter({d.key: d.quantity for d in turn})
    unallocated = Counter({s.key: s.quantity for s in supplies})
    for demand, supply, pieces in taken:
        wanting[demand.key] -= pieces
        unallocated[supply.key] -= pieces
    return wanting, unallocated


def _met_in_time(
    turn: Sequence[Demand], wanting: Counter[str], store: Sequence[Supply], pieces_left: Counter[str]
) -> Counter[str]:
    """How many pieces each demand can have from the supplies by its day.

    Taking the piece that comes last of those in time leaves the others to earlier days, so that a demand that is met
    never costs two that could have been. What is found can then be handed out in the order of the days.
    """
    if any(supply.usable_until is not None for supply in store):
        return _met_before_expiry(turn, wanting, store, pieces_left)
    unallocated = Counter(pieces_left)
    met: Counter[str] = Counter()
    for demand in turn:
        for supply in reversed(store):
            if not supply.is_there_on(demand.day):
                continue
            pieces = min(wanting[demand.key] - met[demand.key], unallocated[supply.key])
            met[demand.key] += pieces
            unallocated[supply.key] -= pieces
    return met


def _met_before_expiry(
    turn: Sequence[Demand], wanting: Counter[str], store: Sequence[Supply], pieces_left: Counter[str]
) -> Counter[str]:
    """The same where pieces expire: a demand gets as many as leave all that went before it whole.

    Sets of demands that can be met together are the independent sets of a matroid, so that going by rank and keeping
    what still fits finds most of the lowest rank, then of the next. Whether a set fits is tried in the order of the
    days, each taking what expires first, which finds a way where there is one (Glover 1967, Naval Research Logistics
    Quarterly 14:313-316, from memory).
    """
    by_day = sorted((d for d in turn if wanting[d.key]), key=lambda d: d.day)
    first_to_expire = sorted(store, key=lambda s: s.order)

    def fits(wanted: Counter[str]) -> bool:
        unallocated = Counter(pieces_left)
        for demand in by_day:
            missing = wanted[demand.key]
            for supply in first_to_expire:
                if missing and supply.is_there_on(demand.day):
                    pieces = min(missing, unallocated[supply.key])
                    unallocated[supply.key] -= pieces
                    missing -= pieces
            if missing:
                return False
        return True

    if fits(wanting):
        return Counter(wanting)
    met: Counter[str] = Counter()
    for demand in turn:
        met[demand.key] = next(n for n in range(wanting[demand.key], -1, -1) if fits(met | Counter({demand.key: n})))
    return met
