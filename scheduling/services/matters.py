"""What needs attention, as rows: one for each visit, or for each unit that no visit goes to, with all its reasons."""

from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from functools import cached_property, total_ordering
from typing import Any, Final

from accounts.models import Client
from fleet.models import Site, Unit
from scheduling.services.settling import Settle
from scheduling.services.words import attention as words

#: Most of one kind that are shown beside the other kinds, the rest page by page: common practice, no source.
MOST_MATTERS: Final = 20
#: Kinds that are not about a visit or about what it does: a reading is the client's to take, the rest the supplier's.
_BY_THEMSELVES: Final = frozenset({"unread", "late_deliveries", "expired_stock", "orders_not_sent"})


class UnitsSpokenOf:
    """The units of some reasons with their sites and clients, read together when the first of them is asked for.

    Of thousands of reasons a few hundred are shown: `expect` says which, before they are.
    """

    def __init__(self) -> None:
        self._expected: set[int] = set()
        self._read: dict[int, Unit] = {}

    def expect(self, ids: Iterable[int]) -> None:
        """Read these with the next one that is asked for."""
        self._expected.update(ids)

    def get(self, pk: int) -> Unit | None:
        """A unit; None where it has gone meanwhile."""
        if pk not in self._read:
            wanted = (self._expected | {pk}) - self._read.keys()
            self._read |= Unit.objects.select_related("site__client").in_bulk(sorted(wanted))
        return self._read.get(pk)


@dataclass(slots=True, eq=False)
class Reason:
    """Why something needs attention, and the call that settles it.

    `tells` is the sentence, or what makes it when it is asked for; `begins` is how it begins, where that is known
    before it is made. `at` and `whom` are the site and the client where
    they are not those of the unit. `cost_of_waiting` is the money that a week of waiting is expected to cost,
    `probability` that what is spoken of happens by `day`; None where nobody can say.
    """

    tells: str | Callable[[], str]
    settle: Settle
    kind: str = ""
    begins: str = ""
    unit_id: int | None = None
    units: UnitsSpokenOf | None = None
    at: Site | None = None
    whom: Client | None = None
    visit: int | None = None
    cost_of_waiting: float | None = None
    probability: float | None = None
    day: date | None = None

    @property
    def sentence(self) -> str:
        """Why it needs attention."""
        return self.tells if isinstance(self.tells, str) else self.tells()

    @property
    def title(self) -> str:
        """What its kind is called."""
        return words.title(self.kind)

    @property
    def unit(self) -> Unit | None:
        """The unit it is about; None where it is about none."""
        return self.units.get(self.unit_id) if self.unit_id is not None and self.units is not None else None

    @property
    def site(self) -> Site | None:
        """Where it is; None where it is at no site."""
        return self.at or (self.unit.site if self.unit is not None else None)

    @property
    def client(self) -> Client | None:
        """Whom it concerns; None where that is the company itself."""
        return self.whom or (self.site.client if self.site is not None else None)

    @property
    def rank(self) -> "Rank":
        """Dearest first, then surest, then soonest, then by what is said."""
        rank = (-(self.cost_of_waiting or 0.0), -(self.probability or 0.0), self.day or date.max)
        return (*rank, self.begins, _Words(self))


@total_ordering
class _Words:
    """The sentence of a reason as the last part of its rank: made only where all before it are alike."""

    def __init__(self, reason: Reason) -> None:
        self._reason = reason

    @cached_property
    def text(self) -> str:
        return self._reason.sentence

    def __eq__(self, other: Any) -> bool:
        return isinstance(other, _Words) and (other is self or self.text == other.text)

    def __hash__(self) -> int:
        return hash(self.text)

    def __lt__(self, other: "_Words") -> bool:
        return self.text < other.text


Rank = tuple[float, float, date, str, _Words]


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
    def rank(self) -> Rank:
        """Dearest first, then surest, then soonest, then by what is said."""
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
        return shown(self.matters[:MOST_MATTERS])


def shown(matters: Sequence[Matter]) -> Sequence[Matter]:
    """Some rows that are shown, whose units are read at once."""
    for reason in (reason for matter in matters for reason in matter.reasons):
        if reason.units is not None and reason.unit_id is not None:
            reason.units.expect([reason.unit_id])
    return matters


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
        reason.unit_id: reason.visit
        for _, reasons, _ in reversed(kinds)
        for reason in reversed(reasons)
        if reason.unit_id is not None and reason.visit is not None
    }
    number = 0
    for code, reasons, _ in kinds:
        for reason in reasons:
            number += 1
            unit = reason.unit_id
            visit = reason.visit or visit_of_unit.get(unit or 0)
            # who reported a fault was promised a call: that stands in the list of calls, whatever is done at the unit
            is_call_back = code == "calls" and reason.visit is None
            if code in _BY_THEMSELVES or is_call_back or (visit is None and unit is None):
                yield ("alone", number), reason
            elif visit is not None:
                yield ("visit", visit), reason
            else:
                yield ("unit", unit or 0), reason
