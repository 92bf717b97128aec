"""Cartridges placed, removed, rotated from lag to lead."""

from datetime import UTC, datetime, timedelta
from typing import Any

import pytest

from accounts.errors import Conflict, InvalidInput
from accounts.models import AuditEntry, Membership
from fleet.models import CatalogueItem, Placement, Position, Unit
from fleet.services.units.placements import place, remove, rotate_lead_lag
from tests import factories

NOW = datetime(2026, 3, 10, 12, tzinfo=UTC)
JANUARY = datetime(2026, 1, 5, 9, tzinfo=UTC)


@pytest.fixture
def unit(owner: Membership) -> Unit:
    return factories.UnitFactory(company=owner.company)


@pytest.fixture
def resin(owner: Membership) -> CatalogueItem:
    return factories.CatalogueItemFactory(company=owner.company, kind="resin", code="DI-1")


@pytest.fixture
def lead(unit: Unit) -> Position:
    return factories.PositionFactory(unit=unit, order=4, stage="resin", role="lead")


@pytest.fixture
def lag(unit: Unit) -> Position:
    return factories.PositionFactory(unit=unit, order=5, stage="resin", role="lag")


def test_a_fresh_cartridge_replaces_the_one_that_stands_there_for_a_reason(
    lead: Position, resin: CatalogueItem, owner: Membership
) -> None:
    old = place(position=lead, item=resin, by=owner, now=NOW, placed_at=JANUARY)
    with pytest.raises(Conflict):
        place(position=lead, item=resin, by=owner, now=NOW)
    fresh = place(position=lead, item=resin, by=owner, now=NOW, removal="early", serial_or_lot="L2")
    old.refresh_from_db()
    assert (old.removed_at, old.removal) == (NOW, "early")
    assert (fresh.placed_at, fresh.first_installed_at, fresh.serial_or_lot) == (NOW, NOW, "L2")
    assert AuditEntry.objects.filter(action="place cartridge").count() == 2


def test_rotation_discards_lead_moves_lag_with_its_age_and_puts_a_fresh_one_in_lag(
    unit: Unit, lead: Position, lag: Position, resin: CatalogueItem, owner: Membership
) -> None:
    lead_placement = place(position=lead, item=resin, by=owner, now=NOW, placed_at=JANUARY)
    polished = place(
        position=lag, item=resin, by=owner, now=NOW, placed_at=JANUARY + timedelta(days=10), serial_or_lot="OLD"
    )
    rotation = rotate_lead_lag(unit=unit, stage="resin", item=resin, by=owner, now=NOW, serial_or_lot="NEW")
    lead_placement.refresh_from_db()
    polished.refresh_from_db()
    assert rotation.discarded == lead_placement
    # Nobody said that it was seen to be exhausted.
    assert (lead_placement.removed_at, lead_placement.removal) == (NOW, "routine")
    assert (polished.removed_at, polished.removal) == (NOW, "rotated")
    moved, fresh = rotation.moved, rotation.fresh
    assert (moved.position, moved.continues, moved.serial_or_lot) == (lead, polished, "OLD")
    assert moved.first_installed_at == polished.first_installed_at == JANUARY + timedelta(days=10)
    assert (fresh.position, fresh.continues, fresh.first_installed_at) == (lag, None, NOW)
    assert Placement.objects.filter(removed_at__isnull=True).count() == 2
    again = rotate_lead_lag(unit=unit, stage="resin", item=resin, by=owner, now=NOW + timedelta(days=90))
    assert again.moved.continues == fresh


def test_nothing_is_changed_by_a_rotation_that_cannot_be(
    unit: Unit, lead: Position, lag: Position, resin: CatalogueItem, owner: Membership
) -> None:
    place(position=lead, item=resin, by=owner, now=NOW, placed_at=JANUARY)

    def refused(error: type[Exception], **change: Any) -> None:
        wanted: dict[str, Any] = {"unit": unit, "stage": "resin", "item": resin, "by": owner, "now": NOW, **change}
        before = list(Placement.objects.order_by("pk").values())
        with pytest.raises(error):
            rotate_lead_lag(**wanted)
        assert list(Placement.objects.order_by("pk").values()) == before

    refused(Conflict)
    place(position=lag, item=resin, by=owner, now=NOW, placed_at=JANUARY)
    refused(InvalidInput, stage="carbon")
    refused(InvalidInput, item=factories.CatalogueItemFactory(company=owner.company, kind="carbon"))
    refused(InvalidInput, removal="rotated")
    refused(InvalidInput, rotated_at=NOW + timedelta(hours=1))
    refused(InvalidInput, rotated_at=JANUARY - timedelta(hours=1))


@pytest.mark.parametrize(
    ("change", "pointer"),
    [
        ({"placed_at": NOW + timedelta(minutes=1)}, "/placed_at"),
        ({"kind": "carbon"}, "/item"),
        ({"is_active": False}, "/item"),
    ],
)
def test_a_placing_that_cannot_be_is_refused(
    lead: Position, owner: Membership, change: dict[str, Any], pointer: str
) -> None:
    item_facts = {"kind": "resin", **{name: value for name, value in change.items() if name != "placed_at"}}
    item = factories.CatalogueItemFactory(company=owner.company, **item_facts)
    with pytest.raises(InvalidInput) as refused:
        place(position=lead, item=item, by=owner, now=NOW, placed_at=change.get("placed_at"))
    assert refused.value.faults[0].pointer == pointer
    assert not Placement.objects.exists()


def test_a_cartridge_leaves_once_and_not_before_it_came(
    lead: Position, resin: CatalogueItem, owner: Membership
) -> None:
    placement = place(position=lead, item=resin, by=owner, now=NOW, placed_at=JANUARY)
    for wrong in ({"removal": "lost"}, {"removal": "early", "removed_at": JANUARY - timedelta(days=1)}):
        with pytest.raises(InvalidInput):
            remove(placement=placement, by=owner, now=NOW, **wrong)
    gone = remove(placement=placement, removal="damaged", by=owner, now=NOW, removed_at=NOW - timedelta(days=1))
    assert (gone.removal, gone.removed_at) == ("damaged", NOW - timedelta(days=1))
    with pytest.raises(Conflict):
        remove(placement=placement, removal="early", by=owner, now=NOW)
    with pytest.raises(InvalidInput) as refused:
        place(position=lead, item=resin, by=owner, now=NOW, placed_at=NOW - timedelta(days=2))
    assert refused.value.code == "overlaps_another"
