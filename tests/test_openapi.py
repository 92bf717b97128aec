"""The description of the API is complete, opens without internet, and tells the truth about the answers.

The outside yardsticks are OpenAPI 3.1 itself, as drf-spectacular's validator holds its JSON Schema, and schemathesis,
which makes requests from the description and holds every answer against it.
"""

import os
import re
from collections.abc import Iterator
from typing import Any

import pytest
import schemathesis
from django.contrib.staticfiles import finders
from django.core.signals import request_finished, request_started
from django.core.wsgi import get_wsgi_application
from django.db import close_old_connections, transaction
from django.test import Client
from django.urls import resolve
from drf_spectacular.drainage import GENERATOR_STATS
from drf_spectacular.generators import SchemaGenerator
from drf_spectacular.validation import validate_schema
from hypothesis import HealthCheck, given, settings
from rest_framework.test import APIClient
from schemathesis import GenerationMode
from schemathesis.checks import not_a_server_error
from schemathesis.specs.openapi.checks import (
    content_type_conformance,
    response_headers_conformance,
    response_schema_conformance,
    status_code_conformance,
)

from accounts.models import Membership

# What says the type of a value in JSON Schema.
TYPING = ("type", "$ref", "enum", "const", "anyOf", "oneOf", "allOf")

# A wider search than the suite's own: OPENAPI_EXAMPLES=200 pytest tests/test_openapi.py
EXAMPLES = int(os.environ.get("OPENAPI_EXAMPLES", "6"))


@pytest.fixture(scope="module")
def description() -> dict[str, Any]:
    with GENERATOR_STATS.silence():
        GENERATOR_STATS.reset()
        return SchemaGenerator().get_schema(request=None, public=True)


def values_of(schema: Any, path: str) -> Iterator[tuple[str, dict[str, Any]]]:
    """Every schema of one value that stands in a schema, itself included, with the way to it."""
    if not isinstance(schema, dict):
        return
    yield path, schema
    for name, part in schema.get("properties", {}).items():
        yield from values_of(part, f"{path}.{name}")
    for word in ("items", "additionalProperties"):
        yield from values_of(schema.get(word), f"{path}.{word}")
    for word in ("anyOf", "oneOf", "allOf"):
        for index, part in enumerate(schema.get(word, [])):
            yield from values_of(part, f"{path}.{word}[{index}]")


def everything_described(description: dict[str, Any]) -> Iterator[tuple[str, dict[str, Any]]]:
    for name, schema in description["components"]["schemas"].items():
        yield from values_of(schema, name)
    for address, operations in description["paths"].items():
        for method, operation in operations.items():
            where = f"{method} {address}"
            for parameter in operation.get("parameters", []):
                yield from values_of(parameter["schema"], f"{where} {parameter['name']}")
            for media, body in operation.get("requestBody", {}).get("content", {}).items():
                yield from values_of(body["schema"], f"{where} {media}")
            for status, answer in operation["responses"].items():
                for media, body in answer.get("content", {}).items():
                    yield from values_of(body["schema"], f"{where} {status} {media}")


def test_the_description_is_valid_and_was_made_without_a_warning(description: dict[str, Any]) -> None:
    assert not GENERATOR_STATS, "see manage.py spectacular --fail-on-warn"
    assert description["openapi"].startswith("3.1")
    validate_schema(description)


def test_every_value_has_a_type_and_every_list_and_table_says_of_what(description: dict[str, Any]) -> None:
    untyped = [
        path
        for path, schema in everything_described(description)
        if not any(word in schema for word in TYPING)
        or (schema.get("type") == "array" and "items" not in schema)
        or (
            schema.get("type") == "object"
            and "properties" not in schema
            and not isinstance(schema.get("additionalProperties"), dict)
        )
    ]
    assert untyped == []


def test_every_operation_says_what_it_does_and_what_it_answers(description: dict[str, Any]) -> None:
    for address, operations in description["paths"].items():
        for method, operation in operations.items():
            assert operation.get("description"), f"{method} {address} has no description"
            assert any(status.startswith("2") for status in operation["responses"]), f"{method} {address}"


def test_the_description_is_served_as_it_is_made(client: Client, description: dict[str, Any]) -> None:
    served = client.get("/api/v1/schema/", headers={"Accept": "application/json"})
    assert served.status_code == 200
    assert served.json()["paths"].keys() == description["paths"].keys()


def test_the_documentation_page_asks_no_other_host(client: Client) -> None:
    page = client.get("/api/v1/docs/")
    assert page.status_code == 200
    addresses = re.findall(r"""(?:src|href)=["']([^"']+)["']""", page.content.decode())
    assert addresses
    for address in addresses:
        assert re.match(r"/static/[^/]", address), f"{address} is not served from here"
        assert finders.find(address.removeprefix("/static/")), f"{address} is not there"
        # Also without DEBUG, which the suite runs in.
        assert client.get(address).status_code == 200
    # Neither may the scripts themselves fetch anything: the browser refuses what this header does not allow.
    rules = page.headers["Content-Security-Policy"]
    assert rules.startswith("default-src 'self';")
    assert "http" not in rules
    assert "*" not in rules


@pytest.fixture
def one_connection() -> Iterator[None]:
    """Keep the connection, and with it the test's transaction, from request to request, as Django's own client does."""
    for signal in (request_started, request_finished):
        signal.disconnect(close_old_connections)
    yield
    for signal in (request_started, request_finished):
        signal.connect(close_old_connections)


@pytest.fixture
def described(one_connection: None, as_owner: APIClient, owner: Membership) -> Any:
    """The API as schemathesis sees it, in this process, with the owner's token."""
    schema = schemathesis.openapi.from_wsgi("/api/v1/schema/?format=json", get_wsgi_application())
    schema.config.update(headers={"Authorization": as_owner._credentials["HTTP_AUTHORIZATION"]})

    @schema.hook
    def map_path_parameters(context: Any, path_parameters: Any) -> Any:
        return of_rows_that_exist(context.operation.path, path_parameters, owner)

    return schema


def of_rows_that_exist(path: str, parameters: Any, membership: Membership) -> Any:
    """Put the id of a row of the owner's in the place of most numbers that were made up: those only ever meet a 404."""
    number = (parameters or {}).get("id")
    if not isinstance(number, int):
        return parameters
    view = resolve(re.sub(r"\{\w+\}", "1", path)).func.cls
    rows = list(view.queryset.all().visible_to(membership).order_by("pk").values_list("pk", flat=True)[:20])
    return {**parameters, "id": rows[number % len(rows)]} if rows and number % 4 else parameters


def search(operation: Any) -> None:
    """Make requests to one operation, well formed and malformed, and hold each answer against its description."""

    @settings(
        max_examples=EXAMPLES,
        deadline=None,
        derandomize=True,
        database=None,
        suppress_health_check=list(HealthCheck),
    )
    @given(case=operation.as_strategy(GenerationMode.POSITIVE) | operation.as_strategy(GenerationMode.NEGATIVE))
    def every_answer_is_as_described(case: Any) -> None:
        with transaction.atomic():
            response = case.call()
            # The next request meets the same rows as this one.
            transaction.set_rollback(True)
        case.validate_response(
            response,
            checks=[
                not_a_server_error,
                status_code_conformance,
                content_type_conformance,
                response_headers_conformance,
                response_schema_conformance,
            ],
        )

    every_answer_is_as_described()


def test_every_answer_is_one_the_description_promises(described: Any) -> None:
    failures = {}
    for result in described.get_all_operations():
        operation = result.ok()
        try:
            search(operation)
        except Exception as error:
            failures[operation.label] = error
    assert not failures, "\n\n".join(f"{label}: {error}" for label, error in failures.items())
