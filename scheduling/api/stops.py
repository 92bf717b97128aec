"""Stops of rounds: read, locked, moved by hand."""

from typing import Any

from drf_spectacular.utils import extend_schema, extend_schema_field
from rest_framework import serializers
from rest_framework.decorators import action
from rest_framework.request import Request
from rest_framework.response import Response

from accounts.http.fields import MomentField, TenantRelatedField
from accounts.http.serializers import StrictSerializer, TenantModelSerializer
from accounts.http.viewsets import ReadOnlyViewSet
from scheduling.api.notes import SentSerializer
from scheduling.api.replanning import DifferenceSerializer
from scheduling.models import Installer, Stop
from scheduling.services.rounds.hand_moves import HandMove, move_stop, preview_move
from scheduling.services.visits.locks import lock_stop
from scheduling.services.words.why import sentence_of

STOPS = Stop.objects.select_related("visit__site")

#: Stops as far as they are answered: a plan has thousands, and a visit holds what each day of months costs.
ANSWERED_STOPS = STOPS.only(
    *(field.name for field in Stop._meta.concrete_fields),
    *(f"visit__{name}" for name in ("site", "state", "locked_start", "lock_reason")),
    *(f"visit__site__{name}" for name in ("name", "latitude", "longitude")),
)


class StopSerializer(TenantModelSerializer):
    """One visit within a round; driving is from the stop before."""

    site = serializers.IntegerField(source="visit.site_id", read_only=True)
    site_name = serializers.CharField(source="visit.site.name", read_only=True)
    latitude = serializers.FloatField(source="visit.site.latitude", read_only=True)
    longitude = serializers.FloatField(source="visit.site.longitude", read_only=True)

    is_locked = serializers.SerializerMethodField(help_text="whether a person locked its visit; the visit says why")
    why = serializers.SerializerMethodField(
        help_text="why it is on this day, with this installer, in this place of the round; empty for plans of long ago"
    )

    class Meta:
        model = Stop
        fields = [
            "id",
            "round",
            "order",
            "visit",
            "site",
            "site_name",
            "latitude",
            "longitude",
            "arrives_at",
            "starts_at",
            "leaves_at",
            "driving_minutes",
            "driving_km",
            "is_locked",
            "why",
        ]
        read_only_fields = fields

    def get_is_locked(self, stop: Stop) -> bool:
        return stop.visit.locked_start is not None

    def get_why(self, stop: Stop) -> str:
        """One sentence."""
        return sentence_of(stop)


class LockReasonSerializer(SentSerializer):
    """Why a stop is locked."""

    reason = serializers.CharField(max_length=300, help_text="why it is locked, for whoever finds the lock")


class MoveAskedSerializer(SentSerializer):
    """Where a stop is to go; what is left out stays as it is."""

    installer = TenantRelatedField(queryset=Installer.objects.all(), required=False, allow_null=True, default=None)
    day = serializers.DateField(
        required=False, allow_null=True, default=None, help_text="day to go to, one of the plan's; empty: the same"
    )
    place = serializers.IntegerField(
        required=False,
        allow_null=True,
        default=None,
        min_value=1,
        help_text="place in the round, from 1; empty: where it costs least",
    )
    confirmed = serializers.BooleanField(
        required=False, default=False, help_text="whether the client has confirmed another time than the one before"
    )


class MoveSerializer(MoveAskedSerializer):
    """A move to be made."""

    acknowledge = serializers.ListField(
        child=serializers.CharField(max_length=40),
        required=False,
        default=list,
        max_length=20,
        help_text="codes of the warnings that are overridden",
    )
    lock = serializers.BooleanField(required=False, default=True, help_text="whether later plans leave it there")
    reason = serializers.CharField(max_length=300, required=False, allow_blank=True, default="")


class MoveFindingSerializer(StrictSerializer):
    """Something a move breaks."""

    code = serializers.CharField(
        help_text="closed, no_lunch, overtime, van_stock, locked or outside_offer of warnings; "
        "confirmed, day_off, not_allowed, not_apart, fixed_time or too_late of refusals"
    )
    sentence = serializers.CharField()
    visit = serializers.IntegerField(allow_null=True)


class MovedStopSerializer(StrictSerializer):
    """A stop as it would be, or is now."""

    order = serializers.IntegerField()
    visit = serializers.IntegerField(source="visit_id")
    site_name = serializers.CharField(source="visit.site.name")
    arrives_at = MomentField()
    starts_at = MomentField()
    leaves_at = MomentField()
    driving_minutes = serializers.FloatField()
    driving_km = serializers.FloatField()


class MovedRoundSerializer(StrictSerializer):
    """A round as it would be, or is now."""

    round = serializers.IntegerField(
        source="pk", allow_null=True, help_text="id of the round; null where there is none yet"
    )
    installer = serializers.IntegerField(source="installer_id")
    installer_name = serializers.CharField(source="installer.name")
    day = serializers.DateField()
    leaves_at = MomentField()
    returns_at = MomentField()
    lunch_at = MomentField(
        source="lunch_on_the_way",
        allow_null=True,
        help_text="when the break begins; null where there is none, or it is at home",
    )
    driving_minutes = serializers.FloatField()
    driving_km = serializers.FloatField()
    stops = MovedStopSerializer(many=True)


class HandMoveSerializer(StrictSerializer):
    """What a move does: what forbids it, what must be acknowledged, what it costs, and every visit that changes."""

    refusals = MoveFindingSerializer(many=True)
    warnings = MoveFindingSerializer(many=True)
    cost = serializers.DictField(
        child=serializers.FloatField(), help_text="how much dearer, in the company's currency; negative: cheaper"
    )
    driving_minutes = serializers.FloatField(
        source="minutes", help_text="how many more minutes of driving; negative: fewer"
    )
    driving_km = serializers.FloatField(source="km", help_text="how many more kilometres; negative: fewer")
    differences = DifferenceSerializer(many=True)
    rounds = serializers.SerializerMethodField()

    @extend_schema_field(MovedRoundSerializer(many=True))
    def get_rounds(self, move: HandMove) -> Any:
        rows = []
        for row, stops in move.rows:
            if stops:
                row.stops_as_moved = stops  # type: ignore[attr-defined]
                rows.append({**_MovedRound(row, context=self.context).data})
        return rows


class _MovedRound(MovedRoundSerializer):
    """The same from a round that is not stored."""

    stops = MovedStopSerializer(many=True, source="stops_as_moved")


class StopViewSet(ReadOnlyViewSet):
    """Stops of all rounds."""

    resource = "stop"
    company_first = True
    queryset = STOPS
    serializer_class = StopSerializer
    filterset_fields = {
        "round": ["exact"],
        "round__plan": ["exact"],
        "round__plan__state": ["exact"],
        "round__installer": ["exact"],
        "round__day": ["exact", "gte", "lte"],
        "visit": ["exact"],
    }
    ordering_fields = ["starts_at"]

    @extend_schema(request=LockReasonSerializer, responses=StopSerializer)
    @action(detail=True, methods=["post"])
    def lock(self, request: Request, pk: str) -> Response:
        """Keep the stop with its installer, on its day, at its time, whatever later plans would rather do."""
        with self.transaction():
            stop = self.locked_object()
            sent = LockReasonSerializer.read(self)
            return self.answer(self.reread(lock_stop(stop=stop, by=self.by, now=self.now, **sent)))

    @extend_schema(request=MoveAskedSerializer, responses=HandMoveSerializer)
    @action(detail=True, methods=["post"], url_path="preview-move")
    def preview_move(self, request: Request, pk: str) -> Response:
        """Say what moving the stop would cost and break; nothing is stored."""
        preview = preview_move(stop=self.get_object(), now=self.now, **MoveAskedSerializer.read(self))
        return Response(HandMoveSerializer(preview, context=self.get_serializer_context()).data)

    @extend_schema(request=MoveSerializer, responses=HandMoveSerializer)
    @action(detail=True, methods=["post"])
    def move(self, request: Request, pk: str) -> Response:
        """Move the stop and re-time the rest; what it breaks must be acknowledged by code."""
        with self.transaction():
            stop = self.locked_object()
            moved = move_stop(stop=stop, by=self.by, now=self.now, **MoveSerializer.read(self))
            return Response(HandMoveSerializer(moved, context=self.get_serializer_context()).data)
