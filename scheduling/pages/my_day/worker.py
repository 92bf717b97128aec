"""The service worker of an installer's day, and the files that it keeps."""

import hashlib
import json
from functools import cache
from pathlib import Path
from typing import Final

from django.conf import settings
from django.contrib.staticfiles import finders
from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.template.loader import render_to_string
from django.templatetags.static import static
from django.urls import reverse
from django.views.decorators.http import require_safe

from scheduling.pages.my_day.scripts import ENTRIES, joined

_FILES: Final = ("accounts/page.css", "accounts/drop.svg", "scheduling/day.css")
_WORKER: Final = "scheduling/day/worker.js"


@require_safe
def worker(request: HttpRequest) -> HttpResponse:
    """Give the service worker. It holds nothing of anybody, and has the whole site in its scope."""
    pages = {
        name: json.dumps(render_to_string(f"scheduling/day/{name}.html", {"language": settings.LANGUAGE_CODE}))
        for name in ("not_kept", "no_sign_out")
    }
    context = {
        "version": _version(*pages.values()),
        "files": [*map(static, _FILES), *(reverse(f"my-day-script-{name}") for name in ENTRIES)],
        "start": reverse("my-day"),
        "sign_in": reverse("sign-in"),
        "sign_out": reverse("sign-out"),
        "account": reverse("account"),
        **pages,
    }
    response = render(request, _WORKER, context, content_type="text/javascript; charset=utf-8")
    # Its address lies below the pages it serves: it must be let further up, to see who signs in and out.
    response.headers["Service-Worker-Allowed"] = "/"
    # A browser asks whether it has changed whenever a page is opened.
    response.headers["Cache-Control"] = "no-cache"
    return response


def _version(*texts: str) -> str:
    """A mark of the files and pages that it keeps: another one, and a phone fetches them anew."""
    return hashlib.sha256("".join([_digest_of_files(), *texts]).encode()).hexdigest()[:16]


@cache
def _digest_of_files() -> str:
    digest = hashlib.sha256()
    for name in _FILES:
        found = finders.find(name)
        digest.update(name.encode())
        digest.update(Path(str(found)).read_bytes() if found else b"")
    for name in ENTRIES:
        digest.update(joined(name).encode())
    return digest.hexdigest()
