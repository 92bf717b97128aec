"""What needs attention, as rows: one for each visit, or for each unit that no visit goes to, with all its reasons."""

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from typing import Final

from accounts.models import Client
from fleet.models import Site, Unit
from scheduling.services.settling import Settle
from scheduling.services.words import attention as words

#: Most of one kind that are shown: common practice, no source.
MOST_MATTERS: Final = 100
#: Kinds that are not about a visit or about what it does: a reading is the client's to take, the rest the supplier's.
_BY_THEMSELVES: Final = frozenset({"unread", "late_deliveries", "expired_stock", "orders_not_sent"})


@dataclass(frozen=True, slots=True)
class Reason:
    """Why something needs attention, and the call that settles it.

    `cost_of_waiting` is the money that a week of waiting is expected to cost, `probability` that what is spoken of
    happens by `day`; None where nobody can say.
    """

    sentence: str
    settle: Settle
    kind: str = ""
    unit: Unit | None = None
    site: Site | None = None
    client: Client | None = None
    visit: int | None = None
    cost_of_waiting: float | None = None
    probability: float | None = None
    day: date | None = None

    @property
    def title(self) -> str:
        """What its kind is called."""
        return words.title(self.kind)

    @property
    def rank(self) -> tuple[float, float, date, str]:
        """Dearest first, then surest, then soonest."""
        return (-(self.cost_of_waiting or 0.0), -(self.probability or 0.0), self.day or date.max, self.sentence)


@dataclass(frozen=True, slots=True)
class Matter:
    """One row: the reasons why one visit, or one unit, needs attention, the gravest first. Never without a reason."""

    reasons: Sequence[Reason]

    @property
    def first(self) -> Reason:
        """The gravest reason, which says where the row stands and what is done first."""
        return self.reasons[0]

    @property
    def sentence(self) -> str:
        """All reasons, one after the other."""
        return " ".join(reason.sentence for reason in self.reasons)

    @property
    def settle(self) -> Settle:
        """What is done first."""
        return self.first.settle

    @property
    def unit(self) -> Unit | None:
        """The unit of the gravest reason."""
        return self.first.unit

    @property
    def site(self) -> Site | None:
        """Where it is."""
        return self.first.site

    @property
    def client(self) -> Client | None:
        """Whom it concerns."""
        return self.first.client

    @property
    def visit(self) -> int | None:
        """The visit that all of it is about."""
        return next((reason.visit for reason in self.reasons if reason.visit is not None), None)

    @property
    def cost_of_waiting(self) -> float | None:
        """What a week of waiting is expected to cost with all its reasons; None where nobody can say."""
        known = [reason.cost_of_waiting for reason in self.reasons if reason.cost_of_waiting is not None]
        return sum(known) if known else None

    @property
    def probability(self) -> float | None:
        """Of what the gravest reason says."""
        return self.first.probability

    @property
    def day(self) -> date | None:
        """By which, or on which, what the gravest reason says happens."""
        return self.first.day

    @property
    def rank(self) -> tuple[float, float, date, str]:
        """Dearest first, then surest, then soonest."""
        return (-(self.cost_of_waiting or 0.0), *self.first.rank[1:])


@dataclass(frozen=True, slots=True)
class Kind:
    """The rows whose gravest reason is of one kind.

    `counted_above` counts reasons of this kind that stand in rows of a graver one, `dealt_with` what a confirmed visit
    does already.
    """

    code: str
    title: str
    matters: Sequence[Matter]
    dealt_with: int = 0
    counted_above: int = 0

    @property
    def first(self) -> Sequence[Matter]:
        """Those that come first, as many as one looks at."""
        return self.matters[:MOST_MATTERS]


def in_rows(found: Iterable[tuple[str, Sequence[Reason], int]]) -> list[Kind]:
    """Lay the reasons for one visit, or for one unit without a visit, together.

    A row stands where its gravest reason does; what a unit wants beside what its visit does stands in the row of that
    visit, with a call of its own.

    Parameters
    ----------
    found
        Kinds, gravest first: code, reasons, and how many more are being dealt with.
    """
    kinds = [(code, sorted(reasons, key=lambda reason: reason.rank), dealt_with) for code, reasons, dealt_with in found]
    together: dict[tuple[str, int], list[Reason]] = {}
    for key, reason in _keyed(kinds):
        together.setdefault(key, []).append(reason)
    rows: dict[str, list[Matter]] = {code: [] for code, _, _ in kinds}
    for reasons in together.values():
        rows[reasons[0].kind].append(Matter(tuple(reasons)))
    return [
        Kind(
            code,
            words.title(code),
            sorted(rows[code], key=lambda row: row.rank),
            dealt_with,
            len(reasons) - sum(reason.kind == code for row in rows[code] for reason in row.reasons),
        )
        for code, reasons, dealt_with in kinds
    ]


def _keyed(kinds: Sequence[tuple[str, Sequence[Reason], int]]) -> Iterator[tuple[tuple[str, int], Reason]]:
    """Each reason with what its row is about; the rows keep the order of the kinds."""
    visit_of_unit: Mapping[int, int] = {
        reason.unit.pk: reason.visit
        for _, reasons, _ in reversed(kinds)
        for reason in reversed(reasons)
        if reason.unit is not None and reason.visit is not None
    }
    number = 0
    for code, reasons, _ in kinds:
        for reason in reasons:
            number += 1
            unit = reason.unit.pk if reason.unit is not None else None
            visit = reason.visit or visit_of_unit.get(unit or 0)
            # who reported a fault was promised a call: that stands in the list of calls, whatever is done at the unit
            is_call_back = code == "calls" and reason.visit is None
            if code in _BY_THEMSELVES or is_call_back or (visit is None and unit is None):
                yield ("alone", number), reason
            elif visit is not None:
                yield ("visit", visit), reason
            else:
                yield ("unit", unit or 0), reason
