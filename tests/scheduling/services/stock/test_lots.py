"""Lots that expire: used first expired first, told when they are expired, and no supply of any visit then."""

from datetime import date, datetime, timedelta
from typing import Any

import pytest
from django.db import transaction

from accounts.errors import InvalidInput
from accounts.models import Membership
from scheduling.models import Installer, ServiceRecord, StockLevel, StockMovement, Visit
from scheduling.services.stock.allocation import Allocation
from scheduling.services.stock.availability import available
from scheduling.services.stock.movements import move_stock, void_movement
from scheduling.services.stock.parts import write_parts_lists
from scheduling.services.stock.stock import count_stock, give_back, take_from_stock
from scheduling.services.stock.supplies import read_supplies
from tests.scheduling.night import run_night
from tests.scheduling.town import NOW, TODAY, Town

pytestmark = pytest.mark.django_db

SOON, LATER = TODAY + timedelta(days=5), TODAY + timedelta(days=300)


def lot(quantity: int, code: str, expires_on: date | None = None) -> dict[str, Any]:
    return {"lot": code, "expires_on": expires_on.isoformat() if expires_on is not None else None, "quantity": quantity}


@pytest.fixture
def by(office: Membership) -> Membership:
    return office


def count(town: Town, by: Membership, quantity: int, *lots: dict[str, Any], **more: Any) -> StockLevel:
    return count_stock(by=by, item=town.item("resin"), quantity=quantity, lots=lots, **{"now": NOW, **more})


def work(town: Town, by: Membership, pieces: int, at: datetime = NOW, van: Installer | None = None) -> ServiceRecord:
    with transaction.atomic():
        row: ServiceRecord = ServiceRecord.objects.create(
            company=town.company,
            site=town.site(),
            reference=f"r{ServiceRecord.objects.count()}",
            done_at=at,
            received_at=at,
        )
        take_from_stock(service_record=row, quantity_of={town.item("resin"): pieces}, installer=van, by=by, now=at)
    return row


def in_store() -> list[dict[str, Any]]:
    lots: list[dict[str, Any]] = StockLevel.objects.get(installer=None).lots
    return lots


def test_work_takes_what_expires_first_and_giving_it_back_brings_it_back(town: Town, by: Membership) -> None:
    counted = [lot(2, "R2", LATER), lot(2, "R1", SOON), lot(1, "K")]
    count(town, by, 6, *counted)
    assert in_store() == [counted[1], counted[0], counted[2]]
    done = work(town, by, 3, NOW + timedelta(hours=1))
    assert in_store() == [lot(1, "R2", LATER), lot(1, "K")]
    with transaction.atomic():
        give_back(service_record=done, by=by, now=NOW + timedelta(hours=2), reason="another visit")
    assert in_store() == [counted[1], counted[0], counted[2]]


def test_work_that_is_told_late_takes_what_was_there_then(town: Town, by: Membership) -> None:
    count(town, by, 1, lot(1, "R2", LATER))
    move_stock(
        by=by, item=town.item("resin"), kind="return", pieces=1, lot="R1", reason="over", now=NOW + timedelta(hours=2)
    )
    work(town, by, 1, NOW + timedelta(hours=1))
    assert in_store() == [lot(1, "R1")]


def test_pieces_take_their_lots_to_the_van_and_a_named_lot_goes_first(town: Town, by: Membership) -> None:
    ada = town.installer("Ada")
    count(town, by, 4, lot(2, "R1", SOON), lot(2, "R2", LATER))
    facts: dict[str, Any] = {"by": by, "item": town.item("resin"), "kind": "transfer", "to_installer": ada, "now": NOW}
    row = move_stock(pieces=1, lot="R2", reason="Tuesday", **facts)
    move_stock(pieces=2, reason="Tuesday", **facts)
    assert StockLevel.objects.get(installer=ada).lots == [lot(2, "R1", SOON), lot(1, "R2", LATER)]
    assert in_store() == [lot(1, "R2", LATER)]
    void_movement(movement=row, by=by, reason="stayed", now=NOW)
    assert StockLevel.objects.get(installer=ada).lots == [lot(2, "R1", SOON)]
    assert in_store() == [lot(2, "R2", LATER)]


def test_a_count_without_lots_keeps_what_is_known_of_them(town: Town, by: Membership) -> None:
    count(town, by, 4, lot(2, "R1", SOON), lot(2, "R2", LATER))
    count(town, by, 3)
    assert in_store() == [lot(1, "R1", SOON), lot(2, "R2", LATER)]
    newest = StockMovement.objects.order_by("pk").last()
    count(town, by, 5, lot(5, "R3"))
    assert in_store() == [lot(5, "R3")]
    void_movement(movement=StockMovement.objects.order_by("pk").last(), by=by, reason="misread", now=NOW)
    void_movement(movement=newest, by=by, reason="misread", now=NOW)
    assert in_store() == [lot(2, "R1", SOON), lot(2, "R2", LATER)]


@pytest.mark.parametrize(
    ("lots", "pointer", "said"),
    [
        (
            [lot(3, "R1"), lot(2, "R2")],
            "/lots",
            "the lots have 5 pieces together, and there are 4; give at most so many.",
        ),
        ([lot(1, "R1"), lot(1, "")], "/lots/1", "a lot has a code or a day on which it expires; give lot, expires_on"),
    ],
)
def test_lots_that_cannot_be_are_refused(
    town: Town, by: Membership, lots: list[dict[str, Any]], pointer: str, said: str
) -> None:
    with pytest.raises(InvalidInput) as refused:
        count(town, by, 4, *lots)
    (fault,) = refused.value.faults
    assert fault.pointer == pointer
    assert fault.sentence.startswith(said)
    assert not StockLevel.objects.exists()


def test_what_is_expired_is_no_supply_and_is_told(town: Town, by: Membership) -> None:
    ada, item = town.installer("Ada"), town.item("resin")
    count(town, by, 4, lot(2, "R1", SOON), lot(1, "R2", LATER))
    count(town, by, 1, lot(1, "R1", SOON), installer=ada)

    def there(today: date) -> tuple[Any, ...]:
        supplies = read_supplies(company=town.company, today=today)
        pieces = {s.key: (s.quantity, s.usable_until) for s in supplies.of(str(item.pk))}
        return supplies.at_hand(str(item.pk)), supplies.expired[str(item.pk)], pieces

    keys = {f"store until {SOON}": (2, SOON), f"store until {LATER}": (1, LATER), "store": (1, None)}
    assert there(SOON) == (5, 0, {**keys, f"van:{ada.pk} until {SOON}": (1, SOON)})
    assert there(SOON + timedelta(days=1)) == (2, 3, {f"store until {LATER}": (1, LATER), "store": (1, None)})
    (row,) = available(company=town.company, now=NOW + timedelta(days=7))
    assert (row.store, row.vans, row.on_hand, row.expired, row.free) == (2, 0, 2, 3, 2)


def test_a_visit_after_the_last_day_does_not_get_the_piece_and_the_list_asks_for_another(
    town: Town, by: Membership
) -> None:
    ada, item = town.installer("Ada"), town.item("carbon")
    plan = run_night(town, sites=1)
    visit = Visit.objects.get()
    day = TODAY + timedelta(days=3)
    for last_day, pieces in ((day, 1), (day - timedelta(days=1), 0)):
        row = lot(1, "C1", last_day)
        count_stock(by=by, item=item, quantity=1, lots=[row], now=NOW)
        Visit.objects.update(state="confirmed", installer=ada, appointment_at=NOW + timedelta(days=3))
        allocation = Allocation(company=town.company, today=TODAY)
        assert sum(share.quantity for share in allocation.shares[str(visit.pk), str(item.pk)]) == pieces
    count_stock(by=by, item=item, quantity=1, lots=[lot(1, "C1", TODAY - timedelta(days=1))], now=NOW)
    write_parts_lists(plan=plan, now=NOW)
    short = {row.scope: row.lines.get(item=item).short for row in plan.parts_lists.order_by("pk")}
    assert short
    assert all(short.values()), short
