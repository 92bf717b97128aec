"""The scripts of an installer's day, each page's sent as one file.

They are written as small modules. On a line where every answer takes 400 ms a browser asks for six files at a time, so
that fifteen modules come in three waves; joined, they come in one. A module becomes a function that gives what it
exports, those that it imports stand before it, and nothing else of the text is changed.
"""

import re
from functools import cache
from pathlib import Path
from typing import Final

from django.core.exceptions import ImproperlyConfigured
from django.http import HttpRequest, HttpResponse
from django.views.decorators.cache import cache_control
from django.views.decorators.gzip import gzip_page
from django.views.decorators.http import require_safe

FOLDER: Final = Path(__file__).resolve().parents[2] / "static" / "scheduling" / "day"
ENTRIES: Final = ("day", "stop")
"""The module that each page begins with."""

_IMPORT: Final = re.compile(r'^import (?:\* as (\w+)|(\{ \w+(?:, \w+)* \})) from "\./(\w+)\.js";$', re.MULTILINE)
_EXPORT: Final = re.compile(r"^export (?=(?:async )?(?:function|const) (\w+))", re.MULTILINE)
_LEFT_OVER: Final = re.compile(r"^(?:import|export)\b.*$|\bimport\(", re.MULTILINE)


@require_safe
@cache_control(max_age=60)
@gzip_page
def script(request: HttpRequest, name: str) -> HttpResponse:
    """Give all scripts of one page. They hold nothing of anybody."""
    return HttpResponse(joined(name), content_type="text/javascript; charset=utf-8")


@cache
def joined(entry: str) -> str:
    """One script that does what a module and all that it imports do.

    Raises `ImproperlyConfigured` where a module imports or exports in a way that is not understood here.
    """
    parts = [_as_function(name) for name in _in_order(entry)]
    return '"use strict";\n' + "\n".join(parts)


def _in_order(entry: str) -> list[str]:
    """The names of a module and of those it needs, each behind what it imports."""
    found: list[str] = []

    def visit(name: str, above: tuple[str, ...]) -> None:
        if name in above:
            raise ImproperlyConfigured(
                f"Modules of the day import each other in a circle: {' > '.join((*above, name))}."
            )
        for _, _, needed in _IMPORT.findall(_text(name)):
            visit(needed, (*above, name))
        if name not in found:
            found.append(name)

    visit(entry, ())
    return found


def _as_function(name: str) -> str:
    text = _IMPORT.sub(lambda found: f"const {found[1] or found[2]} = of_{found[3]};", _text(name))
    exported = _EXPORT.findall(text)
    text = _EXPORT.sub("", text)
    left_over = _LEFT_OVER.search(text)
    if left_over:
        raise ImproperlyConfigured(f"{name}.js has '{left_over[0]}', which cannot be joined with the others.")
    return f"const of_{name} = (() => {{\n{text}\nreturn {{ {', '.join(exported)} }};\n}})();"


def _text(name: str) -> str:
    return (FOLDER / f"{name}.js").read_text(encoding="utf-8")
