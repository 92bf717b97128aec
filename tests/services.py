"""Every service that acts for a member, read from the rooms and not from any list."""

import importlib
import inspect
import pkgutil
from collections.abc import Callable, Iterable
from typing import Any

Service = Callable[..., Any]


def services_of(rooms: Iterable[str]) -> dict[str, Service]:
    """The public functions of packages that take `by`, by their whole name."""
    services = {}
    for room in rooms:
        for entry in pkgutil.walk_packages(importlib.import_module(room).__path__, f"{room}."):
            module = importlib.import_module(entry.name)
            for name, made in inspect.getmembers(module, inspect.isfunction):
                own = inspect.unwrap(made).__module__ == module.__name__
                if own and not name.startswith("_") and "by" in inspect.signature(made).parameters:
                    services[f"{module.__name__}.{name}"] = inspect.unwrap(made)
    return services
