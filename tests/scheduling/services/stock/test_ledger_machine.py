"""Whatever is told of the stock, in whatever order, the ledger holds.

Counts, transfers, work, leftovers, receipts and all that is taken back, told late and in the wrong order, against a
plain list of facts. `LEDGER_EVENTS=10000 pytest tests/scheduling/services/stock/test_ledger_machine.py -n 0` goes on
for so many events.
"""

import os
from collections import Counter
from collections.abc import Callable
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Any

import pytest
from django.db import transaction
from hypothesis import HealthCheck, settings
from hypothesis import strategies as st
from hypothesis.stateful import (
    RuleBasedStateMachine,
    initialize,
    invariant,
    precondition,
    rule,
    run_state_machine_as_test,
)

from accounts.errors import Conflict, InvalidInput
from accounts.models import Membership
from scheduling.models import ServiceRecord, StockLevel, StockMovement
from scheduling.planning.stock.lots import UNKNOWN_LOT, brought_to
from scheduling.services.stock.ledger import Ledger, differing_totals, van_or_store
from scheduling.services.stock.lots import STORE, lots_of_item, read_lots
from scheduling.services.stock.movements import move_stock, void_movement
from scheduling.services.stock.stock import count_stock, give_back, put_into_stock, take_from_stock
from tests.scheduling.town import NOW, Town

EVENTS_OF_ONE_STORY = 50
EVENTS = int(os.environ.get("LEDGER_EVENTS", "300"))

PIECES = st.integers(1, 9)
LATE = st.sampled_from([0, 0, 0, 1, 2, 5])
VAN = st.booleans()
LOT = st.sampled_from(
    [
        {"lot": "", "expires_on": None},
        {"lot": "A", "expires_on": "2026-03-03"},
        {"lot": "B", "expires_on": "2026-03-20"},
        {"lot": "C", "expires_on": None},
    ]
)


@dataclass
class Fact:
    """What is known of one place: a count, or pieces that came (or went, below zero)."""

    at: datetime
    rank: int
    is_count: bool
    pieces: int
    row: int
    holds: bool = True


class Stockroom(RuleBasedStateMachine):
    """One item, the store and one van. Facts are kept by place; each says how many were there, or moved."""

    town_of: Callable[[], tuple[Town, Membership]]

    def __init__(self) -> None:
        super().__init__()
        # every story begins with an empty ledger, and takes back all it wrote
        self.story = transaction.atomic()
        self.story.__enter__()

    def teardown(self) -> None:
        transaction.set_rollback(True)
        self.story.__exit__(None, None, None)

    @initialize()
    def begin(self) -> None:
        self.town, self.by = type(self).town_of()
        self.item, self.van, self.site = self.town.item("resin"), self.town.installer("Ada"), self.town.site()
        self.facts: dict[bool, list[Fact]] = {True: [], False: []}
        # places where pieces were used that no count knew of: how many there are is not known until the next count
        self.doubtful: set[bool] = set()
        self.records: list[ServiceRecord] = []
        self.hour = 0

    def at(self, late: int = 0) -> datetime:
        return NOW + timedelta(hours=self.hour - late)

    def installer(self, van: bool) -> Any:
        return self.van if van else None

    def note(self, van: bool, at: datetime, pieces: int, row: int, *, is_count: bool = False) -> None:
        facts = self.facts[van]
        facts.append(Fact(at, row, is_count, pieces, row))

    def newest(self) -> int:
        pk: int = StockMovement.objects.order_by("pk").values_list("pk", flat=True).last() or 0
        return pk

    def level(self, van: bool) -> int:
        row = StockLevel.objects.filter(item=self.item, installer=self.installer(van)).first()
        return row.quantity if row is not None else 0

    def expected(self, van: bool) -> int | None:
        """What there must be by the last count in force and what moved after it; None: nobody has counted it."""
        facts = sorted((fact for fact in self.facts[van] if fact.holds), key=lambda fact: (fact.at, fact.rank))
        counts = [number for number, fact in enumerate(facts) if fact.is_count]
        if not counts:
            return None
        last = counts[-1]
        return facts[last].pieces + sum(fact.pieces for fact in facts[last + 1 :])

    @rule(quantity=st.integers(0, 20), late=LATE, van=VAN, lot=LOT)
    def count(self, quantity: int, late: int, van: bool, lot: dict[str, Any]) -> None:
        self.hour += 1
        at = self.at(late)
        later_counts = [fact for fact in self.facts[van] if fact.holds and fact.is_count and fact.at > at]
        try:
            count_stock(
                by=self.by,
                item=self.item,
                quantity=quantity,
                installer=self.installer(van),
                counted_at=at,
                lots=[{**lot, "quantity": (quantity + 1) // 2}] if quantity and any(lot.values()) else (),
                now=self.at(),
            )
        except Conflict:
            assert later_counts
            return
        assert not later_counts
        self.note(van, at, quantity, self.newest(), is_count=True)
        self.doubtful.discard(van)

    @rule(pieces=PIECES, late=LATE)
    def work(self, pieces: int, late: int) -> None:
        self.hour += 1
        record = self.record(late)
        before = self.newest()
        with transaction.atomic():
            (row,) = take_from_stock(
                service_record=record, quantity_of={self.item: pieces}, installer=self.van, by=self.by, now=self.at()
            )
        assert row["from_van"] + row["from_store"] + row["uncounted"] == pieces
        for movement in StockMovement.objects.filter(pk__gt=before):
            van = movement.from_place == "van"
            self.note(van, record.done_at, -row["from_van" if van else "from_store"], movement.pk)
        if row["uncounted"]:
            self.doubtful |= {True, False}

    @rule(pieces=PIECES, late=LATE)
    def leave_over(self, pieces: int, late: int) -> None:
        self.hour += 1
        known = StockLevel.objects.filter(installer=self.van).exists()
        record = self.record(late)
        with transaction.atomic():
            put_into_stock(
                service_record=record, quantity_of={self.item: pieces}, installer=self.van, by=self.by, now=self.at()
            )
        self.note(True, record.done_at, pieces if known else 0, self.newest())

    @rule(pieces=PIECES, van=VAN)
    def bring_back(self, pieces: int, van: bool) -> None:
        self.move("return", pieces, 0, comes=van)

    @rule(pieces=PIECES, van=VAN, late=LATE)
    def carry(self, pieces: int, van: bool, late: int) -> None:
        self.move("transfer", pieces, late, leaves=van, comes=not van)

    @rule(pieces=PIECES, van=VAN, late=LATE)
    def scrap(self, pieces: int, van: bool, late: int) -> None:
        self.move("scrap", pieces, late, leaves=van)

    @rule(pieces=PIECES, lot=LOT)
    def receive(self, pieces: int, lot: dict[str, Any]) -> None:
        self.hour += 1
        with transaction.atomic():
            ledger = Ledger(company=self.town.company, by=self.by, now=self.at(), items=[self.item.pk])
            row = ledger.move(
                item=self.item.pk,
                kind="receipt",
                pieces=pieces,
                destination=van_or_store(None),
                happened_at=self.at(),
                lots=[{**lot, "quantity": pieces}] if any(lot.values()) else [],
            )
        self.note(False, self.at(), pieces, row.pk)

    def move(self, kind: str, pieces: int, late: int, *, leaves: bool | None = None, comes: bool | None = None) -> None:
        self.hour += 1
        before = {van: self.level(van) for van in (True, False)}
        try:
            row = move_stock(
                by=self.by,
                item=self.item,
                kind=kind,
                pieces=pieces,
                reason="told so",
                now=self.at(),
                happened_at=self.at(late),
                from_installer=self.installer(bool(leaves)),
                to_installer=self.installer(bool(comes)),
            )
        except InvalidInput:
            # refused: nothing may have changed, and there was a reason
            assert before == {van: self.level(van) for van in (True, False)}
            assert late or (leaves is not None and before[leaves] < pieces)
            return
        for van, sign in ((leaves, -1), (comes, 1)):
            if van is not None:
                assert self.level(van) == before[van] + sign * pieces
                self.note(van, self.at(late), sign * pieces, row.pk)

    @precondition(lambda self: any(fact.holds for facts in self.facts.values() for fact in facts))
    @rule(data=st.data())
    def take_back(self, data: st.DataObject) -> None:
        self.hour += 1
        rows = sorted({fact.row for facts in self.facts.values() for fact in facts if fact.holds})
        row = StockMovement.objects.get(pk=data.draw(st.sampled_from(rows)))
        code = ""
        try:
            void_movement(movement=row, by=self.by, reason="a slip of the pen", now=self.at())
        except Conflict as error:
            code = error.code
        assert code in ("", "pieces_are_gone") if row.service_record_id is None else code == "follows_from_work"
        if not code:
            self.strike({row.pk})

    @precondition(lambda self: self.records)
    @rule(data=st.data())
    def give_back(self, data: st.DataObject) -> None:
        self.hour += 1
        record = self.records.pop(data.draw(st.integers(0, len(self.records) - 1)))
        with transaction.atomic():
            reversals = give_back(service_record=record, by=self.by, reason="another visit", now=self.at())
        self.strike({row.reversal_of_id for row in reversals if row.reversal_of_id})
        if any(row.uncounted and row.to_place == "outside" for row in reversals):
            self.doubtful.add(True)

    def strike(self, rows: set[int]) -> None:
        for facts in self.facts.values():
            for fact in facts:
                fact.holds = fact.holds and fact.row not in rows

    def record(self, late: int) -> ServiceRecord:
        row: ServiceRecord = ServiceRecord.objects.create(
            company=self.town.company,
            site=self.site,
            reference=f"r{self.hour}",
            done_at=self.at(late),
            received_at=self.at(),
        )
        self.records.append(row)
        return row

    @invariant()
    def the_totals_are_the_sum_of_the_ledger(self) -> None:
        if hasattr(self, "town"):
            assert differing_totals(self.town.company) == {}
            assert not StockLevel.objects.filter(quantity__lt=0).exists()

    @invariant()
    def the_lots_at_hand_are_those_of_the_rows(self) -> None:
        if not hasattr(self, "town"):
            return
        by_place = lots_of_item(company=self.town.company, item=self.item.pk)
        for level in StockLevel.objects.all():
            lots = read_lots(level.lots)
            assert lots.total() <= level.quantity
            place = level.installer_id if level.installer_id is not None else STORE
            assert lots == +Counter(
                {lot: n for lot, n in brought_to(by_place.get(place, {}), level.quantity).items() if lot != UNKNOWN_LOT}
            )

    @invariant()
    def what_is_there_is_what_was_counted_and_moved_since(self) -> None:
        for van in (True, False):
            expected = self.expected(van) if hasattr(self, "town") else None
            if expected is None:
                continue
            if expected < 0:
                # more was used than was ever there
                self.doubtful.add(van)
            if van not in self.doubtful:
                assert self.level(van) == expected


@pytest.mark.django_db
@pytest.mark.served
def test_no_order_of_telling_loses_a_piece(town: Town, office: Membership) -> None:
    Stockroom.town_of = staticmethod(lambda: (town, office))  # type: ignore[method-assign,assignment]
    town.item("resin")
    how_long = settings(
        max_examples=max(EVENTS // EVENTS_OF_ONE_STORY, 1),
        stateful_step_count=EVENTS_OF_ONE_STORY,
        deadline=None,
        suppress_health_check=list(HealthCheck),
    )
    run_state_machine_as_test(Stockroom, settings=how_long)
