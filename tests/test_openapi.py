"""The description of the API is complete, opens without internet, and tells the truth about the answers.

The outside yardsticks are OpenAPI 3.1 itself, as drf-spectacular's validator holds its JSON Schema, and schemathesis,
which makes requests from the description and holds every answer against it.
"""

import json
import os
import re
from collections.abc import Callable, Iterator
from functools import partial
from typing import Any

import pytest
import schemathesis
from django.contrib.staticfiles import finders
from django.core.signals import request_finished, request_started
from django.core.wsgi import get_wsgi_application
from django.db import close_old_connections, transaction
from django.test import Client as Browser
from drf_spectacular.drainage import GENERATOR_STATS
from drf_spectacular.generators import SchemaGenerator
from drf_spectacular.validation import validate_schema
from hypothesis import HealthCheck, given, settings
from rest_framework.fields import CharField
from rest_framework.test import APIClient
from schemathesis import GenerationMode
from schemathesis.checks import not_a_server_error
from schemathesis.specs.openapi.checks import (
    content_type_conformance,
    response_headers_conformance,
    response_schema_conformance,
    status_code_conformance,
)

from accounts.jobs.api import ANY_JSON
from accounts.models import Client, Company, Invitation, Membership
from accounts.services.links import invitation_token
from fleet.config.examples import ANSWERS
from scheduling.models import Visit
from scheduling.services.people.answer_links import answer_token
from tests.effort import some
from tests.made_up_ids import ids_of, is_made_up, rows_by_name, with_rows_that_exist
from tests.routes import every_route
from tests.rows import make_row

pytestmark = pytest.mark.interface

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


def test_null_is_said_by_types_as_openapi_3_1_does(description: dict[str, Any]) -> None:
    assert [path for path, schema in everything_described(description) if "nullable" in schema] == []


def test_a_value_of_any_kind_may_hold_any_kind_inside() -> None:
    inside = [part[word] for part in ANY_JSON["oneOf"] for word in ("items", "additionalProperties") if word in part]
    kinds = {"number", "string", "boolean", "array", "object", "null"}
    assert [set(part["type"]) for part in inside] == [kinds, kinds]


def test_every_operation_says_what_it_does_and_what_it_answers(description: dict[str, Any]) -> None:
    for address, operations in description["paths"].items():
        for method, operation in operations.items():
            assert operation.get("description"), f"{method} {address} has no description"
            assert any(status.startswith("2") for status in operation["responses"]), f"{method} {address}"


def test_every_operation_has_a_summary_of_its_own_and_every_tag_says_what_it_is_about(
    description: dict[str, Any],
) -> None:
    summaries: dict[str, str] = {}
    for address, operations in description["paths"].items():
        for method, operation in operations.items():
            summary, where = operation.get("summary", ""), f"{method} {address}"
            assert 8 <= len(summary) <= 160, f"{where}: {summary}"
            assert not summary.endswith("."), where
            same = summaries.setdefault(f"{operation['tags'][0]} {summary}", where)
            assert same == where, f"{where} and {same}: {summary}"
    tags = {tag["name"]: tag["description"] for tag in description["tags"]}
    used = {tag for operations in description["paths"].values() for one in operations.values() for tag in one["tags"]}
    assert set(tags) == used
    assert all(len(words) > 3 for words in tags.values()), tags


# Not sent by `tests/test_every_write.py`: the first code of an authenticator, which changes by the minute.
WITHOUT_EXAMPLE = 1


def test_bodies_have_examples_that_were_carried_out(description: dict[str, Any]) -> None:
    bodies = {
        f"{method} {address}": operation["requestBody"]["content"]["application/json"]
        for address, operations in description["paths"].items()
        for method, operation in operations.items()
        if "application/json" in operation.get("requestBody", {}).get("content", {})
    }
    without = sorted(where for where, content in bodies.items() if "example" not in content)
    assert len(bodies) > 100
    assert len(without) <= WITHOUT_EXAMPLE, without


#: Plain strings in which single words are met, and why no list of them is promised.
OPEN_WORDS = {
    "AuditEntry.subject_kind": "kinds of rows come with every release, and old entries keep those of their time",
    "Job.kind": "kinds of work come and go, and old jobs keep those of their time",
    "Me.may[]": "actions come with every release; a program asks for the ones it knows",
    "Quantity.unit": "units of measure, whose notation the upload takes in many spellings",
    "RowFault.code": "codes come with every check",
    "RowFault.field": "the field as the sender heads it, where it is none of ours",
    "ProblemKind.code": "codes come with every check; the list of today is what this very answer is",
}
#: Lists that are answered at once, as they cannot grow with a company, and what bounds them; all others are pages.
LISTS_AT_ONCE = {
    "get /api/v1/problems/": "the types of problems, a table of the code",
    "post /api/v1/rounds/{id}/confirm-load/": "what this call moved: a transfer for each line of the load, sent as one",
}


def words_of(value: Any, schema: dict[str, Any], path: str, schemas: dict[str, Any]) -> Iterator[tuple[str, str, str]]:
    """Strings of an answer that no enumeration stands behind, each with its place in the schema and its format."""
    if "$ref" in schema:
        path = schema["$ref"].rpartition("/")[2]
        schema = schemas[path]
    ways = [part for word in ("anyOf", "oneOf", "allOf") for part in schema.get(word, [])]
    if any({"enum", "const"} & set(schemas[way["$ref"].rpartition("/")[2]] if "$ref" in way else way) for way in ways):
        return
    for way in ways:
        yield from words_of(value, way, path, schemas)
    if isinstance(value, dict):
        for name, part in value.items():
            inner = schema.get("properties", {}).get(name)
            if inner is not None:
                yield from words_of(part, inner, f"{path}.{name}", schemas)
            elif isinstance(schema.get("additionalProperties"), dict):
                yield from words_of(part, schema["additionalProperties"], path, schemas)
    elif isinstance(value, list) and isinstance(schema.get("items"), dict):
        for part in value:
            yield from words_of(part, schema["items"], f"{path}[]", schemas)
    elif isinstance(value, str) and not ways and not {"enum", "const"} & set(schema):
        yield path, value, schema.get("format", "")


@pytest.fixture(scope="module")
def strings(description: dict[str, Any]) -> list[tuple[str, str, str]]:
    """Every string of the kept answers that is described as a plain one."""
    answers = json.loads(ANSWERS.read_text())
    paths = {re.sub(r"\{\w+\}", "<>", path): operations for path, operations in description["paths"].items()}
    found: list[tuple[str, str, str]] = []
    for route, answer in answers.items():
        method, _, path = route.partition(" ")
        operation = paths[re.sub(r"<\w+>", "<>", path)][method.lower()]
        schema = operation["responses"]["200"]["content"]["application/json"]["schema"]
        found += words_of(answer, schema, path, description["components"]["schemas"])
    return found


def test_words_that_are_fixed_are_listed(strings: list[tuple[str, str, str]]) -> None:
    free = {place: word for place, word, form in strings if re.fullmatch("[a-z]+(_[a-z]+)*", word) and not form}
    assert len(strings) > 500
    assert {place: word for place, word in free.items() if place not in OPEN_WORDS} == {}


def test_days_and_moments_are_written_in_one_way(strings: list[tuple[str, str, str]]) -> None:
    """After RFC 3339: a day, or a moment in UTC; events, whose body is free, write theirs so too."""
    dated = [one for one in strings if re.match(r"\d{4}-\d\d-\d\d(T|$)", one[1])]
    assert len(dated) > 100
    for place, text, form in dated:
        is_day = re.fullmatch(r"\d{4}-\d\d-\d\d", text) is not None
        assert is_day or re.fullmatch(r"\d{4}-\d\d-\d\dT\d\d:\d\d:\d\d(\.\d+)?Z", text), f"{place}: {text}"
        assert form in ("date", "date-time") or place.startswith("WebhookDelivery.body"), f"{place}: {text}"


def test_choices_of_the_tables_are_enumerations(description: dict[str, Any]) -> None:
    """Whatever a model keeps as one of a few words is described as one of them by every answer that shows it."""
    plain = set()
    for route in every_route():
        serializer = getattr(route.view_class, "serializer_class", None)
        if serializer is None or not hasattr(getattr(serializer, "Meta", None), "model"):
            continue
        for name, field in serializer().fields.items():
            columns = {one.name: one for one in serializer.Meta.model._meta.fields}
            column = columns.get(field.source)
            if column is not None and column.choices and type(field) is CharField:
                plain.add(f"{serializer.__name__}.{name}")
    assert plain == set()


def test_lists_are_pages(description: dict[str, Any]) -> None:
    schemas = description["components"]["schemas"]
    at_once = set()
    for address, operations in description["paths"].items():
        for method, operation in operations.items():
            for status, answer in operation["responses"].items():
                for body in answer.get("content", {}).values():
                    schema = body["schema"]
                    schema = schemas[schema["$ref"].rpartition("/")[2]] if "$ref" in schema else schema
                    if status.startswith("2") and schema.get("type") == "array":
                        at_once.add(f"{method} {address}")
    assert at_once == set(LISTS_AT_ONCE)


def test_the_description_is_served_as_it_is_made(client: Browser, description: dict[str, Any]) -> None:
    served = client.get("/api/v1/schema/", headers={"Accept": "application/json"})
    assert served.status_code == 200
    assert served.json()["paths"].keys() == description["paths"].keys()


def test_the_documentation_page_asks_no_other_host(client: Browser) -> None:
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
def token(as_owner: APIClient) -> str:
    return str(as_owner._credentials["HTTP_AUTHORIZATION"])


@pytest.fixture
def rows(company: Company, first_client: Client) -> dict[str, list[int]]:
    """Two rows of everything that an address can name; their ids by the name of the model, as in `access_window`."""
    views = [route.view_class for route in every_route() if "<pk>" in route.path]
    for view in views:
        for _ in range(2):
            make_row(view.queryset.model, company=company, client=first_client)
    return rows_by_name(company)


@pytest.fixture
def described(one_connection: None, owner: Membership, rows: dict[str, list[int]]) -> Any:
    """The API as schemathesis sees it, in this process."""
    schema = schemathesis.openapi.from_wsgi("/api/v1/schema/?format=json", get_wsgi_application())

    @schema.hook
    def map_path_parameters(context: Any, path_parameters: Any) -> Any:
        number = (path_parameters or {}).get("id")
        ids = ids_of(context.operation.path, owner)
        return {**path_parameters, "id": ids[number % len(ids)]} if is_made_up(number) and ids else path_parameters

    @schema.hook
    def map_body(context: Any, body: Any) -> Any:
        return with_rows_that_exist(body, rows)

    return schema


def checked(case: Any, token: str) -> int:
    """Send a request, hold the answer against the description, and give its status."""
    with transaction.atomic():
        response = case.call(headers={"Authorization": token})
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
    return int(response.status_code)


def search(operation: Any, token: str) -> None:
    """Make requests to one operation, well formed and malformed."""

    @settings(max_examples=EXAMPLES, database=None, suppress_health_check=list(HealthCheck))
    @given(case=operation.as_strategy(GenerationMode.POSITIVE) | operation.as_strategy(GenerationMode.NEGATIVE))
    def every_answer_is_as_described(case: Any) -> None:
        checked(case, token)

    every_answer_is_as_described()


def check_every_operation(described: Any, check: Callable[[Any], None], one_in: int = 1) -> None:
    """Check them all, or in a short run one in so many, and tell every failure at once."""
    failures = []
    for operation in some([result.ok() for result in described.get_all_operations()], "openapi", one_in):
        try:
            check(operation)
        except (Exception, BaseExceptionGroup) as error:
            failures.append(f"{operation.label}: {error}")
    if failures:
        pytest.fail("\n\n".join(failures), pytrace=False)


def test_every_thing_that_is_there_is_answered_as_described(described: Any, owner: Membership, token: str) -> None:
    def read(operation: Any) -> None:
        if operation.method != "get":
            return
        names = [parameter.name for parameter in operation.path_parameters]
        for id_ in ids_of(operation.path, owner) if "id" in names else [1]:
            parameters = {"id": id_, "kind": "not_found", "token": token_for(operation.path)}
            needed = {parameter.name: "a" for parameter in operation.query if parameter.is_required}
            case = operation.Case(path_parameters={name: parameters[name] for name in names}, query=needed)
            # The owner drives no round, so there is no day of theirs to show.
            assert checked(case, token) == (404 if operation.path.endswith("/my-day/") else 200)

    check_every_operation(described, read, one_in=4)


def token_for(path: str) -> str:
    """The signed part of a link of the kind that an address reads."""
    if "/invitation-links/" in path:
        return invitation_token(Invitation.objects.first())
    return answer_token(Visit.objects.first())


def test_whatever_is_asked_is_answered_as_described(described: Any, token: str) -> None:
    check_every_operation(described, partial(search, token=token), one_in=8)
