"""Needs: what must be done, and what each day of waiting costs."""

from typing import Any

from drf_spectacular.utils import extend_schema
from rest_framework import serializers
from rest_framework.decorators import action
from rest_framework.request import Request
from rest_framework.response import Response

from accounts.http.fields import TenantRelatedField
from accounts.http.serializers import StrictSerializer, TenantModelSerializer
from accounts.http.viewsets import CreateMixin, ReadOnlyViewSet
from fleet.models import CatalogueItem, Position, Unit
from scheduling.api.notes import NoteSerializer
from scheduling.models import Need
from scheduling.services.needs.needs import add_need, drop_need


class NeedSerializer(TenantModelSerializer):
    """One task at a unit, where it comes from, and why."""

    unit_code = serializers.CharField(source="unit.code", read_only=True)

    class Meta:
        model = Need
        fields = [
            "id",
            "site",
            "unit",
            "unit_code",
            "position",
            "kind",
            "label",
            "source",
            "cause",
            "state",
            "item",
            "missing_part",
            "forecast",
            "lag_forecast",
            "finding",
            "minutes",
            "skills",
            "reading_way",
            "is_urgent",
            "not_before",
            "due_on",
            "deadline",
            "best_day",
            "reason",
            "created_at",
            "updated_at",
            "closed_at",
        ]
        read_only_fields = fields

    skills = serializers.ListField(child=serializers.CharField(), read_only=True)


class ExplainedNeedSerializer(NeedSerializer):
    """One task with the whole of its reasons: what it costs to do it on each day."""

    cost_curve = serializers.ListField(
        child=serializers.FloatField(allow_null=True),
        read_only=True,
        help_text="expected waste and lateness when done on each day from curve_first_day; null: not allowed then",
    )

    class Meta(NeedSerializer.Meta):
        fields = [
            *NeedSerializer.Meta.fields,
            "price",
            "late_cost_per_day",
            "exhausted_cost_per_day",
            "curve_first_day",
            "cost_curve",
        ]
        read_only_fields = fields


class NewNeedSerializer(StrictSerializer):
    """Something that a person wants done at a unit."""

    unit = TenantRelatedField(queryset=Unit.objects.all())
    kind = serializers.ChoiceField(choices=Need.Kind.choices)
    position = TenantRelatedField(
        queryset=Position.objects.all(),
        required=False,
        allow_null=True,
        default=None,
        help_text="id of the position, one of that unit's",
    )
    item = TenantRelatedField(
        queryset=CatalogueItem.objects.all(),
        required=False,
        allow_null=True,
        default=None,
        help_text="id of the item to be fitted",
    )
    reason = serializers.CharField(max_length=1000)
    is_urgent = serializers.BooleanField(required=False, default=False)
    not_before = serializers.DateField(required=False, allow_null=True, default=None)
    due_on = serializers.DateField(
        required=False, allow_null=True, default=None, help_text="day from which it is late; empty: from now on"
    )
    deadline = serializers.DateField(
        required=False, allow_null=True, default=None, help_text="last day on which it may be done"
    )


class NeedViewSet(CreateMixin, ReadOnlyViewSet):
    """What must be done at the units; a single need shows what it costs to do it on each day."""

    resource = "need"
    company_first = True
    queryset = Need.objects.select_related("unit")
    serializer_class = NeedSerializer
    input_serializer_class = NewNeedSerializer
    filterset_fields = {
        "site": ["exact"],
        "unit": ["exact"],
        "kind": ["exact"],
        "source": ["exact"],
        "state": ["exact"],
        "is_urgent": ["exact"],
        "best_day": ["gte", "lte"],
    }
    ordering_fields = ["best_day", "created_at", "updated_at"]

    def get_serializer_class(self) -> Any:
        return NeedSerializer if self.action == "list" else ExplainedNeedSerializer

    def perform_create(self, serializer: Any) -> Need:
        return add_need(by=self.by, now=self.now, **serializer.validated_data)

    @extend_schema(request=NoteSerializer, responses=ExplainedNeedSerializer)
    @action(detail=True, methods=["post"])
    def drop(self, request: Request, pk: str) -> Response:
        """Close a need that a person asked for; the others close by themselves."""
        with self.transaction():
            need = self.locked_object()
            sent = NoteSerializer.read(self)
            return self.answer(self.reread(drop_need(need=need, by=self.by, now=self.now, **sent)))
