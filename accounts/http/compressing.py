"""Files of pages, compressed on their way: on a bad line a style sheet that is a third as long is there in a third."""

from typing import Any, Final

from django.conf import settings
from django.http import HttpRequest
from django.middleware.gzip import GZipMiddleware

_TEXTS: Final = ("text/css", "text/javascript", "application/javascript", "image/svg+xml")


class CompressedFiles(GZipMiddleware):
    """Compresses style sheets, scripts and drawings alone.

    Answers of the interface stay as they are: a compressed answer has no strong ETag, and `If-Match` asks for one.
    """

    def process_response(self, request: HttpRequest, response: Any) -> Any:
        """Compress a whole file of text; a part of one, and whatever is no file, is left alone."""
        kind = response.headers.get("Content-Type", "").partition(";")[0]
        if response.status_code != 200 or kind not in _TEXTS or not request.path.startswith(settings.STATIC_URL):
            return response
        compressed = super().process_response(request, response)
        if "Content-Encoding" in compressed.headers and "ETag" in compressed.headers:
            # It names the file as it lies there; a browser asks anew by its date.
            del compressed.headers["ETag"]
        return compressed
