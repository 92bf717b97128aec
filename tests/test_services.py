"""A service that acts for a member is a verb with named, typed arguments, in every room."""

import importlib
import inspect
import pkgutil
from collections.abc import Callable
from typing import Any

import pytest

ROOMS = ("accounts.services", "fleet.services", "scheduling.services")


def services() -> list[Callable[..., Any]]:
    found = []
    for room in ROOMS:
        for entry in pkgutil.walk_packages(importlib.import_module(room).__path__, f"{room}."):
            module = importlib.import_module(entry.name)
            for name, made in inspect.getmembers(module, inspect.isfunction):
                own = inspect.unwrap(made).__module__ == module.__name__
                if own and not name.startswith("_") and "by" in inspect.signature(made).parameters:
                    found.append(inspect.unwrap(made))
    return found


SERVICES = services()


def test_there_are_services_to_look_at() -> None:
    assert len(SERVICES) > 10


@pytest.mark.parametrize("service", SERVICES, ids=lambda made: f"{made.__module__}.{made.__name__}")
def test_its_arguments_are_named_and_typed_and_it_says_what_it_does(service: Callable[..., Any]) -> None:
    signature = inspect.signature(service)
    assert service.__doc__, "what changes, what it raises"
    assert signature.return_annotation is not inspect.Signature.empty
    for parameter in signature.parameters.values():
        assert parameter.kind in (inspect.Parameter.KEYWORD_ONLY, inspect.Parameter.VAR_KEYWORD), parameter.name
        assert parameter.annotation is not inspect.Parameter.empty, parameter.name
