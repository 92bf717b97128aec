"""Every id in every body, however deep it stands, is looked up among one's own rows.

Where a body may name a row is read from the description of the interface. There another company's row is named, and
then one that never existed: both are refused, and in the same words.
"""

import json
import re
from collections.abc import Iterator
from copy import deepcopy
from typing import Any

import pytest
from django.db import transaction
from drf_spectacular.drainage import GENERATOR_STATS
from drf_spectacular.generators import SchemaGenerator
from rest_framework.test import APIClient

from accounts.models import Client, Company
from accounts.tenancy import TenantModel
from tests import factories
from tests.made_up_ids import rows_by_name
from tests.rows import FACTORIES, make_row
from tests.test_every_route import ABSENT, ROWS, address, model_of
from tests.test_every_write import REQUESTS, STATES, WRITES, _unit

pytestmark = pytest.mark.interface

#: What bodies call a row, where it is not the name of its table.
CALLED = {"item": "catalogue_item", "line": "purchase_order_line", "other": "placement", "needs": "need"}
BEFORE = ("first_", "second_", "from_", "to_")
#: Places that were tried when this was written; fewer would mean that the walk has lost its way.
LEAST_PLACES = 60


def kind_of_row(name: str) -> str:
    for prefix in BEFORE:
        name = name.removeprefix(prefix)
    return CALLED.get(name, name)


def places(schema: Any, schemas: dict[str, Any], way: tuple[str | int, ...] = ()) -> Iterator[tuple[str | int, ...]]:
    """Ways to everything in a body that is called like a row."""
    if "$ref" in schema:
        schema = schemas[schema["$ref"].rpartition("/")[2]]
    if set(schema.get("properties", {})) == {"value", "unit"}:
        return  # a quantity in its unit of measure
    for part in (part for word in ("allOf", "anyOf", "oneOf") for part in schema.get(word, [])):
        yield from places(part, schemas, way)
    for name, part in schema.get("properties", {}).items():
        yield (*way, name)
        yield from places(part, schemas, (*way, name))
    if isinstance(schema.get("items"), dict):
        yield (*way, 0)
        yield from places(schema["items"], schemas, (*way, 0))


def put(body: Any, way: tuple[str | int, ...], value: Any) -> Any:
    """The body with a value in its place; what is missing on the way there is made."""
    if not way:
        return value
    step, *rest = way
    if isinstance(step, int):
        inner = list(body) if isinstance(body, list) and body else [body if isinstance(body, dict) else {}]
        inner[0] = put(inner[0], tuple(rest), value)
        return inner
    inner_object = dict(body) if isinstance(body, dict) else {}
    inner_object[step] = put(inner_object.get(step), tuple(rest), value)
    return inner_object


def named_rows(way: tuple[str | int, ...], rows: dict[str, list[int]]) -> list[int]:
    """Rows that a place may name, by the last word of the way to it."""
    words = [step for step in way if isinstance(step, str)]
    name = words[-1] if words else ""
    if way and way[-1] == 0:
        name = name.removesuffix("s")
    return rows.get(kind_of_row(name), [])


def refusal(answer: Any) -> tuple[str, list[str]]:
    """Whether an answer refuses what was sent, and its reasons without their numbers.

    Of a list that is taken row by row, whether its only row was refused.
    """
    content = json.loads(answer.content or b"{}")
    if answer.status_code == 201 and "refused_rows" in content:
        faults, is_refused = (
            [fault for row in content["refused_rows"] for fault in row["faults"]],
            content["stored"] == 0,
        )
    else:
        faults, is_refused = content.get("errors", []), 400 <= answer.status_code < 500
    return "refused" if is_refused else str(answer.status_code), [re.sub(r"\d+", "...", str(one)) for one in faults]


def test_a_row_of_another_company_is_refused_like_one_that_never_was_wherever_a_body_may_name_it(
    company: Company, first_client: Client, rival_company: Company, as_owner: APIClient
) -> None:
    their_client = factories.ClientFactory(company=rival_company)
    for model in FACTORIES:
        if issubclass(model, TenantModel):
            make_row(model, company=rival_company, client=their_client)
    theirs = rows_by_name(rival_company)
    with GENERATOR_STATS.silence():
        description = SchemaGenerator().get_schema(request=None, public=True)
    tried, wrong = set(), []
    for route in WRITES:
        operation = description["paths"][route.path.replace("<pk>", "{id}")][route.method.lower()]
        content = operation.get("requestBody", {}).get("content", {}).get("application/json")
        if content is None:
            continue
        schemas = description["components"]["schemas"]
        ways = [way for way in places(content["schema"], schemas) if named_rows(way, theirs)]
        if not ways:
            continue
        with transaction.atomic():
            row = make_row(model_of(route), company=company, client=first_client) if route in ROWS else None
            if row is not None and str(route) in STATES:
                type(row)._base_manager.filter(pk=row.pk).update(**STATES[str(route)])
            make = REQUESTS.get(str(route))
            made = make(company, first_client, _unit(company, first_client), row) if make is not None else {}
            for way in ways:
                answers = []
                for pk in (named_rows(way, theirs)[0], ABSENT):
                    with transaction.atomic():
                        body, call = put(deepcopy(made), way, pk), getattr(as_owner, route.method.lower())
                        answer = call(address(route, row.pk if row is not None else ABSENT), body, format="json")
                        transaction.set_rollback(True)
                    answers.append(refusal(answer))
                tried.add((str(route), way))
                if answers[0] != answers[1] or answers[0][0] != "refused":
                    wrong.append((str(route), way, answers))
            transaction.set_rollback(True)
    assert not wrong, "\n".join(map(str, wrong))
    assert len(tried) >= LEAST_PLACES, len(tried)
