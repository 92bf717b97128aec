"""Records of the fleet: where units stand, what is in them, what was measured, what it means."""

from fleet.models.catalogue import CatalogueItem, PartsRule, Supplier
from fleet.models.feed_water import FeedWaterSample
from fleet.models.findings import Finding
from fleet.models.forecasts import FleetLesson, Forecast, ForecastScore
from fleet.models.indicators import ReadingIndicators
from fleet.models.intake import IntakeBatch, RefusedRow, UploadPiece
from fleet.models.limits import ExhaustionLimits
from fleet.models.ownership import PassedOn, PastOwnership
from fleet.models.placements import Placement
from fleet.models.readings import Reading
from fleet.models.reviews import UnitReview
from fleet.models.sites import AccessException, AccessWindow, Site
from fleet.models.units import Instrument, Position, Stage, Unit

__all__ = [
    "AccessException",
    "AccessWindow",
    "CatalogueItem",
    "ExhaustionLimits",
    "FeedWaterSample",
    "Finding",
    "FleetLesson",
    "Forecast",
    "ForecastScore",
    "Instrument",
    "IntakeBatch",
    "PartsRule",
    "PassedOn",
    "PastOwnership",
    "Placement",
    "Position",
    "Reading",
    "ReadingIndicators",
    "RefusedRow",
    "Site",
    "Stage",
    "Supplier",
    "Unit",
    "UnitReview",
    "UploadPiece",
]
