"""Descriptions in the OpenAPI document of fields that say nothing of themselves, mostly columns of the database.

Every room has a table of them and a hook of the generator. A field that means the same wherever it stands in a room is
described once, by its name; one that does not by its schema and name. A description that the field itself brings is
kept.
"""

from collections.abc import Callable, Iterator, Mapping
from typing import Any, Final

from rest_framework import serializers

_ROLES: Final = "Absent unless"
"""How the note on who reads a field begins; it stands behind a description, not in its place."""

Hook = Callable[[dict[str, Any], Any, Any, bool], dict[str, Any]]


def hook_of(room: str, descriptions: Mapping[str, str]) -> Hook:
    """A postprocessing hook of the OpenAPI generator that adds the descriptions of a room.

    Parameters
    ----------
    room
        Name of the package whose serializers are described, such as 'fleet'.
    descriptions
        What a field is, by 'field' or 'Schema.field'; the latter goes first.
    """

    def describe_fields(result: dict[str, Any], generator: Any, request: Any, public: bool) -> dict[str, Any]:
        for name, schema in described_schemas(result, room):
            for field, properties in schema.get("properties", {}).items():
                text = descriptions.get(f"{name}.{field}") or descriptions.get(field)
                present = properties.get("description", "")
                if text is None or "$ref" in properties or (present and not present.startswith(_ROLES)):
                    continue
                properties["description"] = f"{text}. {present}" if present else text
        return result

    return describe_fields


def described_schemas(document: Mapping[str, Any], room: str) -> Iterator[tuple[str, dict[str, Any]]]:
    """Every schema of a room in an OpenAPI document, by the name of its serializer."""
    names = set(_serializer_names(serializers.BaseSerializer, f"{room}."))
    for component, schema in document["components"]["schemas"].items():
        for name in (component, component.removeprefix("Patched").removesuffix("Request")):
            if name in names:
                yield name, schema
                break


def _serializer_names(serializer: type[Any], prefix: str) -> Iterator[str]:
    children: list[type[Any]] = serializer.__subclasses__()
    for child in children:
        if child.__module__.startswith(prefix):
            yield child.__name__.removesuffix("Serializer")
        yield from _serializer_names(child, prefix)
