"""Stops of rounds: read, locked."""

from drf_spectacular.utils import extend_schema
from rest_framework import serializers
from rest_framework.decorators import action
from rest_framework.request import Request
from rest_framework.response import Response

from accounts.api.serializers import TenantModelSerializer
from accounts.api.viewsets import ReadOnlyViewSet
from scheduling.api.notes import SentSerializer
from scheduling.models import Stop
from scheduling.services.locks import lock_stop

STOPS = Stop.objects.select_related("visit__site")


class StopSerializer(TenantModelSerializer):
    """One visit within a round; driving is from the stop before."""

    site = serializers.IntegerField(source="visit.site_id", read_only=True)
    site_name = serializers.CharField(source="visit.site.name", read_only=True)
    latitude = serializers.FloatField(source="visit.site.latitude", read_only=True)
    longitude = serializers.FloatField(source="visit.site.longitude", read_only=True)

    is_locked = serializers.SerializerMethodField(help_text="whether a person locked its visit; the visit says why")

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
        ]
        read_only_fields = fields

    def get_is_locked(self, stop: Stop) -> bool:
        return stop.visit.locked_start is not None


class ReasonSerializer(SentSerializer):
    """Why a stop is locked."""

    reason = serializers.CharField(max_length=300, help_text="for whoever finds the lock")


class StopViewSet(ReadOnlyViewSet):
    """Stops of all rounds."""

    resource = "stop"
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

    @extend_schema(request=ReasonSerializer, responses=StopSerializer)
    @action(detail=True, methods=["post"])
    def lock(self, request: Request, pk: str) -> Response:
        """Keep the stop with its installer, on its day, at its time, whatever later plans would rather do."""
        with self.transaction():
            stop = self.locked_object()
            sent = ReasonSerializer.read(self)
            return self.answer(self.reread(lock_stop(stop=stop, by=self.by, now=self.now, **sent)))
