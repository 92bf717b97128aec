"""A unit is created with its whole train."""

from datetime import UTC, date, datetime
from typing import Any

import pytest

from accounts.errors import InvalidInput
from accounts.models import Membership
from fleet.models import CatalogueItem, Placement, Position, Site, Unit
from fleet.services.units.units import TEMPLATES, NewPosition, check_train, create_unit, train_of
from tests import factories

NOW = datetime(2026, 3, 10, 12, tzinfo=UTC)


@pytest.fixture
def site(owner: Membership) -> Site:
    return factories.SiteFactory(company=owner.company)


def item(site: Site, kind: str) -> CatalogueItem:
    return factories.CatalogueItemFactory(company=site.company, kind=kind)


def facts(**change: Any) -> dict[str, Any]:
    return {
        "code": "RX-1",
        "use": "reef",
        "kind": "ro_di",
        "product_tds_target_mg_per_l": 1.0,
        "weekly_demand_l": 140.0,
        "commissioned_on": date(2026, 1, 10),
        **change,
    }


def test_positions_and_first_cartridges_come_with_the_unit(site: Site, owner: Membership) -> None:
    train = [
        NewPosition("sediment", item=item(site, "sediment")),
        NewPosition("carbon", "lead", item(site, "carbon"), "LOT-3", datetime(2026, 2, 1, tzinfo=UTC)),
        NewPosition("carbon", "lag"),
        NewPosition("membrane", item=item(site, "membrane")),
    ]
    unit = create_unit(site=site, positions=train, by=owner, now=NOW, **facts())
    assert unit.company == site.company
    assert [(p.order, p.stage, p.role) for p in unit.positions.order_by("order")] == [
        (1, "sediment", "single"),
        (2, "carbon", "lead"),
        (3, "carbon", "lag"),
        (4, "membrane", "single"),
    ]
    stays = {p.position.order: p for p in Placement.objects.select_related("position")}
    assert sorted(stays) == [1, 2, 4]
    assert stays[1].placed_at.date() == date(2026, 1, 10)
    assert (stays[2].serial_or_lot, stays[2].first_installed_at) == ("LOT-3", datetime(2026, 2, 1, tzinfo=UTC))


@pytest.mark.parametrize("template", list(TEMPLATES))
def test_every_template_is_a_possible_train(template: str) -> None:
    check_train(train_of(template), kind="ro_di")


def test_an_unknown_template_is_refused_by_name() -> None:
    with pytest.raises(InvalidInput, match="ro_di_two_resin"):
        train_of("magic")


@pytest.mark.parametrize(
    ("train", "kind", "pointer", "sentence"),
    [
        ([], "ro", "/positions", "at least one"),
        ([("tea", "single")], "ro", "/positions/0/stage", "not one of"),
        ([("membrane", "single"), ("carbon", "single")], "ro", "/positions/1/stage", "order from the feed"),
        ([("resin", "single")], "ro", "/positions/0/stage", "no resin"),
        ([("carbon", "lead")], "ro", "/positions", "come in pairs"),
        ([("carbon", "lag"), ("carbon", "lead")], "ro", "/positions/0/role", "after its lead"),
        ([("carbon", "single"), ("carbon", "single")], "ro", "/positions/0/role", "more than one"),
        ([("sediment", "single")] * 21, "ro", "/positions", "at most 20"),
    ],
)
def test_a_train_that_cannot_be_is_refused(
    train: list[tuple[str, str]], kind: str, pointer: str, sentence: str
) -> None:
    with pytest.raises(InvalidInput) as refused:
        check_train([NewPosition(stage, role) for stage, role in train], kind=kind)
    assert pointer in [fault.pointer for fault in refused.value.faults]
    assert sentence in " ".join(fault.sentence for fault in refused.value.faults)


def test_nothing_is_left_of_a_unit_that_could_not_be_made(site: Site, owner: Membership) -> None:
    train = [NewPosition("carbon", item=item(site, "resin"))]
    with pytest.raises(InvalidInput):
        create_unit(site=site, positions=train, by=owner, now=NOW, **facts())
    assert not Unit.objects.exists()
    assert not Position.objects.exists()
