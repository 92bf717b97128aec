"""Feed water samples."""

from typing import Any, ClassVar

import django_filters
from drf_spectacular.utils import PolymorphicProxySerializer, extend_schema, extend_schema_field
from rest_framework import serializers
from rest_framework.decorators import action
from rest_framework.request import Request
from rest_framework.response import Response

from accounts.http.fields import DAY_ALONE
from accounts.http.filters import RowFilter, TenantFilterSet
from accounts.http.viewsets import ReadCreateViewSet
from accounts.jobs.api import JobSerializer
from fleet.api.intake import FileSerializer, IntakeBatchSerializer, LogParser, take_upload
from fleet.api.putting_right import ReasonSerializer, read_reason, without_voided_for_clients
from fleet.api.quantities import QuantityField, QuantityModelSerializer, QuantityViewSet
from fleet.api.readings import AsSentSerializer, FlagSerializer, IdOrCodeField
from fleet.intake import feed_water_log
from fleet.intake.feed_water import COLUMNS
from fleet.intake.payloads import take_sample, take_samples
from fleet.models import FeedWaterSample
from fleet.services.readings.taken_back import void_sample


class FeedWaterSampleSerializer(QuantityModelSerializer):
    """One analysis of a site's feed water. What was not measured is null."""

    corrected_by = serializers.SerializerMethodField()
    as_sent = serializers.DictField(child=AsSentSerializer(), read_only=True)
    flags = FlagSerializer(many=True, read_only=True)

    class Meta:
        model = FeedWaterSample
        fields = [
            "id",
            "site",
            "taken_at",
            "reference",
            "measured_by",
            "recorded_by",
            "method",
            "supply",
            "as_sent",
            "flags",
            "corrects",
            "corrected_by",
            "voided_at",
            "voided_by",
            "void_reason",
            "batch",
            "line",
            "received_at",
        ]
        read_only_fields = fields
        quantities = FeedWaterSample.QUANTITIES

    @extend_schema_field(serializers.IntegerField(allow_null=True))
    def get_corrected_by(self, sample: FeedWaterSample) -> int | None:
        """The sample that corrects this one."""
        later = getattr(sample, "corrected_by", None)
        return later.pk if later is not None else None


class NewFeedWaterSampleSerializer(serializers.Serializer[Any]):
    """A sample to be stored. Hardness and alkalinity say as what they are given: `10 gpg`, `171 mg/L as CaCO3`.

    Intake reads it, with the same rules as for a log file; this declares what may be sent.
    """

    site = IdOrCodeField(help_text="id of the site, or its code")
    taken_at = serializers.CharField(
        required=False, help_text=f"with its offset, or in the time zone of the site; {DAY_ALONE}; now when left out"
    )
    reference = serializers.CharField(
        required=False, max_length=80, help_text="your own name for it; the same one twice is stored once"
    )
    measured_by = serializers.CharField(required=False, max_length=80)
    method = serializers.CharField(required=False, max_length=80)
    supply = serializers.CharField(
        required=False,
        max_length=80,
        help_text="water works or district that feeds the site; the newest stays there",
    )
    corrects = serializers.IntegerField(required=False, help_text="id of the sample this one corrects")

    def get_fields(self) -> dict[str, Any]:
        """Add a field for each quantity."""
        fields = super().get_fields()
        for name, column in COLUMNS.items():
            fields[name] = QuantityField(column, required=False)
        return fields


class FeedWaterFilterSet(TenantFilterSet):
    """Filters of feed water samples."""

    site = RowFilter()
    batch = RowFilter()
    recorded_by = RowFilter()
    taken_at_from = django_filters.IsoDateTimeFilter(field_name="taken_at", lookup_expr="gte")
    taken_at_before = django_filters.IsoDateTimeFilter(field_name="taken_at", lookup_expr="lt")
    current = django_filters.BooleanFilter(
        method="only_current", label="only those that count, or those corrected or taken back"
    )

    class Meta:
        model = FeedWaterSample
        fields: ClassVar[list[str]] = []

    def only_current(self, queryset: Any, name: str, value: bool) -> Any:
        """Narrow by whether the sample still counts."""
        return queryset.current() if value else queryset.corrected()


class FeedWaterSampleViewSet(QuantityViewSet, ReadCreateViewSet):
    """Analyses of the feed water of sites, newest first."""

    resource = "feed_water_sample"
    queryset = FeedWaterSample.objects.select_related("corrected_by")
    serializer_class = FeedWaterSampleSerializer
    filterset_class = FeedWaterFilterSet
    ordering_fields = ["taken_at", "received_at"]

    @extend_schema(
        request=PolymorphicProxySerializer(
            component_name="OneSampleOrMany",
            serializers=[NewFeedWaterSampleSerializer, NewFeedWaterSampleSerializer(many=True)],
            resource_type_field_name=None,
            many=False,
        ),
        responses={
            200: FeedWaterSampleSerializer,
            201: PolymorphicProxySerializer(
                component_name="SampleOrBatch",
                serializers=[FeedWaterSampleSerializer, IntakeBatchSerializer],
                resource_type_field_name=None,
                many=False,
            ),
        },
    )
    def create(self, request: Request, *args: Any, **kwargs: Any) -> Response:
        """Store a sample, or a list of them; answered as for readings."""
        if isinstance(request.data, list):
            batch = take_samples(company=self.by.company, by=self.by, rows=request.data, now=self.now)
            return Response(IntakeBatchSerializer(batch, context=self.get_serializer_context()).data, status=201)
        sample, is_new = take_sample(company=self.by.company, by=self.by, row=request.data, now=self.now)
        response = self.answer(self.reread(sample), status=201 if is_new else 200)
        response.headers["Location"] = f"/api/v1/feed-water-samples/{sample.pk}/"
        return response

    @extend_schema(request={"multipart/form-data": FileSerializer}, responses={202: JobSerializer})
    @action(detail=False, methods=["post"], parser_classes=[LogParser])
    def upload(self, request: Request) -> Response:
        """Store a log file: CSV with the unit in each header, such as `hardness [gpg]`.

        The answer is the job that reads it; its result names the batch, which lists every refused row with its reasons.
        """
        return take_upload(self, request, feed_water_log.LOG)

    def get_queryset(self) -> Any:
        """What was taken back is the company's own business."""
        return without_voided_for_clients(self, super().get_queryset())

    @extend_schema(request=ReasonSerializer, responses=FeedWaterSampleSerializer)
    @action(detail=True, methods=["post"])
    def void(self, request: Request, pk: str) -> Response:
        """Take back an analysis that never was; it stays to be read, and counts for nothing."""
        with self.transaction():
            sample = self.locked_object()
            stated = read_reason(self)
            void_sample(sample=sample, by=self.by, now=self.now, **stated)
            return self.answer(self.reread(sample))
