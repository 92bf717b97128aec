"""The base of every serializer: strict about fields, tenant-safe about related ids."""

from collections.abc import Mapping
from datetime import datetime
from typing import Any

from django.db import models
from rest_framework import serializers

from accounts.api.fields import FiniteFloatField, MomentField, OneOfField, TenantRelatedField
from accounts.models import Membership


class StrictSerializer(serializers.Serializer[Any]):
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

    def _unknown(self, data: Mapping[str, Any]) -> dict[str, Any]:
        known = [name for name, field in self.fields.items() if not field.read_only]
        faults: dict[str, Any] = {}
        for name in data:
            if name in known:
                continue
            what = "The server sets this field" if name in self.fields else "There is no such field"
            faults[str(name)] = [f"{what}; the fields to send are: {', '.join(known) or 'none'}."]
        return faults


class TenantModelSerializer(StrictSerializer, serializers.ModelSerializer[Any]):
    """A model serializer whose related ids are looked up among the rows the acting member may see."""

    serializer_related_field = TenantRelatedField
    serializer_choice_field = OneOfField
    serializer_field_mapping = {
        **serializers.ModelSerializer.serializer_field_mapping,
        models.FloatField: FiniteFloatField,
        models.DateTimeField: MomentField,
    }
