"""Every public name of the room says what it takes, in which unit, what it gives, what it refuses, and shows it."""

import importlib
import inspect
import pkgutil
import re
from collections.abc import Iterator
from types import FunctionType

import pytest

import fleet.engineering

MODULES = sorted(
    module.name
    for module in pkgutil.walk_packages(fleet.engineering.__path__, "fleet.engineering.")
    if not module.ispkg
)


def public_functions() -> Iterator[FunctionType]:
    for name in MODULES:
        module = importlib.import_module(name)
        for _, function in inspect.getmembers(module, inspect.isfunction):
            if function.__module__ == name and not function.__name__.startswith("_"):
                yield function


FUNCTIONS = list(public_functions())
# Conditions of the diagnosis are private to its table, where each has its sentences; they share one signature. What
# tells people something shows it itself.
OTHERS = (".diagnosis.conditions.", ".diagnosis.words", ".sizing.words.")
FORMULAS = [function for function in FUNCTIONS if not any(place in function.__module__ for place in OTHERS)]


def section(docstring: str, title: str) -> str:
    match = re.search(rf"^{title}\n-+\n(.*?)(?=^[A-Z][a-z]+\n-+\n|\Z)", docstring, re.DOTALL | re.MULTILINE)
    return match.group(1) if match else ""


def documented_parameters(docstring: str) -> set[str]:
    names: set[str] = set()
    for line in section(docstring, "Parameters").splitlines():
        if line and not line.startswith(" "):
            listed = line.split(" : ")[0]
            names |= {name.strip().lstrip("*") for name in listed.split(",") if name.strip()}
    return names


@pytest.mark.parametrize("function", FORMULAS, ids=lambda function: f"{function.__module__}.{function.__name__}")
def test_docstring_and_signature_agree(function: FunctionType) -> None:
    docstring = inspect.getdoc(function) or ""
    assert docstring.splitlines()[0].rstrip().endswith((".", ":")) or "\n\n" in docstring
    signature = {name for name in inspect.signature(function).parameters if name != "self"}
    documented = documented_parameters(docstring)
    if documented:
        assert documented == signature
    else:
        # A one-paragraph docstring is enough for one or two arguments whose names carry the unit.
        assert len(signature) <= 2, "give a Parameters section"
    assert section(docstring, "Examples"), "show it"
    if documented:
        assert section(docstring, "Returns") or "None" in str(inspect.signature(function).return_annotation)
        assert section(docstring, "Raises")


@pytest.mark.parametrize("name", MODULES)
def test_every_module_says_what_it_is_for(name: str) -> None:
    docstring = inspect.getdoc(importlib.import_module(name)) or ""
    assert len(docstring) > 30


@pytest.mark.parametrize("function", FUNCTIONS, ids=lambda function: f"{function.__module__}.{function.__name__}")
def test_every_argument_and_result_is_typed(function: FunctionType) -> None:
    signature = inspect.signature(function)
    assert signature.return_annotation is not inspect.Signature.empty
    for parameter in signature.parameters.values():
        assert parameter.annotation is not inspect.Parameter.empty, parameter.name
