"""The description of the API, built once, and its page, which asks no other host for anything."""

from threading import Lock
from typing import Any, ClassVar

from django.http import HttpRequest, HttpResponse
from django.http.response import HttpResponseBase
from drf_spectacular.views import SpectacularAPIView, SpectacularSwaggerView
from rest_framework.request import Request

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


class SchemaView(SpectacularAPIView):
    """The OpenAPI description. It is the same for everybody, so that a process makes it when it is first asked for."""

    authentication_classes = []
    permission_classes = []

    # The library's generator keeps notes in its own module while it works: two at a time spoil one another's.
    _making: ClassVar[Lock] = Lock()
    _made: ClassVar[dict[str, str | bytes]] = {}

    def _get_schema_response(self, request: Request) -> HttpResponse:
        renderer = request.accepted_renderer
        with self._making:
            if renderer.media_type not in self._made:
                schema = self.generator_class().get_schema(request=request, public=True)
                self._made[renderer.media_type] = renderer.render(schema, renderer.media_type, {})
        return HttpResponse(
            self._made[renderer.media_type],
            content_type=request.accepted_media_type,
            headers={"Content-Disposition": f'inline; filename="{self._get_filename(request, None)}"'},
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
