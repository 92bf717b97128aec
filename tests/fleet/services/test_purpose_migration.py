"""Existing rows keep their meaning: what a fitting is for moves from the words of its name to a field of its own."""

from decimal import Decimal
from importlib import import_module
from types import SimpleNamespace

import pytest
from django.apps import apps
from django.db import IntegrityError, connection, transaction

from accounts.models import Company
from fleet.models import CatalogueItem
from tests import factories

fill = import_module("fleet.migrations.0003_purpose_of_fittings").fill


@pytest.mark.parametrize(
    ("name", "purpose", "flow", "volume"),
    [
        ("booster pump, 24 V, with transformer", "booster_pump", None, None),
        ("Flow restrictor 900 mL/min", "flow_restrictor", 1296.0, None),
        ("flow restrictor, set of sizes", "flow_restrictor", None, None),
        ("pressurised tank 12 L", "pressurised_tank", None, 12.0),
        ("open tank 60 L, with lid", "open_tank", None, 60.0),
        ("float valve for an open tank", "float_valve", None, None),
        ("automatic shut-off valve", "automatic_shutoff_valve", None, None),
        ("check valve", "check_valve", None, None),
        ("water softener 8 L", "softener", None, None),
        ("degassing column", "degassing", None, None),
        ("housing, 10 inch", "cartridge_housing", None, None),
        ("spanner for a 10 inch housing", "", None, None),
        ("tube cutter", "", None, None),
    ],
)
def test_accessories_get_the_purpose_their_name_tells(
    company: Company, name: str, purpose: str, flow: float | None, volume: float | None
) -> None:
    item = factories.CatalogueItemFactory(company=company, kind="accessory", name=name)
    cartridge = factories.CatalogueItemFactory(company=company, kind="resin", name=name, price=Decimal("3"))
    fill(apps, SimpleNamespace(connection=connection))
    item.refresh_from_db()
    assert (item.purpose, item.rated_flow_l_per_day, item.rated_volume_l) == (purpose, flow, volume)
    cartridge.refresh_from_db()
    assert cartridge.purpose == ""


def test_the_database_refuses_a_purpose_of_a_cartridge(company: Company) -> None:
    with pytest.raises(IntegrityError), transaction.atomic():
        factories.CatalogueItemFactory(company=company, kind="carbon", purpose="softener")
    assert not CatalogueItem.objects.exists()
