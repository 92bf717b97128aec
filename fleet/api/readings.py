"""Readings: looks at the gauges, posted one by one, in lists or as log files; never overwritten."""

from typing import Any, ClassVar

import django_filters
from drf_spectacular.utils import PolymorphicProxySerializer, extend_schema, extend_schema_field
from rest_framework import serializers
from rest_framework.decorators import action
from rest_framework.request import Request
from rest_framework.response import Response

from accounts.errors import NotAllowed
from accounts.http.fields import DAY_ALONE
from accounts.http.filters import RowFilter, TenantFilterSet
from accounts.http.pagination import CursorPagination
from accounts.http.serializers import AnswerSerializer
from accounts.http.viewsets import ReadCreateViewSet
from accounts.jobs.api import JobSerializer
from accounts.models import Membership
from accounts.permissions import allows
from fleet.api.indicators import IndicatorsSerializer
from fleet.api.intake import FileSerializer, IntakeBatchSerializer, LogParser, take_upload
from fleet.api.putting_right import ReasonSerializer, read_reason, without_voided_for_clients
from fleet.api.quantities import QuantityField, QuantityModelSerializer, QuantityViewSet
from fleet.engineering.observations import OBSERVATION_MEANINGS
from fleet.intake import readings_log
from fleet.intake.payloads import take_reading, take_readings
from fleet.intake.readings import COLUMNS
from fleet.models import IntakeBatch, Reading
from fleet.services.readings.taken_back import void_reading


class AsSentSerializer(AnswerSerializer):
    """The digits and the unit a value came in, and what its conversion needed."""

    value = serializers.CharField()
    unit = serializers.CharField()
    tds_factor = serializers.FloatField(required=False, help_text="factor of the meter, mg/L per uS/cm")
    brought_to_25_degc_by = serializers.FloatField(required=False)


class FlagSerializer(AnswerSerializer):
    """What looks doubtful about a stored value."""

    field = serializers.CharField()
    code = serializers.CharField()
    sentence = serializers.CharField()


@extend_schema_field(
    {
        "type": "object",
        "description": "What a person looked for: true where it was there, false where it was not; what nobody looked "
        "for is left out. " + "; ".join(f"`{code}`: {meaning}" for code, meaning in OBSERVATION_MEANINGS.items()),
        "propertyNames": {"enum": list(OBSERVATION_MEANINGS)},
        "additionalProperties": {"type": "boolean"},
    }
)
class ObservationsField(serializers.JSONField):
    """What a person saw, heard, smelled or tasted, by its code."""


class ReadingSerializer(QuantityModelSerializer):
    """One reading of the gauges and meters of a unit. What was not measured is null."""

    corrected_by = serializers.SerializerMethodField()
    observations = ObservationsField(read_only=True)
    as_sent = serializers.DictField(child=AsSentSerializer(), read_only=True)
    flags = FlagSerializer(many=True, read_only=True)

    class Meta:
        model = Reading
        fields = [
            "id",
            "unit",
            "taken_at",
            "reference",
            "source",
            "instrument",
            "person",
            "recorded_by",
            "note",
            "occasion",
            "state",
            "minutes_since_start",
            "tank_valve",
            "pump",
            "tank_is_full",
            "sampled_after_flush",
            "observations",
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
        quantities = Reading.QUANTITIES

    @extend_schema_field(serializers.IntegerField(allow_null=True))
    def get_corrected_by(self, reading: Reading) -> int | None:
        """The reading that corrects this one."""
        later = getattr(reading, "corrected_by", None)
        return later.pk if later is not None else None


class ReadingDetailSerializer(ReadingSerializer):
    """A reading with what engineering makes of it."""

    indicators = IndicatorsSerializer(read_only=True, allow_null=True)

    class Meta(ReadingSerializer.Meta):
        fields = [*ReadingSerializer.Meta.fields, "indicators"]
        read_only_fields = fields


@extend_schema_field({"oneOf": [{"type": "integer", "minimum": 1}, {"type": "string"}]})
class IdOrCodeField(serializers.CharField):
    """An id, or the code people use."""


class NewReadingSerializer(serializers.Serializer[Any]):
    """A reading to be stored. Every quantity carries its unit; leave out what was not measured.

    Intake reads it, with the same rules as for a log file; this declares what may be sent.
    """

    unit = IdOrCodeField(help_text="id of the unit, or its code")
    taken_at = serializers.CharField(
        required=False, help_text=f"with its offset, or in the time zone of the site; {DAY_ALONE}; now when left out"
    )
    reference = serializers.CharField(
        required=False, max_length=80, help_text="your own name for it; the same one twice is stored once"
    )
    source = serializers.ChoiceField(choices=Reading.Source.choices, required=False)  # type: ignore[assignment]
    instrument = serializers.CharField(required=False, help_text="name of the instrument")
    person = serializers.CharField(required=False, max_length=80)
    note = serializers.CharField(required=False, max_length=4000)
    occasion = serializers.ChoiceField(choices=Reading.Occasion.choices, required=False)
    state = serializers.ChoiceField(choices=Reading.State.choices, required=False)
    tank_valve = serializers.ChoiceField(choices=Reading.Valve.choices, required=False)
    pump = serializers.ChoiceField(choices=Reading.Pump.choices, required=False)
    tank_is_full = serializers.BooleanField(required=False)
    sampled_after_flush = serializers.BooleanField(required=False)
    observations = ObservationsField(required=False)
    corrects = serializers.IntegerField(required=False, help_text="id of the reading this one corrects")

    def get_fields(self) -> dict[str, Any]:
        """Add a field for each quantity."""
        fields = super().get_fields()
        for name, column in COLUMNS.items():
            fields[name] = QuantityField(column, required=False)
        return fields


class NewUnitReadingSerializer(NewReadingSerializer):
    """A reading of the unit in the address."""

    def get_fields(self) -> dict[str, Any]:
        """The address names the unit."""
        fields = super().get_fields()
        fields.pop("unit")
        return fields


class ReadingFilterSet(TenantFilterSet):
    """Filters of readings."""

    unit = RowFilter()
    site = RowFilter(field_name="unit__site")
    batch = RowFilter()
    recorded_by = RowFilter()
    taken_at_from = django_filters.IsoDateTimeFilter(field_name="taken_at", lookup_expr="gte")
    taken_at_before = django_filters.IsoDateTimeFilter(field_name="taken_at", lookup_expr="lt")
    source = django_filters.ChoiceFilter(choices=Reading.Source.choices)
    occasion = django_filters.ChoiceFilter(choices=Reading.Occasion.choices)
    flagged = django_filters.BooleanFilter(method="only_flagged", label="only those that look doubtful, or only others")
    current = django_filters.BooleanFilter(
        method="only_current", label="only those that count, or those corrected or taken back"
    )

    class Meta:
        model = Reading
        fields: ClassVar[list[str]] = []

    def only_flagged(self, queryset: Any, name: str, value: bool) -> Any:
        """Narrow by whether anything looks doubtful."""
        return queryset.exclude(flags=[]) if value else queryset.filter(flags=[])

    def only_current(self, queryset: Any, name: str, value: bool) -> Any:
        """Narrow by whether the reading still counts."""
        return queryset.current() if value else queryset.corrected()


_ONE_OR_MANY = PolymorphicProxySerializer(
    component_name="OneReadingOrMany",
    serializers=[NewReadingSerializer, NewReadingSerializer(many=True)],
    resource_type_field_name=None,
    many=False,
)
_READING_OR_BATCH = PolymorphicProxySerializer(
    component_name="ReadingOrBatch",
    serializers=[ReadingDetailSerializer, IntakeBatchSerializer],
    resource_type_field_name=None,
    many=False,
)


class ReadingViewSet(QuantityViewSet, ReadCreateViewSet):
    """Readings, newest first, paged by cursor."""

    resource = "reading"
    queryset = Reading.objects.select_related("corrected_by", "indicators")
    serializer_class = ReadingSerializer
    filterset_class = ReadingFilterSet
    ordering_fields = ["taken_at", "received_at"]
    pagination_class = CursorPagination

    def get_queryset(self) -> Any:
        """What was taken back is the company's own business."""
        return without_voided_for_clients(self, super().get_queryset())

    def get_serializer_class(self) -> Any:
        """A single reading comes with its indicators."""
        return ReadingSerializer if self.action == "list" else ReadingDetailSerializer

    @extend_schema(request=_ONE_OR_MANY, responses={200: ReadingDetailSerializer, 201: _READING_OR_BATCH})
    def create(self, request: Request, *args: Any, **kwargs: Any) -> Response:
        """Store a reading, or a list of them.

        One reading is answered with the reading: 201 when it is new, 200 when its reference was stored before. A list
        is answered with the batch: what was stored, what was known already, and each refused row with its reasons.
        """
        if isinstance(request.data, list):
            _may_correct(self.by, request.data)
            batch = take_readings(
                company=self.by.company, by=self.by, rows=request.data, source=source_of(self.by), now=self.now
            )
            return self._batch(batch)
        return store_one(self, request.data)

    @extend_schema(request={"multipart/form-data": FileSerializer}, responses={202: JobSerializer})
    @action(detail=False, methods=["post"], parser_classes=[LogParser])
    def upload(self, request: Request) -> Response:
        """Store a log file: CSV with the unit in each header, such as `inlet pressure [psi]`.

        The answer is the job that reads it; its result names the batch, which lists every refused row with its reasons.
        """
        return take_upload(self, request, readings_log.LOG)

    @extend_schema(request=ReasonSerializer, responses=ReadingDetailSerializer)
    @action(detail=True, methods=["post"])
    def void(self, request: Request, pk: str) -> Response:
        """Take back a reading that never was; it stays to be read, and counts for nothing."""
        with self.transaction():
            reading = self.locked_object()
            stated = read_reason(self)
            void_reading(reading=reading, by=self.by, now=self.now, **stated)
            return self.answer(self.reread(reading))

    def _batch(self, batch: IntakeBatch) -> Response:
        return Response(IntakeBatchSerializer(batch, context=self.get_serializer_context()).data, status=201)


def store_one(view: Any, row: Any) -> Response:
    """Store one reading and answer with it as the acting member sees it."""
    _may_correct(view.by, [row])
    reading, is_new = take_reading(
        company=view.by.company, by=view.by, row=row, source=source_of(view.by), now=view.now
    )
    stored = Reading.objects.visible_to(view.by).select_related("corrected_by", "indicators").get(pk=reading.pk)
    data = ReadingDetailSerializer(stored, context=view.get_serializer_context()).data
    headers = {"Location": f"/api/v1/readings/{reading.pk}/"}
    return Response(data, status=201 if is_new else 200, headers=headers)


def source_of(by: Membership) -> str:
    """Who reads, when the row does not say."""
    if by.meter_unit_id is not None:
        return Reading.Source.METER
    return Reading.Source.CLIENT if by.role == Membership.Role.CLIENT else Reading.Source.INSTALLER


def _may_correct(by: Membership, rows: list[Any]) -> None:
    corrects = any(isinstance(row, dict) and row.get("corrects") for row in rows)
    if corrects and not allows(by, "reading", "correct"):
        raise NotAllowed("cannot_correct", "Corrections are made by the company; tell them what is wrong.")
