"""What must be done, when, by whom, with which parts."""

from scheduling.models.additions import VisitAddition
from scheduling.models.calendar_feeds import CalendarFeed
from scheduling.models.covers import ServiceContract, Warranty
from scheduling.models.installers import Absence, Installer
from scheduling.models.invoices import Invoice, InvoicedWork, InvoiceLine
from scheduling.models.messages import Message, MessageDocument
from scheduling.models.movements import StockMovement
from scheduling.models.needs import Need
from scheduling.models.orders import Delivery, PurchaseOrder, PurchaseOrderLine
from scheduling.models.parts import PartsLine, PartsList, StockLevel
from scheduling.models.policy import CompanyPolicy
from scheduling.models.prices import SalesPrice, Vat, VatRate
from scheduling.models.reading_photos import ReadingPhoto
from scheduling.models.reviews import WorkReview
from scheduling.models.rounds import Plan, Round, Stop, UnservedVisit
from scheduling.models.site_pairs import SitePair
from scheduling.models.travel import RoadCalibration
from scheduling.models.visits import ServicePhoto, ServiceRecord, Visit, VisitTask

__all__ = [
    "Absence",
    "CalendarFeed",
    "CompanyPolicy",
    "Delivery",
    "Installer",
    "Invoice",
    "InvoiceLine",
    "InvoicedWork",
    "Message",
    "MessageDocument",
    "Need",
    "PartsLine",
    "PartsList",
    "Plan",
    "PurchaseOrder",
    "PurchaseOrderLine",
    "ReadingPhoto",
    "RoadCalibration",
    "Round",
    "SalesPrice",
    "ServiceContract",
    "ServicePhoto",
    "ServiceRecord",
    "SitePair",
    "StockLevel",
    "StockMovement",
    "Stop",
    "UnservedVisit",
    "Vat",
    "VatRate",
    "Visit",
    "VisitAddition",
    "VisitTask",
    "Warranty",
    "WorkReview",
]
