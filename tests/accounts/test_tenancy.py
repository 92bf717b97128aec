"""Whose rows are whose."""

import pytest

from accounts.models import Client, Membership
from fleet.models import Reading, Unit
from scheduling.models import StockLevel
from tests import factories


@pytest.fixture
def units(first_client: Client, second_client: Client) -> dict[str, Unit]:
    """One unit for each client of the company, and one elsewhere."""
    return {
        "first": factories.UnitFactory(company=first_client.company, site__client=first_client),
        "second": factories.UnitFactory(company=second_client.company, site__client=second_client),
        "elsewhere": factories.UnitFactory(),
    }


def seen(membership: Membership | None, units: dict[str, Unit]) -> set[str]:
    visible = set(Unit.objects.visible_to(membership))
    return {name for name, unit in units.items() if unit in visible}


def test_staff_see_their_companys_rows_and_a_client_those_of_their_own_sites(
    units: dict[str, Unit],
    owner: Membership,
    office: Membership,
    installer: Membership,
    client_member: Membership,
    rival: Membership,
) -> None:
    for member in (owner, office, installer):
        assert seen(member, units) == {"first", "second"}
    assert seen(client_member, units) == {"first"}
    assert seen(rival, units) == set()


def test_a_stranger_and_a_member_who_left_see_nothing(units: dict[str, Unit], owner: Membership) -> None:
    assert seen(None, units) == set()
    owner.is_active = False
    assert seen(owner, units) == set()


def test_a_client_sees_nothing_of_a_model_that_belongs_to_no_site(client_member: Membership, owner: Membership) -> None:
    level = factories.StockLevelFactory(company=owner.company)
    assert list(StockLevel.objects.visible_to(owner)) == [level]
    assert list(StockLevel.objects.visible_to(client_member)) == []


def test_a_meter_sees_its_unit_and_what_was_read_there(units: dict[str, Unit], owner: Membership) -> None:
    own_reading = factories.ReadingFactory(unit=units["first"])
    factories.ReadingFactory(unit=units["second"])
    owner.meter_unit_id = units["first"].pk
    assert seen(owner, units) == {"first"}
    assert list(Reading.objects.visible_to(owner)) == [own_reading]
    assert not Client.objects.visible_to(owner).exists()


def test_a_meter_bound_to_another_companys_unit_sees_nothing(units: dict[str, Unit], owner: Membership) -> None:
    owner.meter_unit_id = units["elsewhere"].pk
    assert seen(owner, units) == set()


def test_a_clients_meter_is_held_to_both_bounds(units: dict[str, Unit], client_member: Membership) -> None:
    client_member.meter_unit_id = units["second"].pk
    assert seen(client_member, units) == set()
