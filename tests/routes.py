"""Every route that is registered, read from the URL resolver and not from any list."""

import re
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from typing import Any

from django.contrib.admindocs.views import simplify_regex
from django.urls import URLPattern, URLResolver, get_resolver


@dataclass(frozen=True)
class Route:
    """One method of one address, and what stands behind it."""

    method: str
    path: str
    callback: Callable[..., Any]

    @property
    def view_class(self) -> Any:
        return getattr(self.callback, "cls", None) or getattr(self.callback, "view_class", None)

    @property
    def action(self) -> str | None:
        return getattr(self.callback, "actions", {}).get(self.method.lower())

    def __str__(self) -> str:
        return f"{self.method} {self.path}"


def every_route() -> list[Route]:
    """Walk the URL resolver."""
    return [
        Route(method, path, callback)
        for path, callback in _walk(get_resolver().url_patterns, "")
        for method in _methods(callback)
    ]


def _walk(patterns: list[Any], prefix: str) -> Iterator[tuple[str, Callable[..., Any]]]:
    for entry in patterns:
        regex = prefix + str(entry.pattern)
        if isinstance(entry, URLResolver):
            yield from _walk(entry.url_patterns, regex)
        elif isinstance(entry, URLPattern):
            yield re.sub(r"<\w+:(\w+)>", r"<\1>", simplify_regex(regex)), entry.callback


def _methods(callback: Callable[..., Any]) -> list[str]:
    actions = getattr(callback, "actions", None)
    if actions:
        return [method.upper() for method in actions if method != "head"]
    view_class = getattr(callback, "view_class", None) or getattr(callback, "cls", None)
    if view_class is None:
        return ["GET"]
    names = ("get", "post", "put", "patch", "delete")
    return [name.upper() for name in names if hasattr(view_class, name)]
