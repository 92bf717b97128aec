"""Travel: where driving times come from, and how well they are told."""

from typing import Any

from rest_framework import serializers

from accounts.http.fields import MomentField
from accounts.http.serializers import StrictSerializer
from accounts.http.viewsets import RetrieveMixin
from scheduling.models import RoadCalibration
from scheduling.planning.words.travel import not_calibrated
from scheduling.services.policy import read_policy
from scheduling.services.travel import road_model, table_service_host


class RoadSerializer(StrictSerializer):
    """The road model: road = straight line x detour, speed = far - drop x exp(-road / scale), parking on top."""

    detour_far = serializers.FloatField(help_text="road over straight line on long trips")
    detour_near = serializers.FloatField(help_text="added to that on the shortest trips")
    detour_scale_m = serializers.FloatField()
    speed_far_km_per_h = serializers.FloatField()
    speed_drop_km_per_h = serializers.FloatField(help_text="how much slower the shortest trips are")
    speed_scale_m = serializers.FloatField()
    parking_s = serializers.FloatField()
    parking_beyond_m = serializers.FloatField()


class TravelSerializer(StrictSerializer):
    """Where the driving times of the company's plans come from. A plan's `travel_source` says it of that plan."""

    table_service = serializers.CharField(help_text="host of the service the server is set up with; empty: none")
    uses_table_service = serializers.BooleanField(help_text="whether plans ask it, by the policy")
    is_fitted = serializers.BooleanField(help_text="whether the road model was fitted to the company's own trips")
    trips = serializers.IntegerField(help_text="usable trips of the past year, from departure to the start of the work")
    error_before = serializers.FloatField(
        allow_null=True, help_text="median error of a trip's time, as a share of it, by the default model"
    )
    error_after = serializers.FloatField(allow_null=True, help_text="the same by the model in use")
    sentence = serializers.CharField()
    calibrated_at = MomentField(allow_null=True)
    road = RoadSerializer(help_text="the model in use; it is used where the table service has no answer")

    def to_representation(self, instance: RoadCalibration) -> dict[str, Any]:
        company = instance.company
        host = table_service_host()
        return {
            "table_service": host,
            "uses_table_service": bool(host) and read_policy(company=company).rules.uses_table_service,
            "is_fitted": bool(instance.road),
            "trips": instance.trips,
            "error_before": instance.error_before,
            "error_after": instance.error_after,
            "sentence": instance.sentence,
            "calibrated_at": MomentField().to_representation(instance.calibrated_at) if instance.pk else None,
            "road": RoadSerializer(road_model(company=company), context=self.context).data,
        }


class TravelViewSet(RetrieveMixin):
    """How the company's driving times are made; the road model is fitted to its past trips every night."""

    resource = "travel"
    queryset = RoadCalibration.objects.select_related("company")
    serializer_class = TravelSerializer

    def get_object(self) -> RoadCalibration:
        row: RoadCalibration = self.get_queryset().first() or RoadCalibration(
            company=self.by.company, trips=0, sentence=not_calibrated()
        )
        self.check_object_permissions(self.request, row)
        return row
