"""The base of every serializer: strict about fields, tenant-safe about related ids."""

import re
from collections.abc import Mapping
from datetime import datetime
from functools import cached_property
from typing import Any, ClassVar, Final

from django.db import models
from rest_framework import serializers

from accounts.day_alone_field import DayOrMomentField as DayOrMomentColumn
from accounts.fields_seen import sees
from accounts.http.fields import DayOrMomentField, FiniteFloatField, MomentField, TenantRelatedField
from accounts.http.fields_once import Reader, answer_of, fields_of, reader_of
from accounts.http.wrong_values import explained
from accounts.models import Membership
from accounts.tenancy import TenantModel


class FieldsByRole:
    """Leaves out of an answer what the acting member's role does not read, by the table of `accounts.fields_seen`."""

    #: Fields that whoever sees the row reads, without rows of their own in the table.
    always_readable: frozenset[str] = frozenset()

    @classmethod
    def kinds(cls) -> tuple[str, ...]:
        """The names under which the table knows this serializer, its own before those it extends."""
        return tuple(base.__name__.removesuffix("Serializer") for base in cls.__mro__ if issubclass(base, FieldsByRole))

    #: Class and role to the fields that the role does not read: they are the same for every request.
    _hidden_of: ClassVar[dict[tuple[type, str | None], frozenset[str]]] = {}

    @cached_property
    def fields(self: Any) -> Any:
        """Its fields by name, made once for the class."""
        return fields_of(self)

    @cached_property
    def hidden(self: Any) -> frozenset[str]:
        """The fields that the acting member does not read."""
        membership = self.context.get("membership")
        key = type(self), membership.role if membership is not None else None
        if key not in self._hidden_of:
            kinds = self.kinds()
            self._hidden_of[key] = frozenset(
                name for name in self.fields if name not in self.always_readable and not sees(membership, kinds, name)
            )
        return self._hidden_of[key]

    @property
    def _readable_fields(self: Any) -> Any:
        for name, field in self.fields.items():
            if not field.write_only and name not in self.hidden:
                yield field

    @cached_property
    def _readers(self: Any) -> list[Reader]:
        model = getattr(getattr(self, "Meta", None), "model", None)
        return [reader_of(field, model) for field in self._readable_fields]

    def to_representation(self, instance: Any) -> Any:
        """What is answered of a row."""
        return answer_of(instance, self._readers)


class AnswerSerializer(FieldsByRole, serializers.Serializer[Any]):
    """The base of what is answered and is no row of a model."""


#: What stands in letters, lists and files on one line.
_ONE_LINE: Final = frozenset({"name", "code"})
_OTHER_THAN_PRINTED: Final = re.compile(r"[\x00-\x1f\x7f\u0085\u2028\u2029]")


def _one_line(text: Any) -> None:
    if isinstance(text, str) and _OTHER_THAN_PRINTED.search(text):
        raise serializers.ValidationError("Write it on one line, without tabs and other control characters.")


class StrictSerializer(AnswerSerializer):
    """A serializer that refuses fields it does not know, or does not take, instead of dropping them in silence."""

    @property
    def acting_member(self) -> Membership:
        """The membership the request acts for."""
        membership: Membership = self.context["membership"]
        return membership

    @property
    def now(self) -> datetime:
        """The moment the request came."""
        now: datetime = self.context["now"]
        return now

    def run_validation(self, data: Any = serializers.empty) -> Any:
        """Check what was sent; each refusal tells what that was and what would be right."""
        try:
            return super().run_validation(data)
        except serializers.ValidationError as error:
            raise serializers.ValidationError(explained(self, error.detail, data)) from error

    def to_internal_value(self, data: Any) -> Any:
        if isinstance(data, Mapping):
            unknown = self._unknown(data)
            if unknown:
                # What else is wrong is worth saying in the same answer.
                try:
                    super().to_internal_value(data)
                except serializers.ValidationError as error:
                    if isinstance(error.detail, dict):
                        unknown = {**error.detail, **unknown}
                raise serializers.ValidationError(unknown)
        return super().to_internal_value(data)

    def get_fields(self) -> dict[str, Any]:
        """Its fields, where what a thing is called is one line."""
        fields = super().get_fields()
        for name in _ONE_LINE & fields.keys():
            if isinstance(fields[name], serializers.CharField) and not fields[name].read_only:
                fields[name].validators = [*fields[name].validators, _one_line]
        return fields

    def _unknown(self, data: Mapping[str, Any]) -> dict[str, Any]:
        accepted_names = [name for name, field in self.fields.items() if not field.read_only]
        faults: dict[str, Any] = {}
        for name in data:
            if name in accepted_names:
                continue
            reason = "The server sets this field" if name in self.fields else "There is no such field"
            faults[str(name)] = [f"{reason}; the fields to send are: {', '.join(accepted_names) or 'none'}."]
        return faults


class TenantModelSerializer(StrictSerializer, serializers.ModelSerializer[Any]):
    """A model serializer whose related ids are looked up among the rows the acting member may see."""

    serializer_related_field = TenantRelatedField
    serializer_field_mapping = {
        **serializers.ModelSerializer.serializer_field_mapping,
        models.FloatField: FiniteFloatField,
        models.DateTimeField: MomentField,
        DayOrMomentColumn: DayOrMomentField,
    }

    def to_representation(self, instance: Any) -> Any:
        """Leave empty what a row keeps from the acting member although they see the rest of it."""
        answer = super().to_representation(instance)
        if isinstance(instance, TenantModel):
            for name in instance.fields_withheld(self.context.get("membership")):
                if name in answer:
                    column = instance._meta.get_field(name)
                    answer[name] = [] if column.one_to_many else None if column.null else ""
        return answer
