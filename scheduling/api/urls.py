"""Routes of the scheduling room."""

from django.urls import URLPattern, URLResolver, path
from rest_framework.routers import SimpleRouter

from scheduling.api.absences import AbsenceViewSet
from scheduling.api.answers import AnswerView
from scheduling.api.attention import AttentionViewSet
from scheduling.api.calendar_feeds import CalendarFeedViewSet
from scheduling.api.client_data import ClientDataViewSet
from scheduling.api.costs import CostViewSet
from scheduling.api.covers import ServiceContractViewSet, WarrantyViewSet
from scheduling.api.imports import ImportViewSet
from scheduling.api.installers import InstallerViewSet
from scheduling.api.invoices import InvoiceViewSet
from scheduling.api.messages import MessageViewSet
from scheduling.api.needs import NeedViewSet
from scheduling.api.orders import PurchaseOrderViewSet
from scheduling.api.parts import PartsListViewSet, StockLevelViewSet
from scheduling.api.plans import PlanViewSet, RoundViewSet
from scheduling.api.policy import PolicyViewSet
from scheduling.api.prices import SalesPriceViewSet, VatRateViewSet
from scheduling.api.reading_photos import ReadingPhotoViewSet
from scheduling.api.search import SearchViewSet
from scheduling.api.service_records import ServicePhotoViewSet, ServiceRecordViewSet
from scheduling.api.site_pairs import SitePairViewSet
from scheduling.api.stock_movements import StockMovementViewSet
from scheduling.api.stock_outlook import StockOutlookViewSet
from scheduling.api.stops import StopViewSet
from scheduling.api.travel import TravelViewSet
from scheduling.api.visits import VisitViewSet
from scheduling.api.wanted_readings import WantedReadingViewSet

router = SimpleRouter()
router.register("installers", InstallerViewSet)
router.register("absences", AbsenceViewSet)
router.register("calendar-feeds", CalendarFeedViewSet)
router.register("site-pairs", SitePairViewSet)
router.register("needs", NeedViewSet)
router.register("readings-wanted", WantedReadingViewSet, basename="wanted-reading")
router.register("visits", VisitViewSet)
router.register("messages", MessageViewSet)
router.register("service-records", ServiceRecordViewSet)
router.register("reading-photos", ReadingPhotoViewSet)
router.register("service-photos", ServicePhotoViewSet)
router.register("client-data", ClientDataViewSet, basename="client-data")
router.register("plans", PlanViewSet)
router.register("rounds", RoundViewSet)
router.register("stops", StopViewSet)
router.register("parts-lists", PartsListViewSet)
router.register("stock-levels", StockLevelViewSet)
router.register("stock-outlook", StockOutlookViewSet, basename="stock-outlook")
router.register("stock-movements", StockMovementViewSet)
router.register("purchase-orders", PurchaseOrderViewSet)
router.register("vat-rates", VatRateViewSet)
router.register("sales-prices", SalesPriceViewSet)
router.register("service-contracts", ServiceContractViewSet)
router.register("warranties", WarrantyViewSet)
router.register("invoices", InvoiceViewSet)

urlpatterns: list[URLPattern | URLResolver] = [
    path("policy/", PolicyViewSet.as_view({"get": "retrieve", "patch": "partial_update"}), name="policy"),
    path("policy/preview/", PolicyViewSet.as_view({"post": "preview"}), name="policy-preview"),
    path("policy/frontier/", PolicyViewSet.as_view({"post": "frontier"}), name="policy-frontier"),
    path("imports/", ImportViewSet.as_view({"post": "create"}), name="import"),
    path("search/", SearchViewSet.as_view({"get": "list_found"}), name="search"),
    path("attention/", AttentionViewSet.as_view({"get": "retrieve"}), name="attention"),
    path("attention/matters/", AttentionViewSet.as_view({"get": "list_matters"}), name="attention-matters"),
    path("answers/<str:token>/", AnswerView.as_view(), name="answer"),
    path("costs/", CostViewSet.as_view({"get": "report"}), name="costs"),
    path("travel/", TravelViewSet.as_view({"get": "retrieve"}), name="travel"),
    *router.urls,
]
