"""The one list of routes: every room's API under /api/v1/, and the documentation pages."""

from django.urls import include, path
from drf_spectacular.views import SpectacularAPIView, SpectacularRedocView, SpectacularSwaggerView

urlpatterns = [
    path("api/v1/", include("accounts.api.urls")),
    path("api/v1/", include("fleet.api.urls")),
    path("api/v1/", include("scheduling.api.urls")),
    path("api/v1/schema/", SpectacularAPIView.as_view(authentication_classes=[], permission_classes=[]), name="schema"),
    path(
        "api/v1/docs/",
        SpectacularSwaggerView.as_view(url_name="schema", authentication_classes=[], permission_classes=[]),
        name="docs",
    ),
    path(
        "api/v1/reference/",
        SpectacularRedocView.as_view(url_name="schema", authentication_classes=[], permission_classes=[]),
        name="reference",
    ),
]
