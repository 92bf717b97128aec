"""The parts on this workshop's shelf, with what their labels say; all invented."""

from tests.strangers.fault_histories.parts import Item

GPD = 3.785
"""Litres in a US gallon."""


def _membrane(gpd: int, bar: float, rejection: float) -> Item:
    return Item(
        f"M{gpd}",
        "membrane",
        {
            "membrane_material": "polyamide",
            "rated_flow": f"{gpd * GPD:.0f} L/day",
            "rated_pressure": f"{bar:g} bar",
            "rated_temperature": "25 degC",
            "rated_tds": "250 mg/L",
            "rated_recovery_fraction": 0.15,
            "rejection_fraction": rejection,
        },
    )


def _resin(code: str, litres: float) -> Item:
    return Item(code, "resin", {"resin_volume": f"{litres:g} L", "resin_capacity": "0.55 eq/L"})


_ALL = (
    Item("SP5", "sediment", {"micron_rating": "5 um", "rated_volume": "30000 L", "maximum_service_time_days": 400}),
    Item("SP1", "sediment", {"micron_rating": "1 um", "rated_volume": "25000 L", "maximum_service_time_days": 400}),
    Item(
        "CB10",
        "carbon",
        {
            "carbon_kind": "block",
            "carbon_volume": "0.6 L",
            "chlorine_capacity": "60 g",
            "rated_volume": "60000 L",
            "maximum_service_time_days": 400,
        },
    ),
    Item(
        "CG10",
        "carbon",
        {
            "carbon_kind": "granular",
            "carbon_volume": "0.9 L",
            "chlorine_capacity": "80 g",
            "rated_volume": "70000 L",
            "maximum_service_time_days": 400,
        },
    ),
    _membrane(50, 3.45, 0.96),
    _membrane(75, 3.45, 0.96),
    _membrane(100, 3.45, 0.95),
    _membrane(150, 4.14, 0.95),
    _membrane(200, 4.48, 0.95),
    _resin("R07", 0.7),
    _resin("R13", 1.3),
    _resin("R25", 2.5),
)
ITEMS = {item.code: item for item in _ALL}

MEMBRANES = {
    "M50": (50 * GPD, 3.45, 0.96),
    "M75": (75 * GPD, 3.45, 0.96),
    "M100": (100 * GPD, 3.45, 0.95),
    "M150": (150 * GPD, 4.14, 0.95),
    "M200": (200 * GPD, 4.48, 0.95),
}
"""Permeate in L/day, at bar, and rejection of the label."""

RESIN_EQ = {"R07": 0.7 * 0.55, "R13": 1.3 * 0.55, "R25": 2.5 * 0.55}
CARBON_G = {"CB10": 60.0, "CG10": 80.0}
