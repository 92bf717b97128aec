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

# What never reaches a view is answered in the same shape as everything else.
handler400 = "accounts.api.problems.bad_request_page"
handler403 = "accounts.api.problems.forbidden_page"
handler404 = "accounts.api.problems.not_found_page"
handler500 = "accounts.api.problems.server_error_page"
