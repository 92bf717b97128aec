"""How large a unit must be, and what a quotation should contain."""

from fleet.engineering.sizing.commissioning import Check, Promise, commissioning_checks
from fleet.engineering.sizing.compare import compare
from fleet.engineering.sizing.offer import (
    Alternative,
    Fitting,
    Item,
    Life,
    Offer,
    Part,
    Remark,
    SizingRequest,
    WaterUse,
)
from fleet.engineering.sizing.quotation import Note, Quotation, QuotedPosition, quote
from fleet.engineering.sizing.survey import DISINFECTANTS, MembraneOption, QuotationPolicy, SiteSurvey

__all__ = [
    "DISINFECTANTS",
    "Alternative",
    "Check",
    "Fitting",
    "Item",
    "Life",
    "MembraneOption",
    "Note",
    "Offer",
    "Part",
    "Promise",
    "Quotation",
    "QuotationPolicy",
    "QuotedPosition",
    "Remark",
    "SiteSurvey",
    "SizingRequest",
    "WaterUse",
    "commissioning_checks",
    "compare",
    "quote",
]
