"""Media types of files that a view writes itself; faults are still answered as JSON."""

from dataclasses import dataclass
from typing import Any

from django.http import HttpResponse
from rest_framework.renderers import JSONRenderer

from accounts.csv_rows import MEDIA_TYPE as CSV_MEDIA_TYPE


def inline_file(content: str | bytes, media_type: str, name: str) -> HttpResponse:
    """Answer with a file that opens where it is asked for."""
    content_type = f"{media_type}; charset=utf-8" if isinstance(content, str) else media_type
    headers = {"Content-Disposition": f'inline; filename="{name}"'}
    return HttpResponse(content, content_type=content_type, headers=headers)


@dataclass(frozen=True, slots=True)
class Written:
    """An answer, and its JSON as it was written for its ETag."""

    data: Any
    json: bytes


class OnceJSONRenderer(JSONRenderer):
    """JSON; what was written for the ETag of an answer is not written again."""

    def render(self, data: Any, accepted_media_type: Any = None, renderer_context: Any = None) -> bytes:
        """The bytes of an answer."""
        context = renderer_context or {}
        written = getattr(context.get("response"), "written", None)
        is_plain = self.get_indent(accepted_media_type or "", context) is None
        if written is not None and written.data is data and is_plain:
            return bytes(written.json)
        return bytes(super().render(data, accepted_media_type, renderer_context))


class CSVRenderer(JSONRenderer):
    """Lets a caller ask for text/csv; the view itself writes the rows."""

    media_type = CSV_MEDIA_TYPE
    format = "csv"

    def get_indent(self, accepted_media_type: Any, renderer_context: Any) -> None:
        return None
