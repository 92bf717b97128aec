"""Routes of the accounts room."""

from django.urls import URLPattern, URLResolver, path
from rest_framework.routers import SimpleRouter

from accounts.api.clients import ClientViewSet
from accounts.api.company import CompanyViewSet

router = SimpleRouter()
router.register("clients", ClientViewSet)

urlpatterns: list[URLPattern | URLResolver] = [
    path("company/", CompanyViewSet.as_view({"get": "retrieve", "patch": "partial_update"}), name="company"),
    *router.urls,
]
