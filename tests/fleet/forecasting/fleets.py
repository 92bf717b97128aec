"""Small fleets for tests, as columns. All of it invented."""

from typing import Any

import numpy as np

NOW = 20_000.0

POSITIONS = {
    "ro_di": (("sediment", "single"), ("carbon", "single"), ("membrane", "single"), ("resin", "single")),
    "pair": (
        ("sediment", "single"), ("carbon", "lead"), ("carbon", "lag"), ("membrane", "single"), ("resin", "lead"),
        ("resin", "lag"),
    ),
}  # fmt: skip

ITEMS = {
    "item_id": ["sediment", "carbon", "membrane", "resin"],
    "stage": ["sediment", "carbon", "membrane", "resin"],
    "rated_volume_l": [20_000.0, None, None, None],
    "chlorine_capacity_g": [None, 150.0, None, None],
    "rated_flow_l_per_day": [None, None, 284.0, None],
    "rated_pressure_kpa": [None, None, 414.0, None],
    "rated_tds_mg_per_l": [None, None, 250.0, None],
    "rejection_fraction": [None, None, 0.96, None],
    "resin_volume_l": [None, None, None, 1.2],
    "resin_capacity_eq_per_l": [None, None, None, 0.457],
}


def columns(
    units: int = 1, kind: str = "ro_di", placed: float = NOW - 120.0, weekly_demand_l: float = 70.0, **unit_columns: Any
) -> dict[str, Any]:
    """Columns of `build_fleet` for equal units without readings."""
    train = POSITIONS[kind]
    names = [f"u{number}" for number in range(units)]
    position = [(unit, stage, role) for unit in names for stage, role in train]
    return {
        "as_of_day": NOW,
        "units": {
            "unit_id": names,
            "site_id": [f"s-{name}" for name in names],
            "kind": ["ro_di"] * units,
            "weekly_demand_l": [weekly_demand_l] * units,
            "recovery_fraction": [0.25] * units,
            **{name: [value] * units for name, value in unit_columns.items()},
        },
        "positions": {
            "position_id": [f"{unit}/{stage}/{role}" for unit, stage, role in position],
            "unit_id": [unit for unit, _, _ in position],
            "stage": [stage for _, stage, _ in position],
            "role": [role for _, _, role in position],
            "order": [number for _ in names for number in range(len(train))],
        },
        "items": {name: list(values) for name, values in ITEMS.items()},
        "placements": {
            "placement_id": list(range(len(position))),
            "position_id": [f"{unit}/{stage}/{role}" for unit, stage, role in position],
            "item_id": [stage for _, stage, _ in position],
            "placed_day": [placed] * len(position),
            "removed_day": [None] * len(position),
            "reason": [None] * len(position),
            "first_installed_day": [None] * len(position),
            "continued_from": [None] * len(position),
        },
    }


def readings(days: Any, unit: str = "u0", **quantities: Any) -> dict[str, Any]:
    """Reading columns of one unit; a scalar holds for every day."""
    days = list(np.atleast_1d(np.asarray(days, dtype=float)))
    out: dict[str, Any] = {"unit_id": [unit] * len(days), "day": days}
    for name, value in quantities.items():
        out[name] = [value] * len(days) if np.isscalar(value) or value is None else list(value)
    return out


def row_of(fleet: Any, stage: str, role: str = "single", unit: str = "u0") -> int:
    """Row of a position."""
    return list(fleet.positions.position_id).index(f"{unit}/{stage}/{role}")
