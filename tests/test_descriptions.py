"""Every field of every answer and request says in the OpenAPI document what it is."""

from collections.abc import Iterator
from importlib import import_module
from typing import Any

import pytest
from drf_spectacular.drainage import GENERATOR_STATS
from drf_spectacular.generators import SchemaGenerator

from accounts.http.descriptions import described_schemas

ROOMS = ("accounts", "fleet", "scheduling")


@pytest.fixture(scope="module")
def document() -> dict[str, Any]:
    with GENERATOR_STATS.silence():
        GENERATOR_STATS.reset()
        return SchemaGenerator().get_schema(request=None, public=True)


def is_described(properties: dict[str, Any]) -> bool:
    """Whether a field says what it is, itself or by the schema it refers to, and not only who reads it."""
    text = properties.get("description", "").strip()
    if text and not text.startswith("Absent unless"):
        return True

    parts = [properties, properties.get("items", {}), *(properties.get(word, [{}])[0] for word in ("allOf", "oneOf"))]
    return any("$ref" in part for part in parts)


def fields_of(schema: Any, path: str) -> Iterator[tuple[str, dict[str, Any]]]:
    """Fields of a schema and of those inside of it, with the way to each."""
    if not isinstance(schema, dict):
        return
    for name, properties in schema.get("properties", {}).items():
        yield f"{path}.{name}", properties
        yield from fields_of(properties, f"{path}.{name}")
    for word in ("items", "additionalProperties"):
        yield from fields_of(schema.get(word), path)
    for word in ("allOf", "oneOf", "anyOf"):
        for part in schema.get(word, ()):
            yield from fields_of(part, path)


def test_every_field_says_what_it_is(document: dict[str, Any]) -> None:
    schemas = document["components"]["schemas"]
    fields = [field for name, schema in schemas.items() for field in fields_of(schema, name)]
    assert len(fields) > 2000
    assert [path for path, properties in fields if not is_described(properties)] == []


@pytest.mark.parametrize("room", ROOMS)
def test_every_schema_of_a_room_says_what_it_is(document: dict[str, Any], room: str) -> None:
    schemas = list(described_schemas(document, room))
    assert len(schemas) > 20
    assert [name for name, schema in schemas if not schema.get("description", "").strip()] == []


@pytest.mark.parametrize("room", ROOMS)
def test_every_description_of_a_room_describes_a_field(document: dict[str, Any], room: str) -> None:
    descriptions = import_module(f"{room}.api.descriptions").DESCRIPTIONS
    used = set()
    for name, schema in described_schemas(document, room):
        for field, properties in schema.get("properties", {}).items():
            text = properties.get("description", "")
            used |= {key for key in (field, f"{name}.{field}") if text.startswith(descriptions.get(key, "?"))}
    assert set(descriptions) - used == set()


def test_who_reads_a_field_is_told_after_what_it_is(document: dict[str, Any]) -> None:
    action = document["components"]["schemas"]["Finding"]["properties"]["action"]["description"]
    assert action.startswith("what to do once it is confirmed. Absent unless your role is ")
