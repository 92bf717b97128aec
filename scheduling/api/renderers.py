"""Media types of the exports; faults are still answered as JSON."""

from typing import Any

from rest_framework.renderers import JSONRenderer

from scheduling.exports.client_archive import MEDIA_TYPE as ARCHIVE_MEDIA_TYPE
from scheduling.exports.geojson import MEDIA_TYPE
from scheduling.exports.gpx import MEDIA_TYPE as GPX_MEDIA_TYPE
from scheduling.exports.order_documents import TEXT_MEDIA_TYPE


class CalendarRenderer(JSONRenderer):
    """Lets a caller ask for text/calendar; the view itself writes the calendar."""

    media_type = "text/calendar"
    format = "ics"

    def get_indent(self, accepted_media_type: Any, renderer_context: Any) -> None:
        return None


class GPXRenderer(JSONRenderer):
    """Lets a caller ask for application/gpx+xml; the view itself writes the route."""

    media_type = GPX_MEDIA_TYPE
    format = "gpx"

    def get_indent(self, accepted_media_type: Any, renderer_context: Any) -> None:
        return None


class PDFRenderer(JSONRenderer):
    """Lets a caller ask for application/pdf; the view itself writes the sheet."""

    media_type = "application/pdf"
    format = "pdf"

    def get_indent(self, accepted_media_type: Any, renderer_context: Any) -> None:
        return None


class OrderTextRenderer(JSONRenderer):
    """Lets a caller ask for text/plain; the view itself writes the page."""

    media_type = TEXT_MEDIA_TYPE
    format = "txt"

    def get_indent(self, accepted_media_type: Any, renderer_context: Any) -> None:
        return None


class AnyImageRenderer(JSONRenderer):
    """Lets a caller ask for a picture; the view itself answers with it."""

    media_type = "image/*"
    format = "image"

    def get_indent(self, accepted_media_type: Any, renderer_context: Any) -> None:
        return None


class GeoJSONRenderer(JSONRenderer):
    """JSON under its registered name."""

    media_type = MEDIA_TYPE
    format = "geojson"


class ZIPRenderer(JSONRenderer):
    """Lets a caller ask for application/zip; the view itself writes the archive."""

    media_type = ARCHIVE_MEDIA_TYPE
    format = "zip"

    def get_indent(self, accepted_media_type: Any, renderer_context: Any) -> None:
        return None
