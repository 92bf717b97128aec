"""Fields of serializers, made once for each class; and how their values are read from a row, worked out once an answer.

A serializer is made for every request, and an answer has thousands of values: what depends on neither is kept. What is
answered is what the library answers.
"""

from collections.abc import Callable, Mapping
from copy import deepcopy
from operator import attrgetter
from typing import Any, Final, NamedTuple

from django.core.exceptions import ObjectDoesNotExist
from django.db import models
from rest_framework import serializers
from rest_framework.fields import Field, SkipField
from rest_framework.relations import PKOnlyObject
from rest_framework.utils.serializer_helpers import BindingDict

_MADE: Final[dict[type, dict[str, Any]]] = {}
_PLAIN = Field.get_attribute
_BY_KEY = serializers.PrimaryKeyRelatedField


def fields_of(serializer: Any) -> BindingDict:
    """The fields of a serializer, bound to it; what its `get_fields` says must be the same for all of its class."""
    kind = type(serializer)
    made = _MADE.get(kind)
    if made is None:
        made = _MADE[kind] = serializer.get_fields()
    fields = BindingDict(serializer)
    for name, field in made.items():
        fields[name] = _fresh(field)
    return fields


def _fresh(field: Any) -> Any:
    """An unbound field like one that was never bound."""
    # what holds other fields is bound to them
    if isinstance(field, serializers.BaseSerializer) or "child" in vars(field) or "child_relation" in vars(field):
        return deepcopy(field)
    fresh = object.__new__(type(field))
    fresh.__dict__.update(field.__dict__)
    return fresh


class Reader(NamedTuple):
    """How one field of an answer comes from a row.

    Attributes
    ----------
    name
        Of the field.
    key
        What is asked of a row that is a mapping; None where that is not as simple.
    get
        What reads the value of any other row; None where that is not as simple.
    slow
        The library's way, with all its exceptions.
    show
        Value to what is answered, for what `key` and `get` read.
    show_slow
        The same for what `slow` reads.
    """

    name: str
    key: str | None
    get: Callable[[Any], Any] | None
    slow: Callable[[Any], Any]
    show: Callable[[Any], Any]
    show_slow: Callable[[Any], Any]


def reader_of(field: Any, model: type[models.Model] | None) -> Reader:
    """How a bound field of a serializer, of rows of a model, is read."""
    slow, show, kind = field.get_attribute, field.to_representation, type(field)
    key: str | None = None
    get: Callable[[Any], Any] | None = None
    shown = show
    if kind.get_attribute is _PLAIN and field.source_attrs:
        get = attrgetter(".".join(field.source_attrs))
        key = field.source_attrs[0] if len(field.source_attrs) == 1 else None
    elif kind.get_attribute is _BY_KEY.get_attribute and kind.to_representation is _BY_KEY.to_representation:
        column = _key_column(model, field)
        if column is not None:
            get, shown = attrgetter(column), _itself
    return Reader(field.field_name, key, get, slow, shown, show)


def answer_of(row: Any, readers: list[Reader]) -> dict[str, Any]:
    """What is answered of a row, as `Serializer.to_representation` says."""
    answer: dict[str, Any] = {}
    is_mapping = _is_mapping(type(row))
    for name, key, get, slow, show, show_slow in readers:
        try:
            if is_mapping:
                value = row[key] if key is not None else _MISSING
            else:
                value = get(row) if get is not None else _MISSING
        except (AttributeError, KeyError, ObjectDoesNotExist):
            value = _MISSING
        # a method is called, as the library does
        if value is not _MISSING and not callable(value):
            answer[name] = None if value is None else show(value)
            continue
        try:
            value = slow(row)
        except SkipField:
            continue
        is_none = value is None or (isinstance(value, PKOnlyObject) and value.pk is None)
        answer[name] = None if is_none else show_slow(value)
    return answer


_MISSING: Final = object()


_IS_MAPPING: Final[dict[type, bool]] = {}


def _is_mapping(kind: type) -> bool:
    known = _IS_MAPPING.get(kind)
    if known is None:
        known = _IS_MAPPING[kind] = issubclass(kind, Mapping)
    return known


def _key_column(model: type[models.Model] | None, field: Any) -> str | None:
    """The column in which a model keeps the key that a field answers; None where it is no such field."""
    if model is None or len(field.source_attrs) != 1 or field.pk_field is not None:
        return None
    column = next((own for own in model._meta.concrete_fields if own.name == field.source_attrs[0]), None)
    return column.attname if column is not None and column.is_relation else None


def _itself(value: Any) -> Any:
    return value
