"""A van's load for a round: what goes in from the store, what comes back, and the one call that books both."""

import hashlib
import json
from collections import Counter, defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import asdict, dataclass
from datetime import datetime
from typing import Any, Final

from django.db import transaction

from accounts.errors import Conflict, NotAllowed
from accounts.kept_answers import KeptAnswers
from accounts.models import Membership
from accounts.services import record
from accounts.services.companies import lock_company
from scheduling.models import Need, Plan, Round, StockLevel, StockMovement
from scheduling.planning.stock.lots import Lot
from scheduling.planning.stock.spares import spares_worth_carrying
from scheduling.services.needs.costs import all_exhausted_by
from scheduling.services.needs.reading import with_dates
from scheduling.services.policy import read_policy
from scheduling.services.stock.allocation import Allocation
from scheduling.services.stock.counting import rows_of_load
from scheduling.services.stock.ledger import STORE, Ledger, van_or_store
from scheduling.services.stock.lots import read_lots, stored_lots
from scheduling.services.stock.parts import write_parts_lists
from scheduling.services.stock.supplies import STORE as STORE_KEY
from scheduling.services.stock.supplies import place_of, van_key
from scheduling.services.words import stock as words

#: Minutes to fetch a spare from its shelf, and to put it back; common practice, no source.
_HANDLING_MINUTES: Final = 2.0


@dataclass(frozen=True, slots=True)
class LoadLine:
    """Pieces of one item that go into the van, or come back to the store.

    Attributes
    ----------
    item, code, name
        Of the catalogue.
    shelf
        Where in the store it lies; empty: nobody has said.
    pieces
        How many are moved.
    spare
        Of these, how many no visit plans for.
    expired
        Of these, how many may not be used any more.
    sentence
        Why.
    """

    item: int
    code: str
    name: str
    shelf: str
    pieces: int
    sentence: str
    spare: int = 0
    expired: int = 0


@dataclass(frozen=True, slots=True)
class VanLoad:
    """What is moved between the store and the van of a round, by shelf and code.

    Attributes
    ----------
    to_van
        Out of the store and into the van.
    to_store
        Out of the van and into the store.
    """

    round: Round
    to_van: Sequence[LoadLine]
    to_store: Sequence[LoadLine]

    @property
    def version(self) -> str:
        """A mark of what it says: another one, and something has changed."""
        said = [[asdict(line) for line in lines] for lines in (self.to_van, self.to_store)]
        return hashlib.sha256(json.dumps(said, sort_keys=True).encode()).hexdigest()[:16]


def van_load(*, day: Round, now: datetime) -> VanLoad:
    """Work out what is moved before a round, as things stand now.

    Into the van go the pieces of the store that its visits get, and spares for cartridges on the way that may turn out
    to be exhausted, where a second trip would cost more than carrying them. Back come pieces that visits of other vans
    count on, and what has expired. Nothing that another visit counts on is taken for a spare.
    """
    today = day.plan.company.day_at(now)
    about = ("van load", day.pk, day.plan_id, day.installer_id, day.day, today)
    kept = KeptAnswers(about, lambda: rows_of_load(day.plan.company, day.plan))
    lines = kept.of(["lines"], lambda names, at: {"lines": _lines(_Load(day, now).load())})["lines"]
    return VanLoad(day, *lines)


def _lines(load: VanLoad) -> tuple[Sequence[LoadLine], Sequence[LoadLine]]:
    return load.to_van, load.to_store


def load_van(*, day: Round, version: str, by: Membership, now: datetime) -> list[StockMovement]:
    """Book all of a van's load as moved, all or nothing.

    Parameters
    ----------
    day
        The round.
    version
        The mark of the load that was carried out.

    Returns
    -------
    The transfers.

    Raises
    ------
    NotAllowed
        When an installer loads the van of somebody else.
    Conflict
        When the round is not published or its day has gone by; when the load has changed since it was read.
    """
    if by.role == Membership.Role.INSTALLER and day.installer.membership_id != by.pk:
        raise NotAllowed("van_of_another", "Installers load their own van; leave this one to the office.")
    company = day.plan.company
    with transaction.atomic():
        lock_company(company.pk)
        if day.plan.state != Plan.State.PUBLISHED or day.day < company.day_at(now):
            raise Conflict("round_is_not_ahead", "Only a published round of today or later is loaded for.")
        load = van_load(day=day, now=now)
        if load.version != version:
            raise Conflict(
                "load_has_changed",
                "The load is not the one that was read any more; read it again and carry out what it says now.",
                pointer="/version",
            )
        movements = _book(load, by, now)
        moved = {way: {line.code: line.pieces for line in getattr(load, way)} for way in ("to_van", "to_store")}
        record(by=by, action="load van", subject=day, details=moved, now=now)
        write_parts_lists(plan=day.plan, now=now)
    return movements


def _book(load: VanLoad, by: Membership, now: datetime) -> list[StockMovement]:
    day = load.round
    items = {line.item for line in [*load.to_van, *load.to_store]}
    ledger = Ledger(company=day.plan.company_id, by=by, now=now, items=items)
    van, today = van_or_store(day.installer), day.plan.company.day_at(now)
    movements = []
    # what comes back first, so that expired pieces are out before others come in
    for line, source, destination in [
        *((line, van, STORE) for line in load.to_store),
        *((line, STORE, van) for line in load.to_van),
    ]:
        level = ledger.level(line.item, source)
        lots = read_lots(level.lots) if level is not None and line.expired else Counter[Lot]()
        movements.append(
            ledger.move(
                item=line.item,
                kind=StockMovement.Kind.TRANSFER,
                pieces=line.pieces,
                source=source,
                destination=destination,
                happened_at=now,
                reason=words.loaded_for(day.day),
                lots=stored_lots({lot: pieces for lot, pieces in lots.items() if lot.is_expired_on(today)}),
            )
        )
    return movements


class _Load:
    def __init__(self, day: Round, now: datetime) -> None:
        self.day, self.company = day, day.plan.company
        self.today = self.company.day_at(now)
        self.allocation = Allocation(company=self.company, today=self.today, plan=day.plan)
        self.supplies, self.items = self.allocation.supplies, self.allocation.catalogue.items
        self.policy = read_policy(company=self.company).planning
        self.van = van_key(day.installer_id)
        self.stops = {pk for pk, round_ in self.allocation.round_of.items() if round_.pk == day.pk}
        levels = StockLevel.objects.of_company(self.company)
        self.lies_on = dict(levels.filter(installer=None).values_list("item", "shelf"))
        self.levels = {str(level.item_id): level for level in levels.filter(installer=day.installer)}
        self.given_out: Counter[tuple[str, str]] = Counter()
        self.own: Counter[str] = Counter()
        self.foreign: Counter[str] = Counter()
        for (visit, item), shares in self.allocation.shares.items():
            round_ = self.allocation.round_of.get(int(visit))
            driver = round_.installer_id if round_ is not None else self.allocation.visits[int(visit)].installer_id
            for share in shares:
                place = place_of(share.supply)
                self.given_out[place, item] += share.quantity
                if place == STORE_KEY and int(visit) in self.stops:
                    self.own[item] += share.quantity
                elif place == self.van and driver not in (None, day.installer_id):
                    self.foreign[item] += share.quantity

    def load(self) -> VanLoad:
        wanted = self._spares()
        to_van = []
        aboard = self.supplies.vans.get(self.day.installer_id, Counter[str]())
        for item in self.own.keys() | wanted.keys():
            free_aboard = aboard[item] - self.given_out[self.van, item]
            free_in_store = self.supplies.store[item] - self.given_out[STORE_KEY, item]
            spare = max(min(wanted[item] - free_aboard, free_in_store), 0)
            if self.own[item] + spare:
                sentence = words.for_the_van(self.own[item], spare)
                to_van.append(self._line(item, self.own[item] + spare, sentence, spare=spare))
        to_store = []
        for item, level in self.levels.items():
            expired = sum(n for lot, n in read_lots(level.lots).items() if lot.is_expired_on(self.today))
            if self.foreign[item] + expired:
                sentence = words.for_the_store(self.foreign[item], expired)
                to_store.append(self._line(item, self.foreign[item] + expired, sentence, expired=expired))
        return VanLoad(self.day, _in_walking_order(to_van), _in_walking_order(to_store))

    def _line(self, item: str, pieces: int, sentence: str, **more: Any) -> LoadLine:
        row = self.items[item]
        return LoadLine(row.pk, row.code, row.name, self.lies_on.get(row.pk, ""), pieces, sentence, **more)

    def _spares(self) -> Counter[str]:
        """Pieces of each item worth carrying for cartridges on the way that no visit plans to replace."""
        visits = [visit for pk, visit in self.allocation.visits.items() if pk in self.stops]
        again = self.policy.visit_cost + self.policy.removal_minutes * self.policy.working_cost_per_minute
        costs: Mapping[int, float] = {visit.site_id: again + visit.travel_cost for visit in visits}
        planned = {need.pk for visit in self.allocation.visits.values() for need in visit.needs}
        needs = Need.objects.of_company(self.company).filter(
            state=Need.State.OPEN, kind=Need.Kind.REPLACE, item__isnull=False, site__in=costs
        )
        chances: dict[str, list[tuple[float, float]]] = defaultdict(list)
        not_planned = list(with_dates(needs.exclude(pk__in=planned)).order_by("pk"))
        by_then = all_exhausted_by(not_planned, today=self.today, day=self.day.day)
        for need, probability in zip(not_planned, by_then, strict=True):
            if probability:
                chances[str(need.item_id)].append((probability, costs[need.site_id]))
        carrying = _HANDLING_MINUTES * self.policy.working_cost_per_minute
        spares: Counter[str] = Counter()
        for item, trips_made in chances.items():
            probabilities, trips = zip(*trips_made, strict=True)
            # where a minute costs nothing, nor does carrying: every piece that may be wanted is carried
            spares[item] = (
                spares_worth_carrying(probabilities, second_trip_costs=trips, carrying_cost=carrying)
                if carrying > 0.0
                else len(trips_made)
            )
        return spares


def _in_walking_order(lines: Sequence[LoadLine]) -> list[LoadLine]:
    """As one walks along the shelves; what has none comes last."""
    return sorted(lines, key=lambda line: (not line.shelf, line.shelf, line.code))
