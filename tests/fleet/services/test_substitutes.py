"""What can stand in for a cartridge: format, fineness, kind of carbon, and the label of a membrane."""

from typing import Any

import pytest

from fleet.engineering.formats import CartridgeFormat
from fleet.models import CatalogueItem
from fleet.services.substitutes import can_replace

MEMBRANE: dict[str, Any] = {
    "kind": "membrane", "membrane_material": "polyamide", "rejection_fraction": 0.96, "rated_flow_l_per_day": 284.0,
    "rated_pressure_kpa": 414.0,
}  # fmt: skip
HOUSING = CartridgeFormat("10_inch", "housing")
ANYWHERE = CartridgeFormat()


@pytest.mark.parametrize(
    ("wanted", "other", "place", "can"),
    [
        ({"kind": "resin"}, {"kind": "resin"}, ANYWHERE, True),
        ({"kind": "resin"}, {"kind": "carbon"}, ANYWHERE, False),
        # small parts are chosen by what they are for
        ({"kind": "small_part"}, {"kind": "small_part"}, ANYWHERE, False),
        ({"kind": "post_carbon"}, {"kind": "post_carbon"}, ANYWHERE, True),
        ({"kind": "remineralisation"}, {"kind": "post_carbon"}, ANYWHERE, False),
        # a lamp fits the unit it was made for
        ({"kind": "uv"}, {"kind": "uv"}, ANYWHERE, False),
        ({"kind": "resin"}, {"kind": "resin", "cartridge_size": "10_inch", "connection": "housing"}, HOUSING, True),
        ({"kind": "resin"}, {"kind": "resin", "cartridge_size": "20_inch", "connection": "housing"}, HOUSING, False),
        ({"kind": "resin"}, {"kind": "resin", "cartridge_size": "10_inch", "connection": "twist"}, HOUSING, False),
        # what is not stated is no promise
        ({"kind": "resin"}, {"kind": "resin", "cartridge_size": "10_inch"}, HOUSING, False),
        ({"kind": "resin"}, {"kind": "resin", "flow_direction": "upward"}, CartridgeFormat(), True),
        ({"kind": "sediment", "micron_rating_um": 5.0}, {"kind": "sediment", "micron_rating_um": 5.0}, ANYWHERE, True),
        ({"kind": "sediment", "micron_rating_um": 5.0}, {"kind": "sediment", "micron_rating_um": 1.0}, ANYWHERE, True),
        ({"kind": "sediment", "micron_rating_um": 5.0}, {"kind": "sediment", "micron_rating_um": 5.1}, ANYWHERE, False),
        ({"kind": "sediment", "micron_rating_um": 5.0}, {"kind": "sediment"}, ANYWHERE, False),
        ({"kind": "sediment"}, {"kind": "sediment"}, ANYWHERE, True),
        ({"kind": "carbon", "carbon_kind": "block"}, {"kind": "carbon", "carbon_kind": "catalytic"}, ANYWHERE, True),
        ({"kind": "carbon", "carbon_kind": "catalytic"}, {"kind": "carbon", "carbon_kind": "block"}, ANYWHERE, False),
        ({"kind": "carbon", "carbon_kind": "catalytic"}, {"kind": "carbon", "carbon_kind": "catalytic"}, ANYWHERE,
         True),
        (MEMBRANE, MEMBRANE, ANYWHERE, True),
        (MEMBRANE, {**MEMBRANE, "membrane_material": "cellulose"}, ANYWHERE, False),
        (MEMBRANE, {**MEMBRANE, "rejection_fraction": 0.959}, ANYWHERE, False),
        (MEMBRANE, {**MEMBRANE, "rejection_fraction": 0.98}, ANYWHERE, True),
        # a quarter more or less, at one pressure, is within what labels promise
        (MEMBRANE, {**MEMBRANE, "rated_flow_l_per_day": 1.249 * 284.0}, ANYWHERE, True),
        (MEMBRANE, {**MEMBRANE, "rated_flow_l_per_day": 1.251 * 284.0}, ANYWHERE, False),
        (MEMBRANE, {**MEMBRANE, "rated_flow_l_per_day": 0.751 * 284.0}, ANYWHERE, True),
        (MEMBRANE, {**MEMBRANE, "rated_flow_l_per_day": 0.749 * 284.0}, ANYWHERE, False),
        (MEMBRANE, {**MEMBRANE, "rated_flow_l_per_day": 426.0, "rated_pressure_kpa": 621.0}, ANYWHERE, True),
    ],
)  # fmt: skip
def test_only_what_does_the_same_work_stands_in(
    wanted: dict[str, Any], other: dict[str, Any], place: CartridgeFormat, can: bool
) -> None:
    assert can_replace(CatalogueItem(pk=1, **wanted), CatalogueItem(pk=2, **other), place) is can


def test_a_cartridge_is_no_substitute_for_itself() -> None:
    item = CatalogueItem(pk=1, kind="resin")
    assert not can_replace(item, item, ANYWHERE)
