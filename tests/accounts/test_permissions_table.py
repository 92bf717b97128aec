"""The one table of who may do what."""

import pytest

from accounts.models import Membership
from accounts.permissions import ALLOWED, _table, allows


def member(role: str, **attributes: object) -> Membership:
    membership = Membership(role=role)
    for name, value in attributes.items():
        setattr(membership, name, value)
    return membership


@pytest.mark.parametrize(
    ("role", "resource", "action", "expected"),
    [
        ("owner", "policy", "update", True),
        ("office", "policy", "update", False),
        ("office", "stock_level", "update", True),
        ("office", "visit", "confirm", True),
        ("office", "member", "create", False),
        ("installer", "reading", "create", True),
        ("installer", "placement", "create", True),
        ("installer", "service_record", "create", True),
        ("installer", "catalogue_item", "update", False),
        ("installer", "stock_level", "destroy", False),
        ("client", "reading", "create", True),
        ("client", "finding", "list", True),
        ("client", "forecast", "list", True),
        ("client", "visit", "list", True),
        ("client", "visit", "confirm", False),
        ("client", "catalogue_item", "list", False),
        ("client", "finding", "decide", False),
        ("owner", "unit", "no_such_action", False),
        ("owner", "no_such_resource", "list", False),
    ],
)
def test_roles_do_what_their_work_asks_and_no_more(role: str, resource: str, action: str, expected: bool) -> None:
    assert allows(member(role), resource, action) is expected


def test_the_owner_may_do_all_there_is() -> None:
    assert {pair for pair in ALLOWED if not allows(member("owner"), *pair)} == set()


def test_a_meter_posts_readings_whatever_its_owner_may_do() -> None:
    meter = member("owner", meter_unit_id=7)
    assert {pair for pair in ALLOWED if allows(meter, *pair)} == {
        ("reading", "create"),
        ("unit", "add_reading"),
    }


def test_nobody_and_a_member_who_left_may_do_nothing() -> None:
    assert not any(allows(None, *pair) for pair in ALLOWED)
    assert not any(allows(member("owner", is_active=False), *pair) for pair in ALLOWED)


def test_a_row_written_twice_stops_the_start() -> None:
    with pytest.raises(ValueError, match="unit list appears in the table twice"):
        _table(("unit", ["list"], frozenset()), ("unit", ["list"], frozenset()))
