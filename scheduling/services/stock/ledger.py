"""The ledger of stock: each row is written together with the running total of its place, and never again.

The order in which things are told is not the order in which they happened. A place holds what its last count found and
what moved since; what happened before that count is in it already, and changes nothing whenever it is told.
"""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from functools import cached_property
from typing import Any, Final

from django.db.models import F, Q, QuerySet, Sum
from django.db.models.functions import Coalesce

from accounts.day_alone import moment_in_words
from accounts.errors import Conflict, InvalidInput
from accounts.models import Company, Membership
from accounts.services.companies import lock_company
from scheduling.models import Installer, StockLevel, StockMovement
from scheduling.planning.stock.lots import brought_to
from scheduling.services.stock.lots import STORE as LOTS_IN_STORE
from scheduling.services.stock.lots import lots_of_item, stored_lots

Kind = StockMovement.Kind
_Where = StockMovement.Place

#: Most pieces of one item that one place holds; more is a slip of the pen.
MOST_PIECES: Final = 1_000_000


@dataclass(frozen=True, slots=True)
class Place:
    """Where pieces are: in the store, in the van of an installer (by id), or outside of what the company keeps."""

    where: str
    installer: int | None = None

    @property
    def is_outside(self) -> bool:
        """Whether nothing is kept there."""
        return self.where == _Where.OUTSIDE


OUTSIDE: Final = Place(_Where.OUTSIDE)
STORE: Final = Place(_Where.STORE)


def van_or_store(installer: Installer | int | None) -> Place:
    """The van of an installer, or the store where there is none."""
    if installer is None:
        return STORE
    return Place(_Where.VAN, installer if isinstance(installer, int) else installer.pk)


class Ledger:
    """A company's ledger, open for writing: nobody else writes in it until the transaction ends."""

    def __init__(self, *, company: Company | int, by: Membership, now: datetime, items: Iterable[int]) -> None:
        """Lock the company, then the totals of the items; inside the transaction of what moves them."""
        self.company_id = company if isinstance(company, int) else company.pk
        self.by, self.now = by, now
        lock_company(self.company_id)
        totals = StockLevel.objects.select_for_update(no_key=True).filter(company=self.company_id, item__in=list(items))
        self._levels = {(row.item_id, row.installer_id): row for row in totals.order_by("pk")}
        with_lots = StockMovement.objects.filter(company=self.company_id, item__in=list(items)).exclude(lots=[])
        self._with_lots = set(with_lots.order_by().values_list("item", flat=True).distinct())

    def level(self, item: int, place: Place) -> StockLevel | None:
        """What is on hand of an item at a place; None: nobody has counted it there, or it is outside."""
        return None if place.is_outside else self._levels.get((item, place.installer))

    def move(
        self,
        *,
        item: int,
        kind: str,
        pieces: int,
        source: Place = OUTSIDE,
        destination: Place = OUTSIDE,
        happened_at: datetime,
        uncounted: int = 0,
        begins_total: bool = True,
        **facts: Any,
    ) -> StockMovement:
        """Write that pieces went from a place to another, and what that changes on hand.

        A place that was counted after it happened knows of it already. What the source does not have was never counted.

        Parameters
        ----------
        uncounted
            Pieces, of these, that are known to come from nowhere that was counted.
        begins_total
            Whether a destination that nobody has counted counts from now on, with what came.
        facts
            Reason, lots, delivery, service record.

        Raises
        ------
        InvalidInput
            When the destination would hold more than `MOST_PIECES`.
        """
        taken = put = 0
        level = self.level(item, source)
        if not source.is_outside:
            if level is None:
                uncounted = pieces
            elif level.counted_at <= happened_at:
                taken = min(level.quantity, pieces - uncounted)
                uncounted = pieces - taken
        target = self.level(item, destination)
        if not destination.is_outside:
            if target is None and begins_total:
                target = self._begin(item, destination, happened_at)
            if target is None:
                uncounted = pieces
            elif target.counted_at <= happened_at:
                put = pieces
        if level is not None:
            self._set(level, level.quantity - taken)
        if target is not None:
            self._set(target, target.quantity + put)
        return self._write(
            item=item,
            kind=kind,
            source=source,
            destination=destination,
            pieces=pieces,
            taken=taken,
            put=put,
            uncounted=uncounted,
            happened_at=happened_at,
            **facts,
        )

    def count(
        self,
        *,
        item: int,
        place: Place,
        quantity: int,
        counted_at: datetime,
        kind: str = Kind.COUNT,
        reason: str = "",
        lots: Sequence[Mapping[str, Any]] = (),
    ) -> StockMovement:
        """Write a count and its difference to what the ledger said of that moment; what moved since still counts.

        Where it names lots, they are those that were there; else they are as they were known.

        Raises
        ------
        Conflict
            When the place was counted again after it.
        """
        last = self._last_count(item, place)
        if last is not None and last.happened_at > counted_at:
            raise Conflict(
                "counted_since",
                f"It was counted again at {moment_in_words(last.happened_at)}; void that count first, or give a later "
                "time.",
                pointer="/counted_at",
            )
        since = self._in_force(item, place).filter(happened_at__gt=counted_at)
        total = max(quantity + _net(since, place), 0)
        level = self.level(item, place) or self._begin(item, place, counted_at)
        level.counted_at = counted_at
        facts = {"counted": quantity, "happened_at": counted_at, "reason": reason, "lots": list(lots)}
        return self._set_total(level, place, total, kind=kind, **facts)

    def forget(self, *, item: int, place: Place, reason: str = "") -> StockMovement | None:
        """Write that an item is no longer kept at a place: from now on it is not known how many there are."""
        level = self.level(item, place)
        if level is None:
            return None
        row = self._set_total(
            level,
            place,
            0,
            kind=Kind.NOT_STOCKED,
            counted=0,
            happened_at=max(self.now, level.counted_at),
            reason=reason,
        )
        self._end(level)
        return row

    def reverse(self, movement: StockMovement, *, reason: str, as_found: bool = False) -> StockMovement:
        """Write the reversal of a movement: what is on hand is as if it had never been written.

        Parameters
        ----------
        reason
            Why it is taken back.
        as_found
            Take what is there, and note the rest as uncounted, where the pieces it brought have been used since.

        Raises
        ------
        Conflict
            When it is a reversal, or was reversed already; when the pieces it brought are no longer there.
        """
        if movement.reversal_of_id is not None:
            raise Conflict("is_a_reversal", "It takes back another movement; enter that one again instead.")
        if StockMovement.objects.filter(reversal_of=movement.pk).exists():
            raise Conflict("already_void", f"Movement {movement.pk} is void already.")
        facts = {
            "reversal_of": movement,
            "reason": reason,
            "delivery": movement.delivery,
            "service_record": movement.service_record,
        }
        if movement.kind in StockMovement.COUNTS:
            return self._reverse_count(movement, facts)
        back_to, back_from = _source(movement), _destination(movement)
        moved = movement.pieces - movement.uncounted
        level = self._level_that_knows(movement, back_from)
        taken = moved if level is not None else 0
        if level is not None and level.quantity < taken:
            if not as_found:
                raise Conflict(
                    "pieces_are_gone",
                    f"It brought {moved} pieces, and only {level.quantity} are there; void what took them first, "
                    "or count what is there.",
                )
            taken = level.quantity
        target = self._level_that_knows(movement, back_to)
        put = moved if target is not None else 0
        if level is not None:
            self._set(level, level.quantity - taken)
        if target is not None:
            self._set(target, target.quantity + put)
        row = self._write(
            item=movement.item_id,
            kind=movement.kind,
            source=back_from,
            destination=back_to,
            pieces=movement.pieces,
            taken=taken,
            put=put,
            uncounted=movement.pieces - taken if level is not None else movement.uncounted,
            happened_at=movement.happened_at,
            **facts,
        )
        if level is not None and level.quantity == 0 and self._derived(movement.item_id, back_from) is None:
            # The only rows that spoke of it are void: it is again not known how many there are. Pieces that were left
            # over there meanwhile stay, since they are there whoever counted first.
            self._end(level)
        return row

    def _reverse_count(self, movement: StockMovement, facts: dict[str, Any]) -> StockMovement:
        place = _destination(movement) if _source(movement).is_outside else _source(movement)
        derived = self._derived(movement.item_id, place, without=movement.pk)
        level = self.level(movement.item_id, place)
        if level is None:
            level = self._begin(movement.item_id, place, self.now)
        total, level.counted_at = derived or (0, level.counted_at)
        row = self._set_total(level, place, total, kind=movement.kind, happened_at=movement.happened_at, **facts)
        if derived is None:
            self._end(level)
        return row

    def _derived(self, item: int, place: Place, without: int = 0) -> tuple[int, datetime] | None:
        """Pieces at a place by its last count and what moved since, and since when they are known; None: not known."""
        rows = self._in_force(item, place).exclude(pk=without)
        last = self._last_count(item, place, without)
        if last is not None:
            rows = rows.filter(_after(last))
            if last.kind != Kind.NOT_STOCKED:
                assert last.counted is not None
                return max(last.counted + _net(rows, place), 0), last.happened_at
        brought = rows.filter(_into(place), kind__in=_BEGINNING).order_by("happened_at", "pk").first()
        if brought is None:
            return None
        rows = rows.filter(_after(brought) | Q(pk=brought.pk))
        return max(_net(rows, place), 0), brought.happened_at

    def _level_that_knows(self, movement: StockMovement, place: Place) -> StockLevel | None:
        """The total that a movement changed, unless the place was counted after it happened."""
        level = self.level(movement.item_id, place)
        if level is None or level.counted_at > movement.happened_at:
            return None
        last = self._last_count(movement.item_id, place)
        if last is not None and (last.happened_at, last.pk) > (movement.happened_at, movement.pk):
            return None
        return level

    def _in_force(self, item: int, place: Place) -> QuerySet[Any]:
        """Movements of an item at a place, without counts and without what is void."""
        rows = StockMovement.objects.filter(company=self.company_id, item=item)
        rows = rows.filter(_into(place) | _out_of(place), reversal_of=None, reversal=None)
        return rows.exclude(kind__in=StockMovement.COUNTS)

    def _last_count(self, item: int, place: Place, without: int = 0) -> StockMovement | None:
        rows = StockMovement.objects.filter(
            company=self.company_id, item=item, kind__in=StockMovement.COUNTS, reversal_of=None, reversal=None
        )
        rows = rows.filter(_into(place) | _out_of(place)).exclude(pk=without)
        last: StockMovement | None = rows.order_by("happened_at", "pk").last()
        return last

    def _set_total(self, level: StockLevel, place: Place, total: int, **facts: Any) -> StockMovement:
        """Bring a total to what it must be, by a row that says by how much."""
        more = total - level.quantity
        self._set(level, total)
        source, destination = (OUTSIDE, place) if more >= 0 else (place, OUTSIDE)
        return self._write(
            item=level.item_id,
            source=source,
            destination=destination,
            pieces=abs(more),
            taken=max(-more, 0),
            put=max(more, 0),
            **facts,
        )

    def _begin(self, item: int, place: Place, at: datetime) -> StockLevel:
        level = StockLevel(company_id=self.company_id, item_id=item, installer_id=place.installer, counted_at=at)
        self._levels[item, place.installer] = level
        return level

    def _end(self, level: StockLevel) -> None:
        level.delete()
        del self._levels[level.item_id, level.installer_id]

    def _set(self, level: StockLevel, quantity: int) -> None:
        if quantity > MOST_PIECES:
            where = "the store" if level.installer_id is None else "the van"
            sentence = f"{where} would hold more than {MOST_PIECES} pieces of one item; count it first."
            raise InvalidInput("too_many_pieces", sentence)
        level.quantity = quantity
        level.save()

    def _write(self, *, item: int, source: Place, destination: Place, **facts: Any) -> StockMovement:
        row: StockMovement = StockMovement.objects.create(
            company_id=self.company_id,
            item_id=item,
            from_place=source.where,
            from_installer_id=source.installer,
            to_place=destination.where,
            to_installer_id=destination.installer,
            recorded_at=self.now,
            by=self.by,
            **facts,
        )
        if row.lots:
            self._with_lots.add(item)
        if item in self._with_lots:
            self._keep_lots(item)
        return row

    def _keep_lots(self, item: int) -> None:
        """Keep at hand which lots lie where, as the rows have it and no more pieces than there are."""
        by_place = lots_of_item(company=self._company, item=item)
        for (of_item, installer), level in self._levels.items():
            if of_item != item:
                continue
            place = installer if installer is not None else LOTS_IN_STORE
            lots = stored_lots(brought_to(by_place.get(place, {}), level.quantity))
            if lots != level.lots:
                level.lots = lots
                level.save(update_fields=["lots"])

    @cached_property
    def _company(self) -> Company:
        return Company.objects.get(pk=self.company_id)


#: What makes a place that nobody has counted one that counts from now on.
_BEGINNING: Final = (Kind.RECEIPT, Kind.TRANSFER, Kind.RETURN)


def opening_of(level: StockLevel) -> StockMovement:
    """The row, not stored yet, with which the ledger begins at a place that was counted before there was one."""
    place = van_or_store(level.installer_id)
    return StockMovement(
        company_id=level.company_id,
        item_id=level.item_id,
        kind=Kind.OPENING,
        from_place=OUTSIDE.where,
        to_place=place.where,
        to_installer_id=place.installer,
        pieces=level.quantity,
        put=level.quantity,
        counted=level.quantity,
        happened_at=level.counted_at,
        recorded_at=level.counted_at,
    )


def on_hand(company: Company) -> dict[tuple[int, int | None], int]:
    """Pieces by item and installer (None: the store), summed from the ledger alone; what comes to nothing is left out.

    The totals that are kept at hand must say the same; `differing_totals` says where they do not.
    """
    pieces: dict[tuple[int, int | None], int] = {}
    rows = StockMovement.objects.of_company(company).order_by()
    for name, sign, amount in (("to", 1, "put"), ("from", -1, "taken")):
        kept = rows.exclude(**{f"{name}_place": OUTSIDE.where})
        for item, installer, total in kept.values_list("item", f"{name}_installer").annotate(total=Sum(amount)):
            pieces[item, installer] = pieces.get((item, installer), 0) + sign * total
    return {key: total for key, total in pieces.items() if total}


def differing_totals(company: Company) -> dict[tuple[int, int | None], tuple[int, int]]:
    """Items and places of which the total at hand is not the ledger's sum: total and sum; empty when all is well."""
    levels = StockLevel.objects.of_company(company).values_list("item", "installer", "quantity")
    kept: dict[tuple[int, int | None], int] = {(item, installer): quantity for item, installer, quantity in levels}
    summed = on_hand(company)
    return {
        key: (kept.get(key, 0), summed.get(key, 0))
        for key in kept.keys() | summed.keys()
        if kept.get(key, 0) != summed.get(key, 0)
    }


def _into(place: Place) -> Q:
    return Q(to_place=place.where, to_installer=place.installer)


def _out_of(place: Place) -> Q:
    return Q(from_place=place.where, from_installer=place.installer)


def _after(row: StockMovement) -> Q:
    return Q(happened_at__gt=row.happened_at) | Q(happened_at=row.happened_at, pk__gt=row.pk)


def _net(rows: QuerySet[Any], place: Place) -> int:
    """By how many pieces movements change what is at a place, whether or not a count knew of them when told."""

    def moved(where: Q) -> int:
        total: int = rows.filter(where).aggregate(total=Coalesce(Sum(F("pieces") - F("uncounted")), 0))["total"]
        return total

    return moved(_into(place)) - moved(_out_of(place))


def _source(row: StockMovement) -> Place:
    return Place(row.from_place, row.from_installer_id)


def _destination(row: StockMovement) -> Place:
    return Place(row.to_place, row.to_installer_id)
