"""Which cartridge stood where, and the ways they come and go."""

from typing import Any, ClassVar

import django_filters
from drf_spectacular.utils import extend_schema, extend_schema_field
from rest_framework import serializers
from rest_framework.decorators import action
from rest_framework.request import Request
from rest_framework.response import Response

from accounts.http.fields import DayOrMomentField, TenantRelatedField
from accounts.http.filters import TenantFilterSet
from accounts.http.serializers import AnswerSerializer, StrictSerializer, TenantModelSerializer
from accounts.http.viewsets import ReadCreateViewSet
from fleet.api.putting_right import ReasonSerializer, read_body, without_voided_for_clients
from fleet.models import CatalogueItem, Placement, Position, Stage, Unit
from fleet.services.units import corrections, placements

REMOVAL_REASONS = [choice for choice in Placement.Removal.choices if choice[0] != Placement.Removal.ROTATED]


class PlacementSerializer(TenantModelSerializer):
    """One cartridge in one position from a day to a day; a rotated one names the placement it continues."""

    unit = serializers.IntegerField(source="position.unit_id", read_only=True)
    item_code = serializers.CharField(source="item.code", read_only=True)
    item_name = serializers.CharField(source="item.name", read_only=True)
    corrected_by = serializers.SerializerMethodField()

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
            "entered_at",
            "corrects",
            "corrected_by",
            "voided_at",
            "voided_by",
            "void_reason",
        ]
        read_only_fields = fields

    @extend_schema_field(serializers.IntegerField(allow_null=True))
    def get_corrected_by(self, placement: Placement) -> int | None:
        """The placement that says what was true instead."""
        # What is in force was corrected by nothing: no look-up for each row of a list.
        later = getattr(placement, "corrected_by", None) if placement.voided_at is not None else None
        return later.pk if later is not None else None


class NewPlacementSerializer(StrictSerializer):
    """A fresh cartridge for a position."""

    position = TenantRelatedField(queryset=Position.objects.all())
    item = TenantRelatedField(queryset=CatalogueItem.objects.all())
    placed_at = DayOrMomentField(required=False, allow_null=True, default=None, help_text="now when left out")
    serial_or_lot = serializers.CharField(max_length=60, required=False, allow_blank=True, default="")
    removal = serializers.ChoiceField(
        choices=REMOVAL_REASONS,
        required=False,
        allow_blank=True,
        default="",
        help_text="why the installed cartridge is removed; required where there is one",
    )


class RemovalSerializer(StrictSerializer):
    """Why and when a cartridge leaves."""

    removal = serializers.ChoiceField(choices=REMOVAL_REASONS)
    removed_at = DayOrMomentField(required=False, allow_null=True, default=None, help_text="now when left out")


class RotationSerializer(StrictSerializer):
    """Discard the lead, move the lag to lead, put a fresh cartridge in lag."""

    unit = TenantRelatedField(queryset=Unit.objects.all())
    stage = serializers.ChoiceField(
        choices=[(Stage.CARBON.value, Stage.CARBON.label), (Stage.RESIN.value, Stage.RESIN.label)]
    )
    item = TenantRelatedField(queryset=CatalogueItem.objects.all(), help_text="the fresh cartridge")
    rotated_at = DayOrMomentField(required=False, allow_null=True, default=None, help_text="now when left out")
    serial_or_lot = serializers.CharField(max_length=60, required=False, allow_blank=True, default="")
    removal = serializers.ChoiceField(
        choices=REMOVAL_REASONS,
        required=False,
        default=Placement.Removal.ROUTINE.value,
        help_text="why the lead is removed; 'exhausted' only when that was seen",
    )


class PlacementCorrectionSerializer(ReasonSerializer):
    """What was entered wrongly of a placement, as it is right; what is left out stays."""

    item = TenantRelatedField(queryset=CatalogueItem.objects.all(), required=False)
    position = TenantRelatedField(queryset=Position.objects.all(), required=False)
    placed_at = DayOrMomentField(required=False)
    removed_at = DayOrMomentField(required=False, allow_null=True, help_text="null: it still stands there")
    removal = serializers.ChoiceField(choices=REMOVAL_REASONS, required=False)
    serial_or_lot = serializers.CharField(max_length=60, required=False, allow_blank=True)


class SwapSerializer(ReasonSerializer):
    """The cartridge that stands where this one was entered."""

    other = TenantRelatedField(queryset=Placement.objects.all(), help_text="placement whose position is exchanged")


class SwappedSerializer(AnswerSerializer):
    """Two cartridges that were entered in one another's positions, where they stand."""

    placements = PlacementSerializer(many=True)


class PlacementFilterSet(TenantFilterSet):
    """Filters of placements."""

    voided = django_filters.BooleanFilter(
        field_name="voided_at", lookup_expr="isnull", exclude=True, label="true: those that were taken back"
    )

    class Meta(TenantFilterSet.Meta):
        model = Placement
        fields: ClassVar[dict[str, list[str]]] = {
            "position": ["exact"],
            "position__unit": ["exact"],
            "position__unit__site": ["exact"],
            "position__stage": ["exact"],
            "item": ["exact"],
            "removed_at": ["isnull", "gte", "lt"],
            "placed_at": ["gte", "lt"],
            "removal": ["exact"],
        }


class RotatedSerializer(AnswerSerializer):
    """What a rotation did."""

    discarded = PlacementSerializer(allow_null=True)
    moved = PlacementSerializer()
    fresh = PlacementSerializer()


class PlacementViewSet(ReadCreateViewSet):
    """The cartridges that stand or stood in positions. POST places a fresh one.

    What was taken back is left out of lists unless `voided=true` asks for it, and always for clients.
    """

    resource = "placement"
    queryset = Placement.with_voided.select_related("position__unit", "item", "corrected_by")
    serializer_class = PlacementSerializer
    input_serializer_class = NewPlacementSerializer
    filterset_class = PlacementFilterSet
    ordering_fields = ["placed_at", "removed_at", "position"]
    search_fields = ["serial_or_lot", "item__code", "item__name", "position__unit__code"]

    def get_queryset(self) -> Any:
        """What was taken back is the company's own business, and nobody's who did not ask."""
        rows = without_voided_for_clients(self, super().get_queryset())
        is_asked = self.action != "list" or "voided" in self.request.query_params
        return rows if is_asked else rows.filter(voided_at__isnull=True)

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

    @extend_schema(request=PlacementCorrectionSerializer, responses=PlacementSerializer)
    @action(detail=True, methods=["post"])
    def correct(self, request: Request, pk: str) -> Response:
        """Say what was entered wrongly; the answer is the new placement, which names the old one in `corrects`."""
        with self.transaction():
            placement = self.locked_object()
            changes = read_body(self, PlacementCorrectionSerializer)
            fresh = corrections.correct_placement(placement=placement, by=self.by, now=self.now, **changes)
            return self.answer(self.reread(fresh))

    @extend_schema(request=ReasonSerializer, responses=PlacementSerializer)
    @action(detail=True, methods=["post"])
    def void(self, request: Request, pk: str) -> Response:
        """Take back a placement that never was; what stood there before it stood on, and after a rotation both did."""
        with self.transaction():
            placement = self.locked_object()
            stated = read_body(self, ReasonSerializer)
            corrections.void_placement(placement=placement, by=self.by, now=self.now, **stated)
            return self.answer(self.reread(placement))

    @extend_schema(request=SwapSerializer, responses=SwappedSerializer)
    @action(detail=True, methods=["post"])
    def swap(self, request: Request, pk: str) -> Response:
        """Exchange the positions of two cartridges of one stage, such as a lead and a lag that were mistaken."""
        with self.transaction():
            placement = self.locked_object()
            stated = read_body(self, SwapSerializer)
            pair = corrections.swap_placements(placement=placement, by=self.by, now=self.now, **stated)
            data = SwappedSerializer({"placements": pair}, context=self.get_serializer_context()).data
        return Response(data)

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
