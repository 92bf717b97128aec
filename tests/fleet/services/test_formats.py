"""A cartridge of another format is refused, with the items that fit."""

from datetime import UTC, datetime
from typing import Any

import pytest

from accounts.errors import InvalidInput
from accounts.models import Membership
from fleet.engineering.formats import CONNECTIONS, FLOW_DIRECTIONS, SIZES, CartridgeFormat, differences_of_format
from fleet.models import CatalogueItem, Placement, Position, Unit
from fleet.services.catalogue import update_item
from fleet.services.units.placements import place, rotate_lead_lag
from fleet.services.units.units import NewPosition, add_position, change_position, create_unit
from tests import factories

NOW = datetime(2026, 3, 10, 12, tzinfo=UTC)
JANUARY = datetime(2026, 1, 5, 9, tzinfo=UTC)


@pytest.fixture
def unit(owner: Membership) -> Unit:
    return factories.UnitFactory(company=owner.company)


@pytest.fixture
def item(owner: Membership) -> Any:
    def make(code: str, kind: str = "resin", **values: Any) -> CatalogueItem:
        return factories.CatalogueItemFactory(company=owner.company, kind=kind, code=code, **values)

    return make


@pytest.mark.parametrize(
    ("name", "values"), [("cartridge_size", SIZES), ("connection", CONNECTIONS), ("flow_direction", FLOW_DIRECTIONS)]
)
def test_every_attribute_counts_where_both_state_it(name: str, values: dict[str, str]) -> None:
    one, other = list(values)[:2]
    assert differences_of_format(CartridgeFormat(**{name: one}), CartridgeFormat(**{name: other})) == (name,)
    assert differences_of_format(CartridgeFormat(**{name: one}), CartridgeFormat(**{name: one})) == ()
    assert differences_of_format(CartridgeFormat(**{name: one}), CartridgeFormat()) == ()
    assert differences_of_format(CartridgeFormat(), CartridgeFormat(**{name: one})) == ()


def test_another_size_than_stated_is_refused_with_what_fits(unit: Unit, item: Any, owner: Membership) -> None:
    position = factories.PositionFactory(unit=unit, order=4, stage="resin", role="single", cartridge_size="10_inch")
    wrong = item("DI-20", cartridge_size="20_inch")
    item("DI-9", cartridge_size="10_inch", price="9.00", is_active=False)
    item("DI-10", cartridge_size="10_inch", price="10.00")
    item("DI-0", price="20.00")
    item("SED", "sediment", cartridge_size="10_inch")
    with pytest.raises(InvalidInput) as refused:
        place(position=position, item=wrong, by=owner, now=NOW)
    (fault,) = refused.value.faults
    assert (refused.value.code, fault.pointer) == ("wrong_format", "/item")
    assert fault.sentence == (
        "DI-20 is of another format than the resin takes: cartridge size '20_inch' (20 inch, 2.5 inch wide), not "
        "'10_inch' (10 inch, 2.5 inch wide). What fits: DI-10, DI-0."
    )
    assert not Placement.objects.exists()


def test_where_nothing_is_stated_the_format_is_that_of_what_was_installed(
    unit: Unit, item: Any, owner: Membership
) -> None:
    position = factories.PositionFactory(unit=unit, order=4, stage="resin", role="single")
    place(position=position, item=item("UP", flow_direction="upward"), by=owner, now=NOW, placed_at=JANUARY)
    down = item("DOWN", flow_direction="downward")
    with pytest.raises(InvalidInput, match=r"flow direction 'downward'.*What fits: UP.*state the format") as refused:
        place(position=position, item=down, by=owner, now=NOW, removal="routine")
    assert refused.value.code == "wrong_format"
    assert Placement.objects.get().removed_at is None


def test_a_rotation_refuses_another_format_and_changes_nothing(unit: Unit, item: Any, owner: Membership) -> None:
    usual, wide = item("DI-10", cartridge_size="10_inch"), item("DI-10W", cartridge_size="10_inch_wide")
    for order, role in ((4, "lead"), (5, "lag")):
        position = factories.PositionFactory(unit=unit, order=order, stage="resin", role=role)
        place(position=position, item=usual, by=owner, now=NOW, placed_at=JANUARY)
    with pytest.raises(InvalidInput, match="What fits: DI-10"):
        rotate_lead_lag(unit=unit, stage="resin", item=wide, by=owner, now=NOW)
    assert Placement.objects.filter(removed_at=None, placed_at=JANUARY).count() == 2


def test_a_new_unit_is_refused_where_a_cartridge_does_not_fit(unit: Unit, item: Any, owner: Membership) -> None:
    wrong = item("DI-T", connection="twist")
    membrane = item("M", "membrane")
    train = [NewPosition("membrane", item=membrane), NewPosition("resin", item=wrong, connection="housing")]
    facts = {
        "code": "RX-9",
        "use": "reef",
        "kind": "ro_di",
        "weekly_demand_l": 100.0,
        "commissioned_on": JANUARY.date(),
    }
    with pytest.raises(InvalidInput) as refused:
        create_unit(site=unit.site, positions=train, by=owner, now=NOW, **facts)
    assert [fault.pointer for fault in refused.value.faults] == ["/positions/1/item"]
    assert "Nothing in the catalogue fits" in refused.value.faults[0].sentence
    made = create_unit(
        site=unit.site, positions=[train[0], NewPosition("resin", item=wrong)], by=owner, now=NOW, **facts
    )
    assert Placement.objects.filter(position__unit=made).count() == 2


def test_a_position_and_a_label_do_not_contradict_what_is_installed(unit: Unit, item: Any, owner: Membership) -> None:
    position = add_position(unit=unit, order=4, stage="resin", role="single", by=owner, now=NOW, connection="housing")
    cartridge = item("DI", connection="housing")
    place(position=position, item=cartridge, by=owner, now=NOW)
    with pytest.raises(InvalidInput) as refused:
        change_position(position=position, by=owner, now=NOW, connection="twist")
    assert [fault.pointer for fault in refused.value.faults] == ["/connection"]
    with pytest.raises(InvalidInput, match="where another format is stated") as refused:
        update_item(item=cartridge, by=owner, now=NOW, connection="twist")
    assert [fault.pointer for fault in refused.value.faults] == ["/connection"]
    assert unit.code in refused.value.faults[0].sentence
    assert Position.objects.get(pk=position.pk).connection == "housing"
    assert CatalogueItem.objects.get(pk=cartridge.pk).connection == "housing"
    update_item(item=cartridge, by=owner, now=NOW, connection="")
    change_position(position=position, by=owner, now=NOW, connection="twist")
