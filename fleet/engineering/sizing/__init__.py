"""How large a unit must be, and what a quotation should contain."""

from fleet.engineering.sizing.quotation import Note, Quotation, QuotedPosition, quote
from fleet.engineering.sizing.survey import MembraneOption, QuotationPolicy, SiteSurvey

__all__ = ["MembraneOption", "Note", "Quotation", "QuotationPolicy", "QuotedPosition", "SiteSurvey", "quote"]
