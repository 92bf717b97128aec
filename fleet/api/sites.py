"""Sites, with their access windows."""

from typing import Any

from django_filters.rest_framework import BooleanFilter
from drf_spectacular.utils import extend_schema
from rest_framework import serializers
from rest_framework.decorators import action
from rest_framework.request import Request
from rest_framework.response import Response

from accounts.http.filters import TenantFilterSet
from accounts.http.parsers import FileParser
from accounts.http.retiring import RETIRED_FIELDS, RetireMixin
from accounts.http.serializers import AnswerSerializer, StrictSerializer, TenantModelSerializer
from accounts.http.viewsets import ReadWriteViewSet
from fleet.api.forecasts import PROBABILITY_BY, FirstToFailSerializer, context_of_day, requested_day
from fleet.api.intake import FileSerializer, IntakeBatchSerializer, uploaded
from fleet.intake import wqx_log
from fleet.models import Site
from fleet.services.forecasts.groups import first_to_fail_of_site
from fleet.services.units import sites


class AccessWindowSerializer(StrictSerializer):
    """Hours on one weekday, in the time zone of the site, in which work can start and end."""

    weekday = serializers.IntegerField(min_value=0, max_value=6, help_text="0 Monday to 6 Sunday")
    opens = serializers.TimeField(format="%H:%M", help_text="such as 08:30")
    closes = serializers.TimeField(format="%H:%M", help_text="time at which work must have ended, such as 17:00")

    def validate(self, attrs: dict[str, Any]) -> dict[str, Any]:
        """A window is always sent whole, also where the site around it is sent in part."""
        missing = {name: "A window needs this." for name in ("weekday", "opens", "closes") if name not in attrs}
        if missing:
            raise serializers.ValidationError(missing)
        return attrs


class AccessExceptionSerializer(StrictSerializer):
    """Dates on which the site is closed, or open at other hours than usual, in the time zone of the site."""

    first_day = serializers.DateField()
    last_day = serializers.DateField(required=False, allow_null=True, help_text="empty: the first day alone")
    opens = serializers.TimeField(
        format="%H:%M", required=False, allow_null=True, default=None, help_text="empty, with closes: closed"
    )
    closes = serializers.TimeField(format="%H:%M", required=False, allow_null=True, default=None)
    reason = serializers.CharField(max_length=200, required=False, allow_blank=True, default="")

    def validate(self, attrs: dict[str, Any]) -> dict[str, Any]:
        """An exception is always sent whole, also where the site around it is sent in part."""
        if "first_day" not in attrs:
            raise serializers.ValidationError({"first_day": "An exception needs this."})
        attrs["last_day"] = attrs.get("last_day") or attrs["first_day"]
        return attrs


class SiteSerializer(TenantModelSerializer):
    """A client's place with one or more units; without access windows it is open in every shift."""

    is_located = serializers.BooleanField(
        read_only=True,
        help_text="whether latitude and longitude are known; a site whose location is unknown stands in no round",
    )
    access_windows = AccessWindowSerializer(many=True, required=False)
    access_exceptions = AccessExceptionSerializer(
        many=True, required=False, help_text="dates on which these hours hold instead of those of the weekday"
    )

    class Meta:
        model = Site
        fields = [
            "id",
            "client",
            "client_since",
            "code",
            "name",
            "address",
            "is_known",
            "latitude",
            "longitude",
            "is_located",
            "time_zone",
            "access_notes",
            "chloraminated",
            "own_well",
            "supply",
            "access_windows",
            "access_exceptions",
            *RETIRED_FIELDS,
            "created_at",
        ]
        read_only_fields = ["id", *RETIRED_FIELDS, "created_at"]
        extra_kwargs = {"time_zone": {"allow_blank": False}}


class PublicRecordsSerializer(AnswerSerializer):
    """What became of an export of public records."""

    batch = IntakeBatchSerializer()
    ignored = serializers.DictField(
        child=serializers.IntegerField(), help_text="results of what is not kept here: characteristic -> how many"
    )


class SiteFilterSet(TenantFilterSet):
    """Filters of sites."""

    is_located = BooleanFilter(
        field_name="latitude",
        lookup_expr="isnull",
        exclude=True,
        label="true: latitude and longitude are known; false: they wait to be completed",
    )

    class Meta(TenantFilterSet.Meta):
        model = Site
        fields = {
            "client": ["exact"],
            "code": ["exact"],
            "is_known": ["exact"],
            "name": ["icontains"],
            "supply": ["exact"],
            "time_zone": ["exact"],
        }


class SiteViewSet(RetireMixin, ReadWriteViewSet):
    """The places where units stand. Access windows and exceptions sent with a change replace the ones there were."""

    resource = "site"
    queryset = Site.objects.prefetch_related("access_windows", "access_exceptions")
    serializer_class = SiteSerializer
    filterset_class = SiteFilterSet
    ordering_fields = ["code", "name", "created_at"]
    search_fields = ["code", "name", "address", "client__name"]

    def perform_create(self, serializer: Any) -> Site:
        return sites.create_site(company=self.by.company, by=self.by, now=self.now, **serializer.validated_data)

    def perform_update(self, serializer: Any) -> Site:
        return sites.update_site(site=serializer.instance, by=self.by, now=self.now, **serializer.validated_data)

    @extend_schema(request={"multipart/form-data": FileSerializer}, responses={201: PublicRecordsSerializer})
    @action(detail=True, methods=["post"], url_path="public-records", parser_classes=[FileParser])
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
        first_to_fail = first_to_fail_of_site(site=self.get_object(), day=requested_day(request))
        return Response(FirstToFailSerializer(first_to_fail, context=context_of_day(self, request)).data)
