"""The one list of routes: every room's API under /api/v1/, its documentation page, and pages for people."""

from django.urls import include, path

from accounts.observing.probes import alive, measured, ready
from fleet.config.docs import DocsView, SchemaView

urlpatterns = [
    path("api/v1/", include("accounts.api.urls")),
    path("api/v1/", include("fleet.api.urls")),
    path("api/v1/", include("scheduling.api.urls")),
    path("api/v1/schema/", SchemaView.as_view(), name="schema"),
    path("", include("accounts.pages.urls")),
    path("", include("scheduling.pages.urls")),
    path("api/v1/docs/", DocsView.as_view(), name="docs"),
    path("healthz", alive, name="alive"),
    path("readyz", ready, name="ready"),
    path("metrics", measured, name="metrics"),
]

# What never reaches a view is answered in the same shape as everything else: to programs, and as a page to browsers.
handler400 = "accounts.pages.problems.bad_request"
handler403 = "accounts.pages.problems.forbidden"
handler404 = "accounts.pages.problems.not_found"
handler500 = "accounts.pages.problems.server_error"
