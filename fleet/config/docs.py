"""The documentation page of the API, which asks no other host for anything."""

from typing import Any

from django.http import HttpRequest
from django.http.response import HttpResponseBase
from drf_spectacular.views import SpectacularSwaggerView

# The page's own script and styles stand in it; its pictures may be data. Whatever it would fetch from elsewhere, a
# browser refuses.
_OWN_HOST_ONLY = "; ".join(
    [
        "default-src 'self'",
        "script-src 'self' 'unsafe-inline'",
        "style-src 'self' 'unsafe-inline'",
        "img-src 'self' data:",
    ]
)


class DocsView(SpectacularSwaggerView):
    """Browse the API and try it."""

    url_name = "schema"
    authentication_classes = []
    permission_classes = []

    def dispatch(self, request: HttpRequest, *args: Any, **kwargs: Any) -> HttpResponseBase:
        response = super().dispatch(request, *args, **kwargs)
        response.headers["Content-Security-Policy"] = _OWN_HOST_ONLY
        return response
