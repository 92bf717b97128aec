"""A report of work that was wrong is taken back or replaced, with all that it did; a second one says what it is."""

from collections.abc import Callable
from datetime import timedelta
from typing import Any

import pytest
from rest_framework.test import APIClient

from accounts.errors import Conflict, InvalidInput, NotAllowed
from accounts.models import AuditEntry, Membership
from fleet.models import CatalogueItem, Finding, Placement, Reading, Unit
from fleet.services.findings.findings import refresh_findings
from fleet.services.units.corrections import correct_placement
from fleet.services.units.placements import place, rotate_lead_lag
from scheduling.models import Message, Need, ServiceRecord, StockLevel, Visit
from scheduling.services.needs.needs import refresh_needs
from scheduling.services.visits.visits import propose_visits
from scheduling.services.work.report import PartUsed, WorkDone, WorkReport
from scheduling.services.work.taking_back import correct_record, report_work, void_record
from tests import factories
from tests.scheduling.town import NOW, RO_DI_TRAIN, Town

DONE_AT = NOW + timedelta(hours=4)
LATER = NOW + timedelta(hours=5)
WHY = "Written down for the wrong house."


@pytest.fixture
def unit(town: Town, installer: Membership) -> Unit:
    """A unit whose carbon is exhausted and whose lead resin is to be rotated, with a visit proposed."""
    town.installer("Ada", membership=installer)
    unit = town.unit(train=RO_DI_TRAIN)
    town.forecast(town.position(unit, "carbon"), 0)
    town.forecast(town.position(unit, "resin", "lead"), 3)
    refresh_needs(company=town.company, now=NOW)
    propose_visits(company=town.company, now=NOW)
    for stage, quantity in (("carbon", 3), ("resin", 5)):
        town.stock(town.item(stage), quantity)
    return unit


Report = Callable[..., ServiceRecord]


@pytest.fixture
def report(town: Town, unit: Unit, installer: Membership) -> Report:
    def send(**more: Any) -> ServiceRecord:
        by, now = more.pop("by", installer), more.pop("now", LATER)
        return report_work(report=made(town, unit, **more), by=by, now=now)[0]

    return send


def usual(town: Town, unit: Unit) -> list[WorkDone]:
    return [
        WorkDone("replace", unit, town.position(unit, "carbon"), removal="exhausted", serial_or_lot="L-77"),
        WorkDone("rotate", unit, town.position(unit, "resin", "lead"), removal="exhausted"),
    ]


def made(town: Town, unit: Unit, **more: Any) -> WorkReport:
    sent: dict[str, Any] = {
        "site": unit.site,
        "reference": "van-1/0001",
        "done_at": DONE_AT,
        "work": usual(town, unit),
        "visit": Visit.objects.first(),
        "readings": [{"unit": unit.pk, "inlet_pressure": "60 psi"}],
        **more,
    }
    return WorkReport(**sent)


def state(unit: Unit) -> dict[str, Any]:
    """What a report changes, without the moments at which it was written."""
    return {
        "placements": list(
            Placement.objects.filter(position__unit=unit)
            .order_by("position", "placed_at")
            .values("position", "item", "serial_or_lot", "placed_at", "removed_at", "removal", "first_installed_at")
        ),
        "needs": list(Need.objects.order_by("pk").values("pk", "state", "closed_at")),
        "visits": list(Visit.objects.order_by("pk").values("pk", "state", "closed_at")),
        "tasks": list(Visit.objects.get().tasks.order_by("pk").values("pk", "outcome", "outcome_reason")),
        "stock": list(StockLevel.objects.order_by("pk").values("pk", "quantity")),
        "readings": Reading.objects.current().count(),
        "unit": Unit.objects.filter(pk=unit.pk).values("has_booster_pump", "restrictor_flow_l_per_day").get(),
    }


def test_a_report_that_was_never_work_is_taken_back_with_all_that_it_did(
    town: Town, unit: Unit, report: Report, installer: Membership
) -> None:
    before = state(unit)
    row = report()
    assert differing(before, state(unit)) == {"placements", "needs", "visits", "tasks", "stock", "readings"}
    row = void_record(service_record=row, reason=WHY, by=installer, now=LATER)
    assert state(unit) == before
    assert not ServiceRecord.objects.exists()
    kept = ServiceRecord.with_voided.get(pk=row.pk)
    assert (kept.void_reason, kept.voided_by, kept.voided_at) == (WHY, installer, LATER)
    assert AuditEntry.objects.get(action="void work").details["reason"] == WHY
    with pytest.raises(Conflict, match="taken back"):
        void_record(service_record=row, reason=WHY, by=installer, now=LATER)
    with pytest.raises(Conflict, match="another reference"):
        report()


def differing(before: dict[str, Any], after: dict[str, Any]) -> set[str]:
    return {name for name in before if before[name] != after[name]}


def test_a_wrong_cartridge_reported_last_week_is_corrected_and_stock_and_placements_follow(
    town: Town, unit: Unit, report: Report, installer: Membership
) -> None:
    other: CatalogueItem = factories.CatalogueItemFactory(company=town.company, kind="carbon", code="CB-9")
    level = town.stock(other, 2)
    old = report()
    told, read = Message.objects.count(), Reading.objects.current().count()
    carbon, rotate = usual(town, unit)
    right = WorkDone("replace", unit, carbon.position, item=other, removal="exhausted", serial_or_lot="L-78")
    week = LATER + timedelta(days=6)
    fresh = correct_record(
        service_record=old,
        report=made(town, unit, work=[right, rotate], reference="van-1/0002"),
        reason="CB-9 was fitted.",
        by=installer,
        now=week,
    )
    assert fresh.corrects == ServiceRecord.with_voided.get(pk=old.pk)
    assert list(ServiceRecord.objects.all()) == [fresh]
    stands = Placement.objects.get(position=carbon.position, removed_at=None)
    assert (stands.item, stands.serial_or_lot, stands.placed_at) == (other, "L-78", DONE_AT)
    level.refresh_from_db()
    assert level.quantity == 1
    assert StockLevel.objects.get(item=town.item("carbon")).quantity == 3
    assert StockLevel.objects.get(item=town.item("resin")).quantity == 4
    assert Visit.objects.get().state == "done"
    assert set(Need.objects.values_list("state", flat=True)) == {"done"}
    assert Reading.objects.current().count() == read
    # the client was told of a changed carbon and a rotation, and is not told again
    assert Message.objects.count() == told
    details = AuditEntry.objects.get(action="correct work").details
    assert (details["corrects"], details["was"]["reference"]) == (old.pk, "van-1/0001")


def test_nothing_is_half_taken_back_and_the_answer_says_what_rests_on_it(
    town: Town, unit: Unit, report: Report, installer: Membership, owner: Membership
) -> None:
    row = report()
    resin = town.item("resin")
    rotate_lead_lag(unit=unit, stage="resin", item=resin, by=owner, now=LATER, rotated_at=LATER)
    before = state(unit)
    with pytest.raises(Conflict, match="take that rotation back first"):
        void_record(service_record=row, reason=WHY, by=installer, now=LATER)
    wrong = made(town, unit, reference="van-1/0002")
    with pytest.raises(Conflict, match="take that rotation back first"):
        correct_record(service_record=row, report=wrong, reason=WHY, by=installer, now=LATER)
    assert state(unit) == before
    assert ServiceRecord.objects.get().voided_at is None


def test_a_correction_that_cannot_be_leaves_the_old_report(
    town: Town, unit: Unit, report: Report, installer: Membership
) -> None:
    row = report()
    before = state(unit)
    future = made(town, unit, reference="van-1/0002", done_at=LATER + timedelta(days=1))
    with pytest.raises(InvalidInput):
        correct_record(service_record=row, report=future, reason=WHY, by=installer, now=LATER)
    with pytest.raises(Conflict, match="another reference"):
        correct_record(service_record=row, report=made(town, unit), reason=WHY, by=installer, now=LATER)
    assert state(unit) == before


def test_a_booster_pump_that_was_not_fitted_is_gone_from_the_unit(
    town: Town, unit: Unit, report: Report, installer: Membership
) -> None:
    before = state(unit)
    row = report(work=[WorkDone("fit_booster_pump", unit)], visit=None, used=[], readings=[])
    assert Unit.objects.get(pk=unit.pk).has_booster_pump
    void_record(service_record=row, reason=WHY, by=installer, now=LATER)
    assert state(unit) == before


@pytest.mark.django_db(transaction=True)
@pytest.mark.parametrize("corrected", [False, True])
def test_a_leak_is_open_again_once_the_repair_that_never_was_is_taken_back(
    town: Town, installer: Membership, corrected: bool
) -> None:
    unit = town.unit(train=RO_DI_TRAIN)
    seen = {"water_on_floor": True}
    nothing_read = dict.fromkeys(Reading.QUANTITIES)
    factories.ReadingFactory(unit=unit, taken_at=NOW - timedelta(days=3), observations=seen, **nothing_read)
    refresh_findings(company=town.company, now=NOW)
    refresh_needs(company=town.company, now=NOW)
    leak = Finding.objects.exclude(cause="no_reading_for_weeks").get(unit=unit)
    alone: dict[str, Any] = {"visit": None, "used": [], "readings": []}
    row, _ = report_work(report=made(town, unit, work=[WorkDone("repair", unit)], **alone), by=installer, now=LATER)
    assert Finding.objects.get(pk=leak.pk).state == "closed"
    looked = made(town, unit, work=[WorkDone("sanitise", unit)], reference="van-1/0002", **alone)
    if corrected:
        correct_record(service_record=row, report=looked, reason="Not mended.", by=installer, now=LATER)
    else:
        void_record(service_record=row, reason=WHY, by=installer, now=LATER)
    assert not Reading.objects.current().filter(unit=unit, observations={"water_on_floor": False}).exists()
    assert Finding.objects.filter(unit=unit, cause=leak.cause, state="open").exists()


def test_installers_take_back_their_own_reports_for_a_week(
    report: Report, office: Membership, installer: Membership
) -> None:
    row = report(by=office)
    with pytest.raises(NotAllowed, match="Another person"):
        void_record(service_record=row, reason=WHY, by=installer, now=LATER)
    void_record(service_record=row, reason=WHY, by=office, now=LATER + timedelta(days=100))
    row = report(reference="van-1/0002")
    with pytest.raises(NotAllowed, match="7 days"):
        void_record(service_record=row, reason=WHY, by=installer, now=LATER + timedelta(days=8))


def test_a_cartridge_of_a_report_is_put_right_with_the_report(
    town: Town, unit: Unit, report: Report, owner: Membership
) -> None:
    row = report()
    for stage, role in (("carbon", "single"), ("resin", "lead"), ("resin", "lag")):
        fitted = Placement.objects.get(position=town.position(unit, stage, role), removed_at=None)
        with pytest.raises(Conflict, match=f"Report of work {row.pk}"):
            correct_placement(placement=fitted, serial_or_lot="other", reason=WHY, by=owner, now=LATER)
    sediment = Placement.objects.get(position=town.position(unit, "sediment"), removed_at=None)
    correct_placement(placement=sediment, serial_or_lot="other", reason=WHY, by=owner, now=LATER)


def test_a_second_report_of_one_visit_says_whether_it_adds_or_corrects(
    town: Town, unit: Unit, report: Report, installer: Membership
) -> None:
    first = report()
    before = state(unit)
    second = {"reference": "phone-2/0001", "done_at": DONE_AT + timedelta(minutes=7), "readings": []}
    with pytest.raises(Conflict, match=r"'van-1/0001'.*'addition'.*'correction'") as refused:
        report(**second)
    assert [fault.pointer for fault in refused.value.faults] == ["/follows"]
    with pytest.raises(Conflict, match="says the same work") as refused:
        report(**second, follows="addition")
    assert [fault.pointer for fault in refused.value.faults] == ["/work/0/position", "/work/1/position"]
    assert state(unit) == before
    corrected = report(**second, follows="correction")
    assert corrected.corrects_id == first.pk
    assert report(**second, follows="correction") == corrected
    after = state(unit)
    assert after["stock"] == before["stock"]
    assert len(after["placements"]) == len(before["placements"])
    added = report(reference="phone-2/0002", work=[WorkDone("inspect", unit)], used=[], follows="addition")
    assert set(ServiceRecord.objects.all()) == {corrected, added}
    assert state(unit)["stock"] == before["stock"]


def test_two_reports_without_a_visit_of_one_position_are_one_work(town: Town, unit: Unit, report: Report) -> None:
    carbon = usual(town, unit)[0]
    alone = {"visit": None, "work": [carbon], "readings": []}
    report(**alone)
    with pytest.raises(Conflict, match="reported before"):
        report(**alone, reference="b", done_at=DONE_AT - timedelta(minutes=119))
    late = DONE_AT + timedelta(hours=2)
    report(**alone, reference="c", done_at=late, now=late)


def test_two_cartridges_within_a_minute_are_one_told_twice(town: Town, unit: Unit, owner: Membership) -> None:
    position, item = town.position(unit, "carbon"), town.item("carbon")
    place(position=position, item=item, by=owner, now=LATER, placed_at=DONE_AT, removal="damaged")
    again = DONE_AT + timedelta(seconds=59)
    with pytest.raises(InvalidInput, match="not after the cartridge there was placed"):
        place(position=position, item=item, by=owner, now=LATER, placed_at=again, removal="damaged")


def test_over_the_api_the_client_sees_the_corrected_report_alone(
    town: Town, unit: Unit, report: Report, as_office: APIClient, as_installer: APIClient, office: Membership
) -> None:
    old = report(used=[PartUsed(town.item("carbon"), 1)])
    body = {
        "site": unit.site_id,
        "reference": "van-1/0002",
        "done_at": DONE_AT.isoformat(),
        "work": [{"action": "inspect", "unit": unit.pk}],
        "reason": "It was only looked at.",
    }
    answer = as_office.post(f"/api/v1/service-records/{old.pk}/correct/", body)
    assert answer.status_code == 200, answer.content
    fresh = answer.json()
    assert fresh["corrects"] == old.pk
    listed = as_office.get("/api/v1/service-records/").json()["results"]
    assert [row["id"] for row in listed] == [fresh["id"]]
    taken_back = as_office.get("/api/v1/service-records/?voided=true").json()["results"]
    assert [(row["id"], row["corrected_by"], row["void_reason"]) for row in taken_back] == [
        (old.pk, fresh["id"], "It was only looked at.")
    ]
    client = factories.MembershipFactory(company=town.company, role="client", client=unit.site.client)
    seen = ServiceRecord.with_voided.visible_to(client)
    assert set(seen) >= {ServiceRecord.objects.get()}
    refused = as_installer.post(f"/api/v1/service-records/{fresh['id']}/void/", {"reason": WHY})
    assert (refused.status_code, refused.json()["code"]) == (403, "not_your_entry")
    voided = as_office.post(f"/api/v1/service-records/{fresh['id']}/void/", {"reason": WHY})
    assert (voided.status_code, voided.json()["void_reason"]) == (200, WHY)
