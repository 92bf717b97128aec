"""The ledger of stock: what is on hand is the sum of its rows, whatever order they are told in."""

from datetime import datetime, timedelta
from typing import Any

import pytest
from django.db import transaction

from accounts.errors import Conflict
from accounts.models import Membership
from fleet.models import CatalogueItem
from scheduling.models import Installer, ServiceRecord, StockLevel, StockMovement
from scheduling.services.stock.ledger import Ledger, differing_totals, on_hand, van_or_store
from scheduling.services.stock.stock import (
    count_stock,
    forget_level,
    give_back,
    put_into_stock,
    take_from_stock,
)
from tests.scheduling.town import NOW, Town

pytestmark = pytest.mark.django_db

HOUR = timedelta(hours=1)


class Stockroom:
    """One item, the store and a van, and an hour that goes on with everything that is told."""

    def __init__(self, town: Town, office: Membership) -> None:
        self.town, self.by = town, office
        self.item: CatalogueItem = town.item("resin")
        self.van: Installer = town.installer("Ada")
        self.now = NOW
        self.site = town.site()

    def at(self, hours: float) -> datetime:
        return NOW + hours * HOUR

    def count(self, quantity: int, at: float, *, van: bool = False) -> StockMovement:
        self.now = max(self.now, self.at(at))
        installer = self.van if van else None
        count_stock(
            by=self.by, item=self.item, quantity=quantity, installer=installer, counted_at=self.at(at), now=self.now
        )
        return self.newest()

    @transaction.atomic
    def work(self, pieces: int, at: float, *, leftover: int = 0) -> ServiceRecord:
        self.now = max(self.now, self.at(at))
        row = ServiceRecord.objects.create(
            company=self.town.company,
            site=self.site,
            reference=f"r{ServiceRecord.objects.count()}",
            done_at=self.at(at),
            received_at=self.now,
        )
        facts: dict[str, Any] = {"service_record": row, "installer": self.van, "by": self.by, "now": self.now}
        row.parts = take_from_stock(quantity_of={self.item: pieces} if pieces else {}, **facts)
        put_into_stock(quantity_of={self.item: leftover} if leftover else {}, **facts)
        return row

    def ledger(self) -> Ledger:
        return Ledger(company=self.town.company, by=self.by, now=self.now, items=[self.item.pk])

    @transaction.atomic
    def bring(self, pieces: int, at: float, *, van: bool = False) -> StockMovement:
        self.now = max(self.now, self.at(at))
        place = van_or_store(self.van if van else None)
        return self.ledger().move(
            item=self.item.pk, kind="return", pieces=pieces, destination=place, happened_at=self.at(at)
        )

    @transaction.atomic
    def void(self, row: StockMovement) -> StockMovement:
        return self.ledger().reverse(row, reason="a slip of the pen")

    def newest(self) -> StockMovement:
        row: StockMovement = StockMovement.objects.order_by("pk").last()
        return row

    def pieces(self) -> tuple[int | None, int | None]:
        """In the store and in the van; None: not known. The ledger says the same as the totals."""
        assert differing_totals(self.town.company) == {}
        quantities = dict(StockLevel.objects.values_list("installer", "quantity"))
        return quantities.get(None), quantities.get(self.van.pk)


@pytest.fixture
def room(town: Town, office: Membership) -> Stockroom:
    return Stockroom(town, office)


def test_a_count_writes_its_difference(room: Stockroom) -> None:
    rows = [room.count(quantity, at) for at, quantity in enumerate([7, 4, 4, 9])]
    assert [(row.pieces, row.put, row.taken, row.counted) for row in rows] == [
        (7, 7, 0, 7),
        (3, 0, 3, 4),
        (0, 0, 0, 4),
        (5, 5, 0, 9),
    ]
    assert room.pieces() == (9, None)
    assert on_hand(room.town.company) == {(room.item.pk, None): 9}


def test_what_work_moved_after_a_count_that_is_told_late_still_counts(room: Stockroom) -> None:
    room.count(10, 0, van=True)
    room.work(3, 2)
    room.count(8, 1, van=True)
    assert room.pieces() == (None, 5)


def test_an_older_count_does_not_take_the_place_of_a_newer_one(room: Stockroom) -> None:
    room.count(10, 2)
    with pytest.raises(Conflict, match="counted again"):
        room.count(3, 1)
    assert room.pieces() == (10, None)


def test_work_before_a_count_is_in_it_already_until_the_count_is_void(room: Stockroom) -> None:
    room.count(10, 0, van=True)
    count = room.count(4, 2, van=True)
    row = room.work(3, 1)
    assert row.parts[0]["from_van"] == 3
    assert (room.newest().pieces, room.newest().taken) == (3, 0)
    assert room.pieces() == (None, 4)
    room.void(count)
    assert room.pieces() == (None, 7)


def test_work_takes_from_the_van_then_the_store_and_what_nobody_counted_is_noted(room: Stockroom) -> None:
    room.count(2, 0, van=True)
    room.count(1, 0)
    row = room.work(5, 1)
    assert row.parts == [{"item": room.item.pk, "quantity": 5, "from_van": 2, "from_store": 1, "uncounted": 2}]
    rows = StockMovement.objects.filter(service_record=row).order_by("pk")
    assert [(r.from_place, r.pieces, r.taken, r.uncounted) for r in rows] == [("van", 4, 2, 2), ("store", 1, 1, 0)]
    assert room.pieces() == (0, 0)


def test_the_store_that_was_counted_since_is_not_lowered_for_what_the_van_lacked(room: Stockroom) -> None:
    room.count(1, 0, van=True)
    room.count(6, 2)
    row = room.work(3, 1)
    assert row.parts[0] == {"item": room.item.pk, "quantity": 3, "from_van": 1, "from_store": 2, "uncounted": 0}
    assert room.pieces() == (6, 0)


def test_pieces_of_an_item_that_nobody_counted_leave_it_unknown(room: Stockroom) -> None:
    row = room.work(2, 1, leftover=1)
    assert row.parts[0]["uncounted"] == 2
    assert room.pieces() == (None, None)
    give_back(service_record=row, by=room.by, now=room.now, reason="another visit")
    assert room.pieces() == (None, None)


def test_what_work_took_is_given_back_once(room: Stockroom) -> None:
    room.count(2, 0, van=True)
    room.count(5, 0)
    row = room.work(4, 1, leftover=1)
    assert room.pieces() == (3, 1)
    reversals = give_back(service_record=row, by=room.by, now=room.at(5), reason="another item was fitted")
    assert room.pieces() == (5, 2)
    assert {r.reason for r in reversals} == {"another item was fitted"}
    assert {r.reversal_of.service_record_id for r in reversals if r.reversal_of} == {row.pk}
    assert len(reversals) == 3
    assert give_back(service_record=row, by=room.by, now=room.at(6), reason="again") == []
    assert room.pieces() == (5, 2)


def test_what_was_counted_after_the_work_is_not_given_back_a_second_time(room: Stockroom) -> None:
    room.count(5, 0, van=True)
    row = room.work(2, 1)
    room.count(3, 2, van=True)
    give_back(service_record=row, by=room.by, now=room.at(3), reason="never done")
    assert room.pieces() == (None, 3)


def test_leftovers_that_were_used_since_are_given_back_as_far_as_they_are_there(room: Stockroom) -> None:
    room.count(0, 0, van=True)
    row = room.work(0, 1, leftover=3)
    room.work(2, 2)
    assert room.pieces() == (None, 1)
    (reversal,) = give_back(service_record=row, by=room.by, now=room.at(3), reason="nothing was left over")
    assert (reversal.pieces, reversal.taken, reversal.uncounted) == (3, 1, 2)
    assert room.pieces() == (None, 0)


def test_a_void_count_leaves_what_the_count_before_and_everything_since_say(room: Stockroom) -> None:
    room.count(10, 0)
    room.bring(2, 1)
    wrong = room.count(100, 2)
    room.bring(3, 3)
    reversal = room.void(wrong)
    assert (reversal.reversal_of_id, reversal.taken) == (wrong.pk, 88)
    assert room.pieces() == (15, None)


def test_counts_can_be_void_in_any_order(room: Stockroom) -> None:
    first, second, third = [room.count(quantity, at) for at, quantity in enumerate([10, 20, 30])]
    room.void(second)
    assert room.pieces() == (30, None)
    room.void(third)
    assert room.pieces() == (10, None)
    room.void(first)
    assert room.pieces() == (None, None)


def test_what_came_into_a_place_that_nobody_counted_is_void_with_what_is_known_of_it(room: Stockroom) -> None:
    row = room.bring(3, 1, van=True)
    assert room.pieces() == (None, 3)
    room.void(row)
    assert room.pieces() == (None, None)


def test_what_is_gone_cannot_be_taken_back(room: Stockroom) -> None:
    room.count(0, 0, van=True)
    row = room.bring(3, 1, van=True)
    room.work(2, 2)
    with pytest.raises(Conflict, match="only 1 are there"):
        room.void(row)
    assert room.pieces() == (None, 1)


def test_a_reversal_is_not_reversed_and_nothing_is_void_twice(room: Stockroom) -> None:
    row = room.bring(3, 1)
    reversal = room.void(row)
    for one in (row, reversal):
        with pytest.raises(Conflict):
            room.void(one)
    assert room.pieces() == (None, None)


def test_an_item_that_is_no_longer_kept_is_not_known_until_that_is_void(room: Stockroom) -> None:
    room.count(6, 0)
    forget_level(level=StockLevel.objects.get(), by=room.by, now=room.at(1))
    assert room.pieces() == (None, None)
    room.now = room.at(2)
    room.void(room.newest())
    assert room.pieces() == (6, None)


def test_a_row_is_never_changed(room: Stockroom) -> None:
    row = room.count(6, 0)
    row.pieces = 5
    with pytest.raises(TypeError, match="reversal"):
        row.save()
    row.refresh_from_db()
    assert row.pieces == 6


def test_pieces_left_over_in_a_van_stay_when_what_first_came_into_it_is_void(room: Stockroom) -> None:
    came = room.bring(4, 1, van=True)
    room.work(0, 2, leftover=5)
    assert room.pieces() == (None, 9)
    room.void(came)
    assert room.pieces() == (None, 5)
