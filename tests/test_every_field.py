"""Every field of every body takes what it should and refuses the rest: no input makes the server slip."""

import json
import re
from typing import Any

import pytest
from drf_spectacular.drainage import GENERATOR_STATS
from drf_spectacular.generators import SchemaGenerator
from rest_framework.test import APIClient

from accounts.models import Client, Company
from tests.effort import some
from tests.routes import Route, every_route
from tests.rows import make_row

pytestmark = pytest.mark.interface

WRITES = [
    route
    for route in every_route()
    if route.method in ("POST", "PATCH") and getattr(route.view_class, "resource", None)
]

JUNK: list[Any] = [
    None,
    True,
    "",
    " ",
    "x",
    "nan",
    "-inf",
    "1e400",
    "x" * 10_000,
    "\u202e\u0301\U0001f4a7",
    0,
    -1,
    1.5,
    1e308,
    -1e308,
    2**31,
    2**63,
    10**40,
    [],
    [[]],
    [None],
    ["x"],
    [1e308],
    {},
    {"": ""},
    {"value": None, "unit": None},
    {"value": "nan", "unit": "psi"},
    {"value": 1e308, "unit": "degF"},
    {"value": 1, "unit": "x" * 500},
    "0001-01-01T00:00:00+14:00",
    "9999-12-31T23:59:59-14:00",
    "2026-02-30",
    "24:00",
    "60 psi psi",
]

# One thing wrong in what is otherwise as it was gets past the serializer, to the service and the database.
HARD: list[Any] = [None, "", "x" * 10_000, "nan", -1, 1e308, 2**63, [], {}, ["x"], "9999-12-31T23:59:59-14:00"]


def bodies() -> dict[str, list[str]]:
    """Name the fields of each body, by method and address, as the description has them."""
    with GENERATOR_STATS.silence():
        schema = SchemaGenerator().get_schema(request=None, public=True)
    fields_of_route: dict[str, list[str]] = {}
    for path, operations in schema["paths"].items():
        for method, operation in operations.items():
            content = operation.get("requestBody", {}).get("content", {}).get("application/json", {})
            body = content.get("schema", {})
            while "$ref" in body:
                body = schema["components"]["schemas"][body["$ref"].rsplit("/", 1)[-1]]
            fields_of_route[f"{method.upper()} {path.replace('{id}', '<pk>')}"] = list(body.get("properties", {}))
    return fields_of_route


# Sentences of the framework that tell neither what was sent nor what would be right.
OF_FRAMEWORK = re.compile(
    r"^(This field|Must be a|Not a valid|A valid|Ensure |Enter a|Expected |Invalid data|Datetime |Date |Time |"
    r"Duration |String value|Value must|\".*\" is not a valid|No file|The submitted|Incorrect type|Invalid pk)"
)


@pytest.fixture(scope="module")
def fields() -> dict[str, list[str]]:
    return bodies()


def answer(api: APIClient, route: Route, path: str, body: Any) -> None:
    response = getattr(api, route.method.lower())(path, body, format="json")
    assert response.status_code < 500, (body, response.content)
    if response.status_code >= 400:
        assert response.headers["Content-Type"] == "application/problem+json"
        problem = json.loads(response.content)
        if problem["code"] == "invalid":
            assert problem["errors"], problem
            assert all(fault["detail"] for fault in problem["errors"])
            own_words = [fault for fault in problem["errors"] if OF_FRAMEWORK.search(fault["detail"])]
            assert not own_words, (body, own_words)


@pytest.mark.parametrize("route", WRITES, ids=str)
def test_no_body_makes_the_server_slip(
    route: Route, fields: dict[str, list[str]], as_owner: APIClient, company: Company, first_client: Client
) -> None:
    pk: Any = ""
    if "<pk>" in route.path:
        pk = make_row(route.view_class.queryset.model, company=company, client=first_client).pk
    path = route.path.replace("<pk>", str(pk))
    names = fields[str(route)]
    for body in ([], [None], [{}], "x", 1.5, True, {}, {"": ""}):
        answer(as_owner, route, path, body)
    if names:
        for junk in some(JUNK, str(route), one_in=4):
            answer(as_owner, route, path, dict.fromkeys(names, junk))
    if route.method == "PATCH":
        for name in names:
            for junk in some(HARD, f"{route} {name}", one_in=8):
                answer(as_owner, route, path, {name: junk})
