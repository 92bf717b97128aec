"""Every field of the fleet's answers and requests says in the OpenAPI document what it is."""

from typing import Any

import pytest
from drf_spectacular.drainage import GENERATOR_STATS
from drf_spectacular.generators import SchemaGenerator

from fleet.api import descriptions


@pytest.fixture(scope="module")
def document() -> dict[str, Any]:
    with GENERATOR_STATS.silence():
        GENERATOR_STATS.reset()
        return SchemaGenerator().get_schema(request=None, public=True)


def is_described(properties: dict[str, Any]) -> bool:
    """Whether a field says what it is, itself or by the schema it refers to."""
    if properties.get("description", "").strip():
        return True
    parts = [properties, properties.get("items", {}), *(properties.get(word, [{}])[0] for word in ("allOf", "oneOf"))]
    return any("$ref" in part for part in parts)


def test_every_field_of_the_fleet_says_what_it_is(document: dict[str, Any]) -> None:
    schemas = list(descriptions.described_schemas(document))
    assert len(schemas) > 50
    fields = [(name, field, value) for name, schema in schemas for field, value in schema.get("properties", {}).items()]
    assert not [f"{name}.{field}" for name, field, value in fields if not is_described(value)]
    assert not [name for name, schema in schemas if not schema.get("description", "").strip()]


def test_every_description_describes_a_field(document: dict[str, Any]) -> None:
    used = set()
    for name, schema in descriptions.described_schemas(document):
        for field, properties in schema.get("properties", {}).items():
            text = properties.get("description", "")
            used |= {
                key for key in (field, f"{name}.{field}") if text.startswith(descriptions.DESCRIPTIONS.get(key, "?"))
            }
    assert set(descriptions.DESCRIPTIONS) == used


def test_who_reads_a_field_is_told_after_what_it_is(document: dict[str, Any]) -> None:
    action = document["components"]["schemas"]["Finding"]["properties"]["action"]["description"]
    assert action.startswith("what to do once it is confirmed. Absent unless your role is ")
