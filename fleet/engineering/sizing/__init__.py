"""How large a unit must be, and what an offer should contain."""

from fleet.engineering.sizing.commissioning import Check, Promise, commissioning_checks
from fleet.engineering.sizing.compare import AIMS, compare
from fleet.engineering.sizing.offer import (
    LIMITED_BY,
    Alternative,
    Fitting,
    Item,
    Life,
    Offer,
    Outlet,
    Part,
    Remark,
    SizingRequest,
    WaterUse,
)
from fleet.engineering.sizing.survey import BACTERIA_TESTS, DISINFECTANTS, SiteSurvey, SizingPolicy

__all__ = [
    "AIMS",
    "BACTERIA_TESTS",
    "DISINFECTANTS",
    "LIMITED_BY",
    "Alternative",
    "Check",
    "Fitting",
    "Item",
    "Life",
    "Offer",
    "Outlet",
    "Part",
    "Promise",
    "Remark",
    "SiteSurvey",
    "SizingPolicy",
    "SizingRequest",
    "WaterUse",
    "commissioning_checks",
    "compare",
]
