"""Media types of the exports; faults are still answered as JSON."""

from typing import Any

from django.http import HttpResponse
from rest_framework.renderers import JSONRenderer

from scheduling.exports.client_archive import MEDIA_TYPE as ARCHIVE_MEDIA_TYPE
from scheduling.exports.geojson import MEDIA_TYPE
from scheduling.exports.gpx import MEDIA_TYPE as GPX_MEDIA_TYPE
from scheduling.exports.order_documents import CSV_MEDIA_TYPE, TEXT_MEDIA_TYPE


def inline_file(content: str | bytes, media_type: str, name: str) -> HttpResponse:
    """Answer with a file that opens where it is asked for."""
    content_type = f"{media_type}; charset=utf-8" if isinstance(content, str) else media_type
    headers = {"Content-Disposition": f'inline; filename="{name}"'}
    return HttpResponse(content, content_type=content_type, headers=headers)


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


class OrderCSVRenderer(JSONRenderer):
    """Lets a caller ask for text/csv; the view itself writes the rows."""

    media_type = CSV_MEDIA_TYPE
    format = "csv"

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
