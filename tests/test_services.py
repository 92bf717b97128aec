"""A service that acts for a member is a verb with named, typed arguments, in every room."""

import inspect

import pytest

from tests.services import Service, services_of

SERVICES = list(services_of(("accounts.services", "fleet.services", "scheduling.services")).values())


def test_there_are_services_to_look_at() -> None:
    assert len(SERVICES) > 10


@pytest.mark.parametrize("service", SERVICES, ids=lambda made: f"{made.__module__}.{made.__name__}")
def test_its_arguments_are_named_and_typed_and_it_says_what_it_does(service: Service) -> None:
    signature = inspect.signature(service)
    assert service.__doc__, "what changes, what it raises"
    assert signature.return_annotation is not inspect.Signature.empty
    for parameter in signature.parameters.values():
        assert parameter.kind in (inspect.Parameter.KEYWORD_ONLY, inspect.Parameter.VAR_KEYWORD), parameter.name
        assert parameter.annotation is not inspect.Parameter.empty, parameter.name
