"""Which cartridge stood where, and the ways they come and go."""

from typing import Any

from drf_spectacular.utils import extend_schema
from rest_framework import serializers
from rest_framework.decorators import action
from rest_framework.request import Request
from rest_framework.response import Response

from accounts.http.fields import MomentField, OneOfField, TenantRelatedField
from accounts.http.serializers import AnswerSerializer, StrictSerializer, TenantModelSerializer
from accounts.http.viewsets import ReadCreateViewSet
from fleet.models import CatalogueItem, Placement, Position, Stage, Unit
from fleet.services.units import placements

REMOVAL_REASONS = [choice for choice in Placement.Removal.choices if choice[0] != Placement.Removal.ROTATED]


class PlacementSerializer(TenantModelSerializer):
    """One cartridge in one position from a day to a day; a rotated one names the placement it continues."""

    unit = serializers.IntegerField(source="position.unit_id", read_only=True)
    item_code = serializers.CharField(source="item.code", read_only=True)
    item_name = serializers.CharField(source="item.name", read_only=True)

    class Meta:
        model = Placement
        fields = [
            "id",
            "unit",
            "position",
            "item",
            "item_code",
            "item_name",
            "serial_or_lot",
            "placed_at",
            "removed_at",
            "removal",
            "first_installed_at",
            "continues",
        ]
        read_only_fields = fields


class NewPlacementSerializer(StrictSerializer):
    """A fresh cartridge for a position."""

    position = TenantRelatedField(queryset=Position.objects.all())
    item = TenantRelatedField(queryset=CatalogueItem.objects.all())
    placed_at = MomentField(required=False, allow_null=True, default=None, help_text="now when left out")
    serial_or_lot = serializers.CharField(max_length=60, required=False, allow_blank=True, default="")
    removal = OneOfField(
        choices=REMOVAL_REASONS,
        required=False,
        allow_blank=True,
        default="",
        help_text="why the installed cartridge is removed; required where there is one",
    )


class RemovalSerializer(StrictSerializer):
    """Why and when a cartridge leaves."""

    removal = OneOfField(choices=REMOVAL_REASONS)
    removed_at = MomentField(required=False, allow_null=True, default=None, help_text="now when left out")


class RotationSerializer(StrictSerializer):
    """Discard the lead, move the lag to lead, put a fresh cartridge in lag."""

    unit = TenantRelatedField(queryset=Unit.objects.all())
    stage = OneOfField(choices=[(Stage.CARBON.value, Stage.CARBON.label), (Stage.RESIN.value, Stage.RESIN.label)])
    item = TenantRelatedField(queryset=CatalogueItem.objects.all(), help_text="the fresh cartridge")
    rotated_at = MomentField(required=False, allow_null=True, default=None, help_text="now when left out")
    serial_or_lot = serializers.CharField(max_length=60, required=False, allow_blank=True, default="")
    removal = OneOfField(
        choices=REMOVAL_REASONS,
        required=False,
        default=Placement.Removal.ROUTINE.value,
        help_text="why the lead is removed; 'exhausted' only when that was seen",
    )


class RotatedSerializer(AnswerSerializer):
    """What a rotation did."""

    discarded = PlacementSerializer(allow_null=True)
    moved = PlacementSerializer()
    fresh = PlacementSerializer()


class PlacementViewSet(ReadCreateViewSet):
    """The cartridges that stand or stood in positions. POST places a fresh one."""

    resource = "placement"
    queryset = Placement.objects.select_related("position__unit", "item")
    serializer_class = PlacementSerializer
    input_serializer_class = NewPlacementSerializer
    filterset_fields = {
        "position": ["exact"],
        "position__unit": ["exact"],
        "position__unit__site": ["exact"],
        "position__stage": ["exact"],
        "item": ["exact"],
        "removed_at": ["isnull", "gte", "lt"],
        "placed_at": ["gte", "lt"],
        "removal": ["exact"],
    }
    ordering_fields = ["placed_at", "removed_at", "position"]

    def perform_create(self, serializer: Any) -> Placement:
        return placements.place(by=self.by, now=self.now, **serializer.validated_data)

    @extend_schema(request=RemovalSerializer, responses=PlacementSerializer)
    @action(detail=True, methods=["post"])
    def remove(self, request: Request, pk: str) -> Response:
        """Take a cartridge out for good."""
        with self.transaction():
            placement = self.locked_object()
            serializer = RemovalSerializer(data=request.data, context=self.get_serializer_context())
            serializer.is_valid(raise_exception=True)
            placements.remove(placement=placement, by=self.by, now=self.now, **serializer.validated_data)
            return self.answer(self.reread(placement))

    @extend_schema(request=RotationSerializer, responses={201: RotatedSerializer}, filters=False)
    @action(detail=False, methods=["post"])
    def rotate(self, request: Request) -> Response:
        """Discard the lead, move the lag to lead with its age, put a fresh cartridge in lag."""
        serializer = RotationSerializer(data=request.data, context=self.get_serializer_context())
        serializer.is_valid(raise_exception=True)
        with self.transaction():
            rotation = placements.rotate_lead_lag(by=self.by, now=self.now, **serializer.validated_data)
            data = RotatedSerializer(rotation, context=self.get_serializer_context()).data
        return Response(data, status=201)
