"""Routes of the fleet room."""

from django.urls import URLPattern, URLResolver
from rest_framework.routers import SimpleRouter

from fleet.api.catalogue import CatalogueItemViewSet, PartsRuleViewSet
from fleet.api.diagnosis import DiagnosisViewSet
from fleet.api.feed_water import FeedWaterSampleViewSet
from fleet.api.findings import FindingViewSet
from fleet.api.forecast_quality import ForecastScoreViewSet
from fleet.api.forecasts import ForecastViewSet
from fleet.api.instruments import InstrumentViewSet
from fleet.api.intake import IntakeBatchViewSet, RefusedRowViewSet
from fleet.api.limits import ExhaustionLimitsViewSet
from fleet.api.placements import PlacementViewSet
from fleet.api.positions import PositionViewSet
from fleet.api.readings import ReadingViewSet
from fleet.api.sites import SiteViewSet
from fleet.api.sizing import SizingViewSet
from fleet.api.suppliers import SupplierViewSet
from fleet.api.units import UnitViewSet

router = SimpleRouter()
router.register("sites", SiteViewSet)
router.register("units", UnitViewSet)
router.register("positions", PositionViewSet)
router.register("catalogue-items", CatalogueItemViewSet)
router.register("parts-rules", PartsRuleViewSet)
router.register("suppliers", SupplierViewSet)
router.register("instruments", InstrumentViewSet)
router.register("placements", PlacementViewSet)
router.register("feed-water-samples", FeedWaterSampleViewSet)
router.register("readings", ReadingViewSet)
router.register("intake-batches", IntakeBatchViewSet)
router.register("refused-rows", RefusedRowViewSet)
router.register("forecasts", ForecastViewSet)
router.register("forecast-quality", ForecastScoreViewSet)
router.register("exhaustion-limits", ExhaustionLimitsViewSet)
router.register("findings", FindingViewSet)
router.register("diagnosis", DiagnosisViewSet, basename="diagnosis")
router.register("sizing", SizingViewSet, basename="sizing")

urlpatterns: list[URLPattern | URLResolver] = [*router.urls]
