"""Purchase orders from the shortfall to the shelf, and what they change of later lists."""

from datetime import date, timedelta
from decimal import Decimal
from typing import Any

import pytest

from accounts.errors import Conflict, InvalidInput
from accounts.models import AuditEntry, Membership
from fleet.models import Supplier
from scheduling.models import (
    Delivery,
    PartsLine,
    PartsList,
    Plan,
    PurchaseOrder,
    PurchaseOrderLine,
    StockLevel,
    Stop,
    Visit,
)
from scheduling.planning.stock.deliveries import expected_arrival, order_by
from scheduling.services.orders.deliveries import DeliveredPieces, receive_order, void_delivery
from scheduling.services.orders.drafts import Drafted, draft_orders, top_up
from scheduling.services.orders.late import late_deliveries
from scheduling.services.orders.orders import (
    LEGAL_MOVES,
    LineRequest,
    cancel_order,
    create_order,
    edit_order,
    expect_order,
    place_order,
)
from scheduling.services.stock.lead_times import LeadTimes
from scheduling.services.stock.ledger import differing_totals
from scheduling.services.stock.movements import move_stock
from scheduling.services.stock.parts import write_parts_lists
from scheduling.services.stock.unplanned import unplanned_use
from tests import factories
from tests.scheduling.night import run_night
from tests.scheduling.town import NOW, TODAY, Town

State = PurchaseOrder.State


@pytest.fixture
def supplier(town: Town) -> Supplier:
    """Carbons come from it, four to a pack, seven days from order to store."""
    company_supplier: Supplier = factories.SupplierFactory(company=town.company, name="Brine and Sons")
    item = town.item("carbon")
    item.supplier, item.supplier_part_number = company_supplier, "B-17"
    item.save()
    return company_supplier


@pytest.fixture
def plan(town: Town, supplier: Supplier) -> Plan:
    """Six carbons wanted, one there: counted after the plan was made, so that no visit waited for its parts."""
    town.installer("Ada")
    night_plan = run_night(town, sites=6)
    town.stock(town.item("carbon"), 1)
    return night_plan


def _draft(town: Town, office: Membership, **more: object) -> Drafted:
    return draft_orders(company=town.company, by=office, now=NOW, **more)


def _weeks(town: Town) -> PartsLine:
    return PartsLine.objects.get(parts_list__scope="period", parts_list__last_day=TODAY + timedelta(days=55))


def test_a_draft_covers_the_shortfall_in_packs_and_says_why(town: Town, office: Membership, plan: Plan) -> None:
    drafted = _draft(town, office)
    (order,) = drafted.orders
    line = order.lines.get()
    assert (order.number, order.state, order.parts_list) == (1, State.DRAFT, drafted.parts_list)
    assert (line.item, line.packs, line.pack_size, line.quantity) == (town.item("carbon"), 2, 4, 8)
    assert (line.price, line.cost, line.supplier_part_number) == (Decimal("24.00"), Decimal("192.00"), "B-17")
    assert line.order_by is not None
    assert line.order_by < line.needed_by
    # five of the six visits lack their carbon, each named with its site and day
    assert sum(row["pieces"] for row in line.wanted_for) == 5
    stops = {stop.visit_id: stop for stop in Stop.objects.select_related("round", "visit__site")}
    for row in line.wanted_for:
        stop = stops[row["visit"]]
        assert (row["day"], row["site_code"]) == (stop.round.day.isoformat(), stop.visit.site.code)
    late = (TODAY - order_by(line.needed_by, 7)).days
    assert line.sentence == (
        "6 for visits until Sun 26 Apr 2026. 1 in stock and 0 on order leave 5 to order. "
        f"Order today, late by {late} days. If none is ordered now, it runs out with more than 99 % probability before "
        "the next order could be here, about Mon 16 Mar 2026."
    )


def test_drafting_twice_changes_nothing(town: Town, office: Membership, plan: Plan) -> None:
    _draft(town, office)
    before = [list(model.objects.values()) for model in (PurchaseOrder, PurchaseOrderLine, AuditEntry, PartsList)]
    _draft(town, office)
    assert [list(m.objects.values()) for m in (PurchaseOrder, PurchaseOrderLine, AuditEntry, PartsList)] == before


def test_a_draft_follows_the_list_but_keeps_what_a_person_changed(town: Town, office: Membership, plan: Plan) -> None:
    (order,) = _draft(town, office).orders
    StockLevel.objects.update(quantity=3)
    _draft(town, office)
    assert order.lines.get().packs == 1
    edit_order(order=order, by=office, now=NOW, lines=[LineRequest(town.item("carbon"), 5, Decimal("20.00"))])
    StockLevel.objects.update(quantity=0)
    _draft(town, office)
    line = order.lines.get()
    assert (line.packs, line.suggested_packs, line.price) == (5, 2, Decimal("20.00"))
    StockLevel.objects.update(quantity=9)
    _draft(town, office)
    line.refresh_from_db()
    assert (line.packs, line.suggested_packs) == (5, 0)


def test_a_draft_that_nothing_is_left_of_is_cancelled(town: Town, office: Membership, plan: Plan) -> None:
    (order,) = _draft(town, office).orders
    StockLevel.objects.update(quantity=9)
    assert _draft(town, office).orders == []
    order.refresh_from_db()
    assert order.state == State.CANCELLED


def test_only_what_must_go_out_by_a_day_is_drafted(town: Town, office: Membership, plan: Plan) -> None:
    line = _draft(town, office).orders[0].lines.get()
    assert _draft(town, office, until=line.order_by - timedelta(days=1)).orders == []
    assert _draft(town, office, until=line.order_by).orders != []


def test_what_can_wait_comes_along_until_the_minimum_order_is_reached(
    town: Town, office: Membership, plan: Plan, supplier: Supplier
) -> None:
    """Carbons are due, membranes and sediment filters later, the first of them suffices for the minimum order."""
    _draft(town, office)
    weeks = _weeks(town)
    later = {}
    for days, code in ((20, "sediment"), (30, "membrane")):
        item = town.item(code)
        item.supplier = supplier
        item.save()
        item.refresh_from_db()
        later[code] = PartsLine(
            parts_list=weeks.parts_list, item=item, packs_to_order=1, order_by=TODAY + timedelta(days=days), quantity=1
        )
    carbon = PartsLine(parts_list=weeks.parts_list, item=weeks.item, packs_to_order=2, order_by=TODAY)
    for least, codes in ((0, {"carbon"}), (192, {"carbon"}), (193, {"carbon", "sediment"}), (9999, {"carbon", *later})):
        supplier.minimum_order_value = Decimal(least)
        for line in (carbon, *later.values()):
            line.item.supplier = supplier
            line.sentence = "Wanted."
        lines = {carbon.item_id: carbon}
        top_up(lines, list(later.values()), currency="EUR")
        assert {line.item.code.split("-")[0] for line in lines.values()} == codes
        for line in lines.values():
            along = f" Ordered along to reach the minimum order of Brine and Sons, {least}.00 EUR."
            assert line.sentence == "Wanted." + (along if line is not carbon else "")


def test_only_what_cannot_wait_is_drafted(town: Town, office: Membership, plan: Plan) -> None:
    """Of six carbons one is there; all are wanted before an order of the next Monday could be here."""
    (order,) = _draft(town, office, only_now=True).orders
    weeks = _weeks(town)
    assert order.lines.get().packs == weeks.packs_now > 0
    assert weeks.chance_of_running_out == 1.0
    StockLevel.objects.update(quantity=40)
    assert _draft(town, office, only_now=True).orders == []
    weeks = _weeks(town)
    assert (weeks.packs_now, weeks.chance_of_running_out) == (0, 0.0)


def test_what_is_used_without_a_plan_is_counted_on(town: Town, office: Membership, plan: Plan) -> None:
    """Nine carbons in a year at no visit; while the ledger is young, nobody can tell a rate."""
    item = town.item("carbon")
    before = _draft(town, office).parts_list.lines.get(item=item).short

    def use(number: int, **more: object) -> None:
        factories.StockMovementFactory(
            item=item,
            kind="work",
            from_place="store",
            to_place="outside",
            happened_at=NOW - timedelta(days=40 * number + 30),
            service_record=factories.ServiceRecordFactory(company=town.company, reference=f"r{number}", visit=None),
            **more,
        )

    use(0, pieces=1)
    assert unplanned_use(company=town.company, now=NOW) == {}
    for number in range(1, 9):
        use(number, pieces=1)
    assert unplanned_use(company=town.company, now=NOW) == {str(item.pk): pytest.approx(9 / 350)}
    assert _draft(town, office).parts_list.lines.get(item=item).short > before


def test_what_no_supplier_is_named_for_is_told(town: Town, office: Membership, plan: Plan, supplier: Supplier) -> None:
    supplier.is_active = False
    supplier.save()
    drafted = _draft(town, office)
    assert drafted.orders == []
    assert [line.item for line in drafted.without_supplier] == [town.item("carbon")]


def test_there_must_be_a_list_for_days_to_come(town: Town, office: Membership, plan: Plan) -> None:
    visits = PartsList.objects.filter(scope="visit").first()
    with pytest.raises(InvalidInput, match="is for a visit"):
        _draft(town, office, parts_list=visits)
    with pytest.raises(Conflict, match="Its days ended"):
        draft_orders(
            company=town.company,
            by=office,
            now=NOW + timedelta(days=90),
            parts_list=PartsList.objects.filter(scope="period").first(),
        )
    PartsList.objects.all().delete()
    with pytest.raises(Conflict, match="no parts list for days to come"):
        _draft(town, office)


def test_what_is_placed_is_not_ordered_again_and_what_comes_is_in_store(
    town: Town, office: Membership, plan: Plan
) -> None:
    (order,) = _draft(town, office).orders
    place_order(order=order, by=office, now=NOW, supplier_reference="X-1")
    line = order.lines.get()
    # seven days from Monday 2 March
    assert line.expected_on == date(2026, 3, 9)
    assert _draft(town, office).orders == []
    weeks = _weeks(town)
    assert (weeks.in_stock, weeks.on_order, weeks.short, weeks.packs_to_order) == (1, 8, 0, 0)

    later = NOW + timedelta(days=7)
    _, is_new = receive_order(
        order=order,
        by=office,
        reference="N-1",
        pieces=[DeliveredPieces(line.pk, 2, "L1"), DeliveredPieces(line.pk, 1, "L2")],
        now=later,
    )
    assert is_new
    order.refresh_from_db()
    assert (order.state, StockLevel.objects.get().quantity) == (State.PARTLY_RECEIVED, 4)
    # the same report again, from a clerk who pressed twice
    _, is_new = receive_order(
        order=order,
        by=office,
        reference="N-1",
        pieces=[DeliveredPieces(line.pk, 2, "L1"), DeliveredPieces(line.pk, 1, "L2")],
        now=later,
    )
    assert not is_new
    assert (StockLevel.objects.get().quantity, Delivery.objects.count()) == (4, 1)
    # the same in another order of rows; another number, lot, note or day is another delivery
    swapped = [DeliveredPieces(line.pk, 1, "L2"), DeliveredPieces(line.pk, 2, "L1")]
    assert not receive_order(order=order, by=office, reference="N-1", pieces=swapped, now=later + timedelta(days=1))[1]
    for change, pointer, both in (
        (
            {"pieces": [DeliveredPieces(line.pk, 3, "L1")]},
            "/pieces",
            f"line {line.pk}: 2 of lot L1, line {line.pk}: 1 of lot L2",
        ),
        ({"note": "a box was wet"}, "/note", "without note, and 'a box was wet' was sent"),
        ({"received_on": NOW.date()}, "/received_on", f"{later.date()}, not {NOW.date()}"),
    ):
        with pytest.raises(Conflict, match="another delivery") as refused:
            receive_order(
                **{"order": order, "by": office, "reference": "N-1", "pieces": swapped, "now": later, **change}
            )
        assert [fault.pointer for fault in refused.value.faults] == [pointer]
        assert both in refused.value.faults[0].sentence
    assert (StockLevel.objects.get().quantity, Delivery.objects.count()) == (4, 1)
    receive_order(order=order, by=office, reference="N-2", pieces=[DeliveredPieces(line.pk, 5)], now=later)
    order.refresh_from_db()
    assert (order.state, order.closed_at, StockLevel.objects.get().quantity) == (State.RECEIVED, later, 9)
    assert [piece["lot"] for piece in Delivery.objects.get(reference="N-1").pieces] == ["L1", "L2"]
    write_parts_lists(plan=plan, now=NOW)
    assert (_weeks(town).in_stock, _weeks(town).on_order) == (9, 0)
    entries = AuditEntry.objects.filter(subject_kind="purchaseorder").order_by("pk").values_list("action", flat=True)
    assert list(entries) == ["draft order", "follow parts list", "place order", "receive order", "receive order"]


def test_a_delivery_that_was_booked_wrongly_is_taken_back_and_booked_again(
    town: Town, office: Membership, plan: Plan
) -> None:
    (order,) = _draft(town, office).orders
    place_order(order=order, by=office, now=NOW)
    line = order.lines.get()
    there = StockLevel.objects.get().quantity
    facts: dict[str, Any] = {"order": order, "by": office, "now": NOW}
    first, _ = receive_order(reference="N-1", pieces=[DeliveredPieces(line.pk, 2)], **facts)
    wrong, _ = receive_order(reference="N-2", pieces=[DeliveredPieces(line.pk, line.quantity - 2)], **facts)
    void_delivery(delivery=wrong, reason="one crate, not three", **facts)
    order.refresh_from_db()
    line.refresh_from_db()
    assert (order.state, order.closed_at, line.received) == (State.PARTLY_RECEIVED, None, 2)
    assert StockLevel.objects.get().quantity == there + 2
    assert differing_totals(town.company) == {}
    with pytest.raises(Conflict, match="void already"):
        void_delivery(delivery=wrong, reason="again", **facts)
    again, is_new = receive_order(reference="N-2", pieces=[DeliveredPieces(line.pk, 1)], **facts)
    assert is_new
    wrong.refresh_from_db()
    assert (wrong.void_reason, wrong.voided_by, again.voided_at) == ("one crate, not three", office, None)
    for one in (again, first):
        void_delivery(delivery=one, reason="never came", **facts)
    order.refresh_from_db()
    assert (order.state, StockLevel.objects.get().quantity) == (State.PLACED, there)
    # what never came teaches nothing about how long things take
    assert not LeadTimes(company=town.company, today=TODAY).delays


def test_a_delivery_whose_pieces_are_gone_is_not_taken_back(town: Town, office: Membership, plan: Plan) -> None:
    (order,) = _draft(town, office).orders
    place_order(order=order, by=office, now=NOW)
    line = order.lines.get()
    delivery, _ = receive_order(
        order=order, by=office, reference="N-1", pieces=[DeliveredPieces(line.pk, line.quantity)], now=NOW
    )
    there = StockLevel.objects.get().quantity
    move_stock(by=office, item=line.item, kind="scrap", pieces=there - 1, reason="frozen", now=NOW)
    with pytest.raises(Conflict, match="only 1 are there"):
        void_delivery(order=order, delivery=delivery, by=office, reason="never came", now=NOW)
    delivery.refresh_from_db()
    order.refresh_from_db()
    assert (delivery.voided_at, order.state, StockLevel.objects.get().quantity) == (None, State.RECEIVED, 1)


def test_what_was_cancelled_is_ordered_again_without_what_had_come(town: Town, office: Membership, plan: Plan) -> None:
    (order,) = _draft(town, office).orders
    place_order(order=order, by=office, now=NOW)
    receive_order(order=order, by=office, reference="N-1", pieces=[DeliveredPieces(order.lines.get().pk, 2)], now=NOW)
    cancel_order(order=order, by=office, note="no more of these this year", now=NOW)
    (again,) = _draft(town, office).orders
    assert again.number == 2
    # six wanted, three there: one pack of four
    assert again.lines.get().packs == 1


def test_an_item_nobody_counted_counts_from_its_first_delivery_on(
    town: Town, office: Membership, supplier: Supplier
) -> None:
    order = create_order(supplier=supplier, by=office, lines=[LineRequest(town.item("sediment"), 1)], now=NOW)
    place_order(order=order, by=office, now=NOW)
    receive_order(order=order, by=office, reference="N", pieces=[DeliveredPieces(order.lines.get().pk, 4)], now=NOW)
    level = StockLevel.objects.get()
    assert (level.item, level.installer, level.quantity, level.counted_at) == (town.item("sediment"), None, 4, NOW)


def test_bought_elsewhere_an_item_takes_as_long_as_that_supplier_says(
    town: Town, office: Membership, supplier: Supplier
) -> None:
    """The carbon's own seven days hold for its usual supplier."""
    other = factories.SupplierFactory(company=town.company, lead_time_days=3, closed_weekdays=[])
    order = create_order(supplier=other, by=office, lines=[LineRequest(town.item("carbon"), 1)], now=NOW)
    place_order(order=order, by=office, now=NOW)
    line = order.lines.get()
    assert (line.expected_on, line.supplier_part_number) == (TODAY + timedelta(days=3), "")


def test_less_than_the_suppliers_least_goes_out_only_when_a_person_says_so(
    town: Town, office: Membership, supplier: Supplier
) -> None:
    supplier.minimum_order_value = Decimal("100.00")
    supplier.save()
    order = create_order(supplier=supplier, by=office, lines=[LineRequest(town.item("carbon"), 1)], now=NOW)
    with pytest.raises(Conflict, match=r"worth 96\.00 EUR; Brine and Sons asks for at least 100\.00"):
        place_order(order=order, by=office, now=NOW)
    assert place_order(order=order, by=office, now=NOW, below_minimum_order_value=True).state == State.PLACED


def test_one_draft_a_supplier(town: Town, office: Membership, supplier: Supplier) -> None:
    create_order(supplier=supplier, by=office, lines=[LineRequest(town.item("carbon"), 1)], now=NOW)
    with pytest.raises(Conflict, match="Order 1 to Brine and Sons is still a draft"):
        create_order(supplier=supplier, by=office, lines=[], now=NOW)


def test_an_empty_order_does_not_go_out(town: Town, office: Membership, supplier: Supplier) -> None:
    order = create_order(supplier=supplier, by=office, lines=[], now=NOW)
    with pytest.raises(Conflict, match="has no line"):
        place_order(order=order, by=office, now=NOW)


@pytest.mark.parametrize("state", State.values)
def test_only_the_moves_of_the_table_are_legal(town: Town, office: Membership, supplier: Supplier, state: str) -> None:
    order = factories.PurchaseOrderFactory(company=town.company, supplier=supplier, state=state, placed_on=TODAY)
    line = factories.PurchaseOrderLineFactory(order=order, expected_on=TODAY)
    moves = {
        State.PLACED: lambda: place_order(order=order, by=office, now=NOW),
        State.PARTLY_RECEIVED: lambda: receive_order(
            order=order, by=office, reference="N", pieces=[DeliveredPieces(line.pk, 1)], now=NOW
        ),
        State.CANCELLED: lambda: cancel_order(order=order, by=office, note="", now=NOW),
    }
    for becomes, move in moves.items():
        PurchaseOrder.objects.filter(pk=order.pk).update(state=state)
        if becomes in LEGAL_MOVES[state]:
            move()
            assert PurchaseOrder.objects.get(pk=order.pk).state == becomes
        else:
            before = list(PurchaseOrder.objects.values()), StockLevel.objects.count(), AuditEntry.objects.count()
            with pytest.raises(Conflict):
                move()
            assert (list(PurchaseOrder.objects.values()), StockLevel.objects.count(), AuditEntry.objects.count()) == (
                before
            )
    if state != State.DRAFT:
        PurchaseOrder.objects.filter(pk=order.pk).update(state=state)
        with pytest.raises(Conflict, match="only a draft can be changed"):
            edit_order(order=order, by=office, now=NOW, note="x")


def test_a_delivery_that_cannot_be_right_stores_nothing(town: Town, office: Membership, supplier: Supplier) -> None:
    order = create_order(
        supplier=supplier,
        by=office,
        lines=[LineRequest(town.item("carbon"), 1), LineRequest(town.item("sediment"), 1)],
        now=NOW,
    )
    place_order(order=order, by=office, now=NOW)
    first, second = order.lines.order_by("pk")
    wrong = {
        "/pieces/1/quantity": {"pieces": [DeliveredPieces(second.pk, 4), DeliveredPieces(first.pk, 5)]},
        "/pieces/2/quantity": {
            "pieces": [DeliveredPieces(first.pk, 3), DeliveredPieces(second.pk, 1), DeliveredPieces(first.pk, 2)]
        },
        "/pieces/0/line": {"pieces": [DeliveredPieces(987654, 1)]},
        "/pieces/0/quantity": {"pieces": [DeliveredPieces(first.pk, 0)]},
        "/pieces": {"pieces": []},
        "/received_on": {"pieces": [DeliveredPieces(first.pk, 1)], "received_on": TODAY + timedelta(days=1)},
    }
    for pointer, values in wrong.items():
        with pytest.raises(InvalidInput) as refused:
            receive_order(order=order, by=office, reference="N", now=NOW, **values)
        assert [fault.pointer for fault in refused.value.faults] == [pointer]
    assert not StockLevel.objects.exists()
    assert not Delivery.objects.exists()
    receive_order(order=order, by=office, reference="N", pieces=[DeliveredPieces(first.pk, 1)], now=NOW)
    with pytest.raises(Conflict, match="is already used for another delivery"):
        receive_order(order=order, by=office, reference="N", pieces=[DeliveredPieces(first.pk, 2)], now=NOW)


def test_late_deliveries_name_the_visits_they_endanger(town: Town, office: Membership, plan: Plan) -> None:
    (order,) = _draft(town, office).orders
    assert late_deliveries(company=town.company, now=NOW) == []
    place_order(order=order, by=office, now=NOW)
    # expected on Monday a week on, and five visits are planned for this week
    (late,) = late_deliveries(company=town.company, now=NOW)
    assert (late.line.order, late.days_overdue, sum(one.pieces for one in late.visits)) == (order, 0, 5)
    assert {one.visit.pk for one in late.visits} < set(Visit.objects.values_list("pk", flat=True))
    expect_order(order=order, by=office, expected_on=TODAY, now=NOW)
    (late,) = late_deliveries(company=town.company, now=NOW) or [None]
    # there today, usable from tomorrow on: whoever goes today lacks it
    assert late is None or {one.day for one in late.visits} == {TODAY}

    overdue = late_deliveries(company=town.company, now=NOW + timedelta(days=3))[0]
    assert overdue.days_overdue == 3
    assert overdue.visits
    assert "were expected on Mon 2 Mar 2026, 3 days ago" in overdue.sentence
    assert f"{overdue.visits[0].visit.site_code} " in overdue.sentence
    receive_order(order=order, by=office, reference="N", pieces=[DeliveredPieces(order.lines.get().pk, 8)], now=NOW)
    assert late_deliveries(company=town.company, now=NOW + timedelta(days=3)) == []


def test_the_supplier_may_name_another_day_for_some_lines(town: Town, office: Membership, supplier: Supplier) -> None:
    order = create_order(
        supplier=supplier,
        by=office,
        lines=[LineRequest(town.item("carbon"), 1), LineRequest(town.item("sediment"), 1)],
        now=NOW,
    )
    with pytest.raises(Conflict, match="nothing is outstanding"):
        expect_order(order=order, by=office, expected_on=TODAY, now=NOW)
    place_order(order=order, by=office, now=NOW)
    first, second = order.lines.order_by("pk")
    expect_order(order=order, by=office, expected_on=TODAY + timedelta(days=30), lines=[second.pk], now=NOW)
    first.refresh_from_db()
    second.refresh_from_db()
    assert (first.expected_on, second.expected_on) == (date(2026, 3, 9), date(2026, 4, 1))
    for day in (TODAY - timedelta(days=1), TODAY + timedelta(days=800)):
        with pytest.raises(InvalidInput, match="expected_on"):
            expect_order(order=order, by=office, expected_on=day, now=NOW)
    with pytest.raises(InvalidInput) as refused:
        expect_order(order=order, by=office, expected_on=TODAY, lines=[first.pk, 987654], now=NOW)
    assert refused.value.faults[0].pointer == "/lines/1"


@pytest.mark.django_db
def test_a_supplier_that_came_late_eight_times_is_expected_late(town: Town, supplier: Supplier) -> None:
    """Two days late on average, by deliveries; seven of them say nothing yet."""
    office = factories.MembershipFactory(company=town.company, role="office")
    item = town.item("carbon")
    for number in range(8):
        placed_on = TODAY - timedelta(days=7 * (number + 2))
        line = factories.PurchaseOrderLineFactory(
            order=factories.PurchaseOrderFactory(supplier=supplier, state=State.RECEIVED, placed_on=placed_on),
            item=item,
        )
        usual = expected_arrival(placed_on, 7)
        before = LeadTimes(company=town.company, today=TODAY).of(item)
        assert (before.mean_days, before.sd_days, before.deliveries) == (7, 0.0, 0)
        factories.DeliveryFactory(
            order=line.order,
            received_on=usual + timedelta(days=1 + 2 * (number % 2)),
            pieces=[{"line": line.pk, "item": item.pk, "quantity": 2, "lot": ""}],
        )
    lead_time = LeadTimes(company=town.company, today=TODAY).of(item)
    assert (lead_time.mean_days, lead_time.deliveries) == (9.0, 8)
    assert lead_time.sd_days == pytest.approx((8 / 7) ** 0.5)
    order = create_order(supplier=supplier, by=office, lines=[LineRequest(item, 1)], now=NOW)
    placed = place_order(order=order, by=office, now=NOW)
    assert placed.lines.get().expected_on == expected_arrival(TODAY, 9)


@pytest.mark.django_db
def test_a_price_follows_the_packs_until_a_person_writes_one(town: Town, supplier: Supplier) -> None:
    office = factories.MembershipFactory(company=town.company, role="office")
    item = town.item("carbon")
    item.price, item.price_breaks = Decimal("8.00"), [{"from_packs": 10, "price": "7.00"}]
    item.save()
    order = create_order(supplier=supplier, by=office, lines=[LineRequest(item, 9)], now=NOW)
    prices = [order.lines.get().price]
    for packs, price in ((10, None), (12, Decimal("6.50")), (3, None)):
        edit_order(order=order, by=office, now=NOW, lines=[LineRequest(item, packs, price)])
        prices.append(order.lines.get().price)
    assert prices == [Decimal("8.00"), Decimal("7.00"), Decimal("6.50"), Decimal("6.50")]
