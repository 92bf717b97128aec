"""Routes of the pages of the office and the owner."""

from django.urls import path

from scheduling.pages.office.attention import AttentionPage
from scheduling.pages.office.clients import ClientPage, ClientsPage, SitePage, SitesPage
from scheduling.pages.office.company import CompanyPage, ForecastsPage, LimitsPage, PolicyPage, TrailPage
from scheduling.pages.office.events import EventsPage
from scheduling.pages.office.orders import OrderPage, OrdersPage
from scheduling.pages.office.runs import RunPage
from scheduling.pages.office.sheets import SheetsPage
from scheduling.pages.office.stock import ItemPage, StockPage
from scheduling.pages.office.stops import StopPage
from scheduling.pages.office.units import UnitPage, UnitsPage
from scheduling.pages.office.week import WeekPage

urlpatterns = [
    path("attention/", AttentionPage.as_view(), name="attention-page"),
    path("week/", WeekPage.as_view(), name="week-page"),
    path("week/stops/<int:stop>/", StopPage.as_view(), name="stop-page"),
    path("runs/<int:job>/", RunPage.as_view(), name="run-page"),
    path("units/", UnitsPage.as_view(), name="units-page"),
    path("units/<int:unit>/", UnitPage.as_view(), name="unit-page"),
    path("clients/", ClientsPage.as_view(), name="clients-page"),
    path("clients/<int:client>/", ClientPage.as_view(), name="client-page"),
    path("sites/", SitesPage.as_view(), name="sites-page"),
    path("sites/<int:site>/", SitePage.as_view(), name="site-page"),
    path("orders/", OrdersPage.as_view(), name="orders-page"),
    path("orders/<int:order>/", OrderPage.as_view(), name="order-page"),
    path("stock/", StockPage.as_view(), name="stock-page"),
    path("stock/<int:item>/", ItemPage.as_view(), name="item-page"),
    path("bring-in/", SheetsPage.as_view(), name="bring-in-page"),
    path("company/", CompanyPage.as_view(), name="company-page"),
    path("company/policy/", PolicyPage.as_view(), name="policy-page"),
    path("company/limits/", LimitsPage.as_view(), name="limits-page"),
    path("company/forecasts/", ForecastsPage.as_view(), name="forecasts-page"),
    path("company/events/", EventsPage.as_view(), name="events-page"),
    path("company/trail/", TrailPage.as_view(), name="trail-page"),
]
