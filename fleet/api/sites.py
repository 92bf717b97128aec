"""Sites, with their access windows."""

from typing import Any

from drf_spectacular.utils import extend_schema
from rest_framework import serializers
from rest_framework.decorators import action
from rest_framework.parsers import MultiPartParser
from rest_framework.request import Request
from rest_framework.response import Response

from accounts.api.serializers import StrictSerializer, TenantModelSerializer
from accounts.api.viewsets import ReadWriteViewSet
from accounts.validation import check_time_zone
from fleet.api.forecasts import PROBABILITY_BY, FirstToFailSerializer, context_of_day, day_asked
from fleet.api.intake import FileSerializer, IntakeBatchSerializer, uploaded
from fleet.intake import wqx_log
from fleet.models import Site
from fleet.services import sites
from fleet.services.forecast_groups import first_to_fail_of_site


class AccessWindowSerializer(StrictSerializer):
    """Hours on one weekday, in the time zone of the site, in which work can start and end."""

    weekday = serializers.IntegerField(min_value=0, max_value=6, help_text="0 Monday to 6 Sunday")
    opens = serializers.TimeField(format="%H:%M", help_text="such as 08:30")
    closes = serializers.TimeField(format="%H:%M")

    def validate(self, attrs: dict[str, Any]) -> dict[str, Any]:
        """A window is always sent whole, also where the site around it is sent in part."""
        missing = {name: "A window needs this." for name in ("weekday", "opens", "closes") if name not in attrs}
        if missing:
            raise serializers.ValidationError(missing)
        return attrs


class SiteSerializer(TenantModelSerializer):
    """A client's place with one or more units; without access windows it is open in every shift."""

    access_windows = AccessWindowSerializer(many=True, required=False)

    class Meta:
        model = Site
        fields = [
            "id",
            "client",
            "code",
            "name",
            "address",
            "latitude",
            "longitude",
            "time_zone",
            "access_notes",
            "chloraminated",
            "access_windows",
            "created_at",
        ]
        read_only_fields = ["id", "created_at"]
        extra_kwargs = {"time_zone": {"validators": [check_time_zone]}}


class PublicRecordsSerializer(serializers.Serializer[Any]):
    """What became of an export of public records."""

    batch = IntakeBatchSerializer()
    ignored = serializers.DictField(
        child=serializers.IntegerField(), help_text="results of what is not kept here: characteristic -> how many"
    )


class SiteViewSet(ReadWriteViewSet):
    """The places where units stand. Access windows sent with a change replace the ones there were."""

    resource = "site"
    queryset = Site.objects.prefetch_related("access_windows")
    serializer_class = SiteSerializer
    filterset_fields = {"client": ["exact"], "code": ["exact"], "name": ["icontains"], "time_zone": ["exact"]}
    ordering_fields = ["code", "name", "created_at"]

    def perform_create(self, serializer: Any) -> Site:
        return sites.create_site(company=self.by.company, by=self.by, now=self.now, **serializer.validated_data)

    def perform_update(self, serializer: Any) -> Site:
        return sites.update_site(site=serializer.instance, by=self.by, now=self.now, **serializer.validated_data)

    @extend_schema(request={"multipart/form-data": FileSerializer}, responses={201: PublicRecordsSerializer})
    @action(detail=True, methods=["post"], url_path="public-records", parser_classes=[MultiPartParser])
    def upload_public_records(self, request: Request, pk: str) -> Response:
        """Store an export of results of public records (CSV in the WQX columns) as feed water samples of this site."""
        site = self.get_object()
        name, content = uploaded(request)
        intake = wqx_log.read_log(
            company=self.by.company, by=self.by, site=site, name=name, content=content, now=self.now
        )
        return Response(PublicRecordsSerializer(intake, context=self.get_serializer_context()).data, status=201)

    def known_parameters(self) -> dict[str, bool]:
        own = {"probability_by": False} if self.action == "forecast" else {}
        return super().known_parameters() | own

    @extend_schema(responses=FirstToFailSerializer, parameters=[PROBABILITY_BY])
    @action(detail=True, methods=["get"])
    def forecast(self, request: Request, pk: str) -> Response:
        """Say when the first position at the site will be exhausted, and how probable that is by any day."""
        found = first_to_fail_of_site(site=self.get_object(), day=day_asked(request))
        return Response(FirstToFailSerializer(found, context=context_of_day(self, request)).data)
