"""Work that was done: cartridges, stock, needs and the visit follow from the report."""

from datetime import timedelta
from typing import Any

import pytest

from accounts.errors import Conflict, DomainError, InvalidInput
from accounts.models import AuditEntry, Membership
from fleet.models import CatalogueItem, Finding, Placement, Reading, Unit
from fleet.services.findings.findings import refresh_findings
from scheduling.models import Need, ServiceRecord, StockLevel, Visit
from scheduling.services.needs.needs import refresh_needs
from scheduling.services.visits.outcomes import TaskOutcome
from scheduling.services.visits.visits import cancel_visit, offer_visit, propose_visits
from scheduling.services.work.records import record_work
from scheduling.services.work.report import PartUsed, WorkDone, WorkReport
from tests import factories
from tests.scheduling.town import NOW, RO_DI_TRAIN, Town


@pytest.fixture
def unit(town: Town, installer: Membership) -> Unit:
    """A unit whose carbon is exhausted and whose lead resin is to be rotated, with a visit proposed."""
    town.installer("Ada", membership=installer)
    unit = town.unit(train=RO_DI_TRAIN)
    town.forecast(town.position(unit, "carbon"), 0)
    town.forecast(town.position(unit, "resin", "lead"), 3)
    refresh_needs(company=town.company, now=NOW)
    propose_visits(company=town.company, now=NOW)
    return unit


def _report(unit: Unit, by: Membership, work: list[WorkDone], **more: Any) -> tuple[ServiceRecord, bool]:
    now = more.pop("now", NOW + timedelta(hours=5))
    sent = {
        "site": unit.site,
        "reference": "van-1/0001",
        "done_at": NOW + timedelta(hours=4),
        "work": work,
        "visit": Visit.objects.first(),
        **more,
    }
    return record_work(report=WorkReport(**sent), by=by, now=now)


def _usual(town: Town, unit: Unit) -> list[WorkDone]:
    return [
        WorkDone("replace", unit, town.position(unit, "carbon"), removal="exhausted", serial_or_lot="L-77"),
        WorkDone("rotate", unit, town.position(unit, "resin", "lead"), removal="exhausted"),
    ]


def _everything() -> list[Any]:
    return [
        list(model.objects.order_by("pk").values()) for model in (Placement, Need, Visit, StockLevel, ServiceRecord)
    ]


def test_everything_follows_from_a_report(town: Town, unit: Unit, installer: Membership) -> None:
    ada = installer.installer
    town.small_part("o-ring", work="replace", quantity=2)
    van = town.stock(town.item("carbon"), 1, ada)
    store = town.stock(town.item("resin"), 5)
    record, is_new = _report(unit, installer, _usual(town, unit), minutes=42)
    assert is_new
    carbon = town.position(unit, "carbon").placements.get(removed_at=None)
    assert (carbon.serial_or_lot, carbon.placed_at) == ("L-77", record.done_at)
    lead = town.position(unit, "resin", "lead").placements.get(removed_at=None)
    assert lead.continues.position == town.position(unit, "resin", "lag")
    assert set(Need.objects.values_list("state", flat=True)) == {"done"}
    visit = Visit.objects.get()
    assert (visit.state, visit.closed_at) == ("done", record.done_at)
    van.refresh_from_db()
    store.refresh_from_db()
    assert (van.quantity, store.quantity) == (0, 4)
    withdrawals = {row["item"]: row for row in record.parts}
    assert withdrawals[town.item("carbon").pk]["from_van"] == 1
    assert withdrawals[town.item("resin").pk]["from_store"] == 1
    assert [row["uncounted"] for row in record.parts if row["quantity"] == 2] == [2]
    assert AuditEntry.objects.filter(action="record work").count() == 1


def test_the_same_report_again_changes_nothing(town: Town, unit: Unit, installer: Membership) -> None:
    town.stock(town.item("carbon"), 3)
    first, _ = _report(unit, installer, _usual(town, unit))
    before = _everything()
    second, is_new = _report(unit, installer, _usual(town, unit), now=NOW + timedelta(days=1))
    assert (second, is_new) == (first, False)
    assert _everything() == before


def test_a_reference_stands_for_one_report(town: Town, unit: Unit, installer: Membership) -> None:
    _report(unit, installer, _usual(town, unit))
    with pytest.raises(Conflict, match="is already used for other work") as refused:
        _report(unit, installer, [], done_at=NOW + timedelta(hours=3))
    assert [fault.pointer for fault in refused.value.faults] == ["/done_at", "/work"]
    assert "with done_at 2026-03-02 08:00:00 UTC, not 2026-03-02 07:00:00 UTC" in refused.value.faults[0].sentence


def test_a_report_sent_again_after_others_went_on_is_known(town: Town, unit: Unit, installer: Membership) -> None:
    carbon, rotate = _usual(town, unit)
    outcome = TaskOutcome(Need.objects.get(position=rotate.position), False, "Resin not on board.")
    first, _ = _report(unit, installer, [carbon], not_done=[outcome])
    other = TaskOutcome(outcome.need, False, "No time.")
    with pytest.raises(Conflict, match="other work") as refused:
        _report(unit, installer, [carbon], not_done=[other])
    assert [fault.pointer for fault in refused.value.faults] == ["/not_done"]
    both = f"with not_done need {outcome.need.pk}: Resin not on board., not need {outcome.need.pk}: No time."
    assert both in refused.value.faults[0].sentence
    _report(unit, installer, [rotate], reference="van-1/0002", follows="addition", now=NOW + timedelta(hours=8))
    assert _report(unit, installer, [carbon], not_done=[outcome], now=NOW + timedelta(days=2)) == (first, False)


def test_the_night_after_asks_for_nothing_more(town: Town, unit: Unit, installer: Membership) -> None:
    _report(unit, installer, _usual(town, unit))
    later = NOW + timedelta(days=1)
    assert refresh_needs(company=town.company, now=later).opened == 0
    assert propose_visits(company=town.company, now=later).opened == 0


def test_a_booster_pump_stands_once_it_is_fitted(town: Town, installer: Membership) -> None:
    unit = town.unit()
    town.finding(unit, "line_pressure_low")
    refresh_needs(company=town.company, now=NOW)
    _report(unit, installer, [WorkDone("fit_booster_pump", unit)], visit=None)
    unit.refresh_from_db()
    assert unit.has_booster_pump
    assert Need.objects.get().state == "done"


def test_parts_that_were_named_take_the_place_of_the_rules(town: Town, unit: Unit, installer: Membership) -> None:
    town.small_part("o-ring", work="replace", quantity=2)
    level = town.stock(town.item("carbon"), 9)
    record, _ = _report(unit, installer, _usual(town, unit), used=[PartUsed(town.item("carbon"), 2)] * 2)
    level.refresh_from_db()
    assert level.quantity == 5
    assert [row["quantity"] for row in record.parts] == [4]


def test_two_open_repairs_are_told_apart(town: Town, installer: Membership) -> None:
    unit = town.unit()
    town.finding(unit, "shutoff_valve_fault")
    town.finding(unit, "check_valve_fault")
    refresh_needs(company=town.company, now=NOW)
    with pytest.raises(InvalidInput, match="give the need, one of"):
        _report(unit, installer, [WorkDone("repair", unit)], visit=None)
    need = Need.objects.get(cause="check_valve_fault")
    _report(unit, installer, [WorkDone("repair", unit, need=need)], visit=None)
    assert set(Need.objects.values_list("cause", "state")) == {
        ("check_valve_fault", "done"),
        ("shutoff_valve_fault", "open"),
    }


@pytest.mark.parametrize(
    ("case", "pointer"),
    [
        ("future", "/done_at"),
        ("no position", "/work/0/position"),
        ("other unit's position", "/work/0/position"),
        ("other site's unit", "/work/0/unit"),
        ("no reason", "/work/0/removal"),
        ("rotate a single", "/work/0/position"),
        ("twice", "/work/1/position"),
        ("wrong item", "/work/0/item"),
        ("long before", "/done_at"),
        ("need of another kind", "/work/0/need"),
        ("serial of nothing", "/work/0/action"),
        ("no parts", "/parts/0/quantity"),
    ],
)
def test_a_report_that_cannot_be_right_changes_nothing(
    town: Town, unit: Unit, installer: Membership, case: str, pointer: str
) -> None:
    carbon, other = town.position(unit, "carbon"), town.unit()
    entry = WorkDone("replace", unit, carbon, removal="exhausted")
    more: dict[str, Any] = {}
    work = [entry]
    match case:
        case "future":
            more = {"done_at": NOW + timedelta(days=2)}
        case "no position":
            work = [WorkDone("replace", unit, removal="early")]
        case "other unit's position":
            work = [WorkDone("replace", unit, town.position(other, "carbon"), removal="early")]
        case "other site's unit":
            work = [WorkDone("inspect", other)]
        case "no reason":
            work = [WorkDone("replace", unit, carbon)]
        case "rotate a single":
            work = [WorkDone("rotate", unit, carbon)]
        case "twice":
            work = [entry, entry]
        case "wrong item":
            work = [WorkDone("replace", unit, carbon, item=town.item("membrane"), removal="early")]
        case "long before":
            more = {"done_at": NOW - timedelta(days=900)}
        case "need of another kind":
            work = [WorkDone("inspect", unit, need=Need.objects.first())]
        case "serial of nothing":
            work = [WorkDone("inspect", unit, serial_or_lot="L-1")]
        case "no parts":
            more = {"used": [PartUsed(town.item("carbon"), 0)]}
    before = _everything()
    with pytest.raises(DomainError) as error:
        _report(unit, installer, work, **more)
    assert [fault.pointer for fault in error.value.faults] == [pointer]
    assert _everything() == before


def test_work_on_a_cancelled_visit_is_recorded_without_it(town: Town, unit: Unit, installer: Membership) -> None:
    visit = Visit.objects.get()
    cancel_visit(visit=visit, by=installer, note="", now=NOW)
    with pytest.raises(Conflict, match="without it"):
        _report(unit, installer, _usual(town, unit), visit=visit)
    assert _report(unit, installer, _usual(town, unit), visit=None)[1]


def test_a_task_that_was_not_done_needs_its_reason(town: Town, unit: Unit, installer: Membership) -> None:
    carbon, rotate = _usual(town, unit)
    open_need = Need.objects.get(position=rotate.position)
    before = _everything()
    with pytest.raises(InvalidInput) as error:
        _report(unit, installer, [carbon])
    assert [fault.pointer for fault in error.value.faults] == ["/not_done"]
    assert f"need {open_need.pk}" in error.value.faults[0].sentence
    assert _everything() == before
    _report(unit, installer, [carbon], not_done=[TaskOutcome(open_need, False, "Resin not on board.")])
    open_need.refresh_from_db()
    assert open_need.state == "open"
    outcomes = {task.need_id: (task.outcome, task.outcome_reason) for task in Visit.objects.first().tasks.all()}
    assert outcomes.pop(open_need.pk) == ("not_done", "Resin not on board.")
    assert set(outcomes.values()) == {("done", "")}
    # what was left out comes in later, under a name of its own
    _report(unit, installer, [rotate], reference="van-1/0002", follows="addition", now=NOW + timedelta(hours=8))
    assert set(Visit.objects.first().tasks.values_list("outcome", flat=True)) == {"done"}


def test_readings_before_and_after_come_with_the_report(town: Town, unit: Unit, installer: Membership) -> None:
    readings = [
        {
            "unit": unit.code,
            "occasion": "as_found",
            "product_tds": "7 ppm",
            "taken_at": (NOW + timedelta(hours=3)).isoformat(),
        },
        {"unit": unit.pk, "occasion": "as_left", "product_tds": "0 ppm"},
    ]
    record, _ = _report(unit, installer, _usual(town, unit), readings=readings)
    stored = list(Reading.objects.filter(pk__in=record.readings).order_by("taken_at"))
    assert [(r.occasion, r.product_tds_mg_per_l) for r in stored] == [("as_found", 7.0), ("as_left", 0.0)]
    assert stored[1].taken_at == record.done_at
    before = Reading.objects.count()
    _report(unit, installer, _usual(town, unit), readings=readings, now=NOW + timedelta(days=1))
    assert Reading.objects.count() == before


def test_a_reading_that_cannot_be_true_stops_the_whole_report(town: Town, unit: Unit, installer: Membership) -> None:
    elsewhere = town.unit()
    before = _everything()
    readings = [{"unit": unit.pk, "inlet_pressure": "600 psi"}, {"unit": elsewhere.pk, "product_tds": "1 ppm"}, 7]
    with pytest.raises(InvalidInput) as error:
        _report(unit, installer, _usual(town, unit), readings=readings)
    pointers = [fault.pointer for fault in error.value.faults]
    assert pointers[:2] == ["/readings/0/inlet_pressure", "/readings/1/unit"]
    assert pointers[2].startswith("/readings/2")
    assert _everything() == before
    assert not Reading.objects.filter(inlet_pressure_kpa__gt=4000).exists()


def test_what_was_over_goes_into_the_van(town: Town, unit: Unit, installer: Membership) -> None:
    level = town.stock(town.item("carbon"), 4, installer.installer)
    record, _ = _report(unit, installer, _usual(town, unit), leftover=[PartUsed(town.item("carbon"), 1)])
    level.refresh_from_db()
    assert level.quantity == 4 - 1 + 1
    assert record.leftover == [{"item": town.item("carbon").pk, "quantity": 1}]


def test_a_count_made_after_the_work_knows_of_it_already(town: Town, unit: Unit, installer: Membership) -> None:
    level = town.stock(town.item("carbon"), 4, installer.installer)
    StockLevel.objects.update(counted_at=NOW + timedelta(hours=4, minutes=30))
    record, _ = _report(unit, installer, _usual(town, unit))
    level.refresh_from_db()
    assert level.quantity == 4
    assert record.parts[0]["uncounted"] == 0


def test_reports_that_arrive_in_the_wrong_order_make_the_same_history(
    town: Town, unit: Unit, installer: Membership
) -> None:
    carbon = town.position(unit, "carbon")
    first = {"done_at": NOW + timedelta(hours=1), "reference": "a"}
    second = {"done_at": NOW + timedelta(hours=3), "reference": "b"}
    work = {
        "a": [WorkDone("replace", unit, carbon, removal="exhausted", serial_or_lot="A")],
        "b": [WorkDone("replace", unit, carbon, removal="damaged", serial_or_lot="B")],
    }
    # the later one comes in first
    for one in (second, first):
        _report(unit, installer, work[one["reference"]], visit=None, **one)
    stays = list(
        carbon.placements.order_by("placed_at").values_list("serial_or_lot", "placed_at", "removed_at", "removal")
    )
    assert [(lot, placed) for lot, placed, _, _ in stays[1:]] == [("A", first["done_at"]), ("B", second["done_at"])]
    assert [(removed_at, why) for _, _, removed_at, why in stays] == [
        (first["done_at"], "exhausted"),
        (second["done_at"], "damaged"),
        (None, ""),
    ]


def test_who_saw_it_is_kept_and_when(town: Town, unit: Unit, installer: Membership) -> None:
    record, _ = _report(unit, installer, _usual(town, unit), confirmed_by="Mara Quell")
    assert (record.confirmed_by, record.confirmed_at) == ("Mara Quell", record.done_at)
    for more in ({"confirmed_at": NOW}, {"confirmed_by": "Mara", "confirmed_at": NOW + timedelta(days=3)}):
        with pytest.raises(InvalidInput, match="confirmed_at"):
            _report(unit, installer, [WorkDone("inspect", unit)], visit=None, reference="z", **more)


@pytest.mark.django_db(transaction=True)
def test_findings_follow_from_the_readings_of_the_report(town: Town, installer: Membership) -> None:
    town.installer("Ada", membership=installer)
    unit = town.unit(train=RO_DI_TRAIN)
    values = {"product_tds": "9 ppm", "permeate_tds": "9 ppm", "interstage_tds": "9 ppm", "feed_tds": "250 ppm"}
    readings = [{"unit": unit.pk, "occasion": "as_found", **values}]
    _report(unit, installer, [WorkDone("inspect", unit)], visit=None, readings=readings)
    assert Finding.objects.filter(unit=unit, state="open").exists()


@pytest.mark.django_db(transaction=True)
@pytest.mark.parametrize(
    ("seen", "action", "is_gone"),
    [("water_on_floor", "repair", True), ("water_on_floor", "inspect", False), ("unusual_noise", "inspect", True)],
)
def test_what_somebody_saw_is_gone_after_the_work_it_called_for(
    town: Town, installer: Membership, seen: str, action: str, is_gone: bool
) -> None:
    unit = town.unit(train=RO_DI_TRAIN)
    factories.ReadingFactory(
        unit=unit, taken_at=NOW - timedelta(days=3), observations={seen: True}, **dict.fromkeys(Reading.QUANTITIES)
    )
    refresh_findings(company=town.company, now=NOW)
    refresh_needs(company=town.company, now=NOW)
    cause = Finding.objects.exclude(cause="no_reading_for_weeks").get(unit=unit).cause
    _report(unit, installer, [WorkDone(action, unit)], visit=None)
    state = Finding.objects.get(unit=unit, cause=cause).state
    assert state == ("closed" if is_gone else "open")
    assert Reading.objects.filter(unit=unit, observations={seen: False}).exists() is is_gone


def test_work_that_was_done_before_the_client_answered_closes_the_offer(
    town: Town, unit: Unit, installer: Membership
) -> None:
    windows = [(NOW + timedelta(days=d, hours=6), NOW + timedelta(days=d, hours=8)) for d in (1, 2)]
    offer_visit(visit=Visit.objects.get(), by=installer, windows=windows, now=NOW)
    _report(unit, installer, _usual(town, unit))
    visit = Visit.objects.get()
    assert (visit.state, visit.offers) == ("done", [])


def test_a_new_restrictor_is_the_one_of_the_task_and_its_label_that_of_the_unit(
    town: Town, installer: Membership
) -> None:
    unit = town.unit(design_recovery_fraction=0.2)
    town.read(unit, inlet_pressure_kpa=345.0, temperature_degc=25.0, feed_tds_mg_per_l=250.0, state="flowing")
    item = CatalogueItem.objects.create(
        company=town.company, code="R800", name="R800", kind="accessory", purpose="flow_restrictor", price="4.60",
        rated_flow_l_per_day=1152.0, rated_pressure_kpa=345.0,
    )  # fmt: skip
    level = town.stock(item, 3)
    town.finding(unit, "restrictor_blocked")
    refresh_needs(company=town.company, now=NOW)
    record, _ = _report(unit, installer, [WorkDone("replace_restrictor", unit)], visit=None)
    unit.refresh_from_db()
    level.refresh_from_db()
    assert (unit.restrictor_flow_l_per_day, unit.restrictor_pressure_kpa) == (1152.0, 345.0)
    assert level.quantity == 2
    assert record.work[0]["item"] == item.pk
