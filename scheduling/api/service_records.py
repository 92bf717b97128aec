"""Service records: what was done, as the installer reports it."""

from typing import Any, ClassVar

import django_filters
from django.http import HttpResponse
from drf_spectacular.types import OpenApiTypes
from drf_spectacular.utils import extend_schema, extend_schema_field
from rest_framework import serializers
from rest_framework.decorators import action
from rest_framework.renderers import JSONRenderer
from rest_framework.request import Request
from rest_framework.response import Response

from accounts.http.fields import DayOrMomentField, TenantRelatedField
from accounts.http.filters import TenantFilterSet
from accounts.http.parsers import FileParser
from accounts.http.serializers import StrictSerializer, TenantModelSerializer
from accounts.http.viewsets import CreateMixin, ReadOnlyViewSet
from fleet.api.putting_right import ReasonSerializer, read_body, without_voided_for_clients
from fleet.api.readings import NewReadingSerializer
from fleet.models import CatalogueItem, Placement, Position, Site, Unit
from scheduling.api.notes import SentSerializer
from scheduling.api.renderers import AnyImageRenderer
from scheduling.models import Need, ServicePhoto, ServiceRecord, Visit
from scheduling.models.visits import PICTURE_ENDINGS
from scheduling.services.visits.outcomes import TaskOutcome
from scheduling.services.work.photos import add_photo
from scheduling.services.work.report import ADDITION, CORRECTION, PartUsed, WorkDone, WorkReport
from scheduling.services.work.taking_back import correct_record, report_work, void_record

_REMOVALS = [choice for choice in Placement.Removal.choices if choice[0] != Placement.Removal.ROTATED]


class DoneSerializer(StrictSerializer):
    """One thing that was done, as it is kept."""

    action = serializers.ChoiceField(choices=Need.Kind.choices)
    unit = serializers.IntegerField(required=False)
    position = serializers.IntegerField(allow_null=True, required=False)
    item = serializers.IntegerField(allow_null=True, required=False)
    serial_or_lot = serializers.CharField(required=False)
    removal = serializers.ChoiceField(choices=Placement.Removal.choices, allow_blank=True, required=False)
    needs = serializers.ListField(
        child=serializers.IntegerField(), required=False, help_text="ids of the needs that it settled"
    )
    note = serializers.CharField(required=False)


class TakenSerializer(StrictSerializer):
    """Pieces that were used, and where the count took them from."""

    item = serializers.IntegerField()
    quantity = serializers.IntegerField()
    from_van = serializers.IntegerField()
    from_store = serializers.IntegerField()
    uncounted = serializers.IntegerField(help_text="pieces of them that were used although the last count knew of none")


class OverSerializer(StrictSerializer):
    """Pieces that were over."""

    item = serializers.IntegerField()
    quantity = serializers.IntegerField()


class PhotoSerializer(TenantModelSerializer):
    """A picture of the work, or a signature; the picture itself is at `/service-photos/<id>/image/`."""

    media_type = serializers.ChoiceField(choices=sorted(PICTURE_ENDINGS), read_only=True)

    class Meta:
        model = ServicePhoto
        fields = ["id", "record", "kind", "media_type", "size", "width", "height", "digest", "caption", "received_at"]
        read_only_fields = fields


class ServiceRecordSerializer(TenantModelSerializer):
    """What was done at a site."""

    work = DoneSerializer(many=True, read_only=True)
    parts = TakenSerializer(many=True, read_only=True)
    leftover = OverSerializer(many=True, read_only=True)
    readings = serializers.ListField(
        child=serializers.IntegerField(), read_only=True, help_text="ids of the readings sent with the report"
    )
    photos = PhotoSerializer(many=True, read_only=True)
    corrected_by = serializers.SerializerMethodField()

    class Meta:
        model = ServiceRecord
        fields = [
            "id",
            "site",
            "visit",
            "reference",
            "done_at",
            "done_by",
            "minutes",
            "work",
            "parts",
            "leftover",
            "readings",
            "confirmed_by",
            "confirmed_at",
            "photos",
            "note",
            "received_at",
            "corrects",
            "corrected_by",
            "voided_at",
            "voided_by",
            "void_reason",
        ]
        read_only_fields = fields

    @extend_schema_field(serializers.IntegerField(allow_null=True))
    def get_corrected_by(self, service_record: ServiceRecord) -> int | None:
        """The report that came in its place."""
        later = getattr(service_record, "corrected_by", None) if service_record.voided_at is not None else None
        return later.pk if later is not None else None


class WorkDoneSerializer(StrictSerializer):
    """One thing that was done at a unit."""

    action = serializers.ChoiceField(choices=Need.Kind.choices)
    unit = TenantRelatedField(queryset=Unit.objects.all())
    position = TenantRelatedField(
        queryset=Position.objects.all(),
        required=False,
        allow_null=True,
        default=None,
        help_text="where a cartridge was replaced; the lead where lead and lag were rotated",
    )
    item = TenantRelatedField(
        queryset=CatalogueItem.objects.all(),
        required=False,
        allow_null=True,
        default=None,
        help_text="what was fitted; empty: what the need asked for, or the same again",
    )
    serial_or_lot = serializers.CharField(max_length=60, required=False, allow_blank=True, default="")
    removal = serializers.ChoiceField(
        choices=_REMOVALS, required=False, allow_blank=True, default="", help_text="why the old cartridge left"
    )
    need = TenantRelatedField(
        queryset=Need.objects.all(),
        required=False,
        allow_null=True,
        default=None,
        help_text="the need it settles; empty: the open one for this work and place",
    )
    note = serializers.CharField(max_length=500, required=False, allow_blank=True, default="")


class PartUsedSerializer(StrictSerializer):
    """Pieces of an item that were used."""

    item = TenantRelatedField(queryset=CatalogueItem.objects.all())
    quantity = serializers.IntegerField(min_value=1, max_value=10_000)


class NotDoneSerializer(StrictSerializer):
    """A task of the visit that was not done."""

    need = TenantRelatedField(queryset=Need.objects.all())
    reason = serializers.CharField(max_length=500, help_text="why not")


@extend_schema_field(NewReadingSerializer)
class NewReadingField(serializers.JSONField):
    """A reading; intake reads it, by the rules of readings that are sent by themselves."""


class NewServiceRecordSerializer(StrictSerializer):
    """A report of work; the same reference sent again changes nothing."""

    site = TenantRelatedField(queryset=Site.objects.all())
    visit = TenantRelatedField(queryset=Visit.objects.all(), required=False, allow_null=True, default=None)
    reference = serializers.CharField(max_length=80, help_text="the sender's own name for this report")
    done_at = DayOrMomentField()
    minutes = serializers.IntegerField(min_value=0, max_value=1440, required=False, allow_null=True, default=None)
    work = WorkDoneSerializer(many=True, allow_empty=False, max_length=100)  # type: ignore[call-arg]
    parts = PartUsedSerializer(  # type: ignore[call-arg]
        many=True,
        required=False,
        allow_null=True,
        default=None,
        max_length=100,
        help_text="everything used, cartridges included; empty: the cartridges fitted and what the rules ask for",
    )
    not_done = NotDoneSerializer(
        many=True,
        required=False,
        default=list,
        help_text="tasks of the visit that were not done; every other one must be among the work",
    )
    readings = serializers.ListField(
        child=NewReadingField(),
        required=False,
        default=list,
        max_length=100,
        help_text="before and after (occasion as_found, as_left), each with its unit; taken when the work was done",
    )
    leftover = PartUsedSerializer(  # type: ignore[call-arg]
        many=True, required=False, default=list, max_length=100, help_text="pieces found over: they go into the van"
    )
    confirmed_by = serializers.CharField(
        max_length=120,
        required=False,
        allow_blank=True,
        default="",
        help_text="who at the client's saw that it was done",
    )
    confirmed_at = DayOrMomentField(required=False, allow_null=True, default=None)
    note = serializers.CharField(max_length=2000, required=False, allow_blank=True, default="")
    follows = serializers.ChoiceField(
        choices=[(ADDITION, "work done besides"), (CORRECTION, "takes the place of the earlier report")],
        required=False,
        allow_blank=True,
        default="",
        help_text="what it is to an earlier report of the same work; empty where there is none",
    )


class RecordCorrectionSerializer(NewServiceRecordSerializer):
    """The report as it is right, all of it, and why the old one is not."""

    reason = serializers.CharField(max_length=300, help_text="what was wrong, for whoever reads the old one")
    follows = None  # type: ignore[assignment]


class NewPhotoSerializer(SentSerializer):
    """A picture of the work, or the client's signature."""

    file = serializers.FileField()
    kind = serializers.ChoiceField(
        choices=ServicePhoto.Kind.choices, required=False, default=ServicePhoto.Kind.PHOTO.value
    )
    caption = serializers.CharField(max_length=200, required=False, allow_blank=True, default="")


class ServiceRecordFilterSet(TenantFilterSet):
    """Filters of service records."""

    voided = django_filters.BooleanFilter(
        field_name="voided_at", lookup_expr="isnull", exclude=True, label="true: those that were taken back"
    )

    class Meta(TenantFilterSet.Meta):
        model = ServiceRecord
        fields: ClassVar[dict[str, list[str]]] = {
            "site": ["exact"],
            "visit": ["exact"],
            "reference": ["exact"],
            "done_by": ["exact"],
            "done_at": ["gte", "lt"],
        }


class ServiceRecordViewSet(CreateMixin, ReadOnlyViewSet):
    """What was done. A record places and removes cartridges, takes stock, settles needs and closes its visit.

    What was taken back is left out of lists unless `voided=true` asks for it, and always for clients.
    """

    resource = "service_record"
    company_first = True
    queryset = ServiceRecord.with_voided.select_related("corrected_by").prefetch_related("photos")
    serializer_class = ServiceRecordSerializer
    input_serializer_class = NewServiceRecordSerializer
    filterset_class = ServiceRecordFilterSet
    ordering_fields = ["done_at", "received_at"]
    audited = False  # the service leaves the entry

    @extend_schema(responses={201: ServiceRecordSerializer, 200: ServiceRecordSerializer})
    def create(self, request: Request, *args: Any, **kwargs: Any) -> Response:
        """Report work. 201 when it is stored, 200 with the stored record when its reference came before."""
        sent = self.valid_input().validated_data
        with self.transaction():
            record, is_new = report_work(report=_report_of(sent), by=self.by, now=self.now)
            response = self.answer(self.reread(record), status=201 if is_new else 200)
        response.headers["Location"] = f"{request.path.rstrip('/')}/{record.pk}/"
        return response

    def get_queryset(self) -> Any:
        """What was taken back is the company's own business, and nobody's who did not ask."""
        rows = without_voided_for_clients(self, super().get_queryset())
        is_asked = self.action != "list" or "voided" in self.request.query_params
        return rows if is_asked else rows.filter(voided_at__isnull=True)

    @extend_schema(request=RecordCorrectionSerializer, responses=ServiceRecordSerializer)
    @action(detail=True, methods=["post"])
    def correct(self, request: Request, pk: str) -> Response:
        """Put the right report in the place of this one: what it did is taken back, and done as it should have been.

        The answer is the new record, under a reference of its own, which names the old one in `corrects`.
        """
        with self.transaction():
            service_record = self.locked_object()
            sent = read_body(self, RecordCorrectionSerializer)
            fresh = correct_record(
                service_record=service_record,
                report=_report_of(sent),
                reason=sent["reason"],
                by=self.by,
                now=self.now,
            )
            return self.answer(self.reread(fresh))

    @extend_schema(request=ReasonSerializer, responses=ServiceRecordSerializer)
    @action(detail=True, methods=["post"])
    def void(self, request: Request, pk: str) -> Response:
        """Take back a report of work that was not done, with all that it did."""
        with self.transaction():
            service_record = self.locked_object()
            stated = read_body(self, ReasonSerializer)
            void_record(service_record=service_record, by=self.by, now=self.now, **stated)
            return self.answer(self.reread(service_record))

    @extend_schema(request={"multipart/form-data": NewPhotoSerializer}, responses={201: PhotoSerializer})
    @action(detail=True, methods=["post"], url_path="photos", parser_classes=[FileParser])
    def add_photo(self, request: Request, pk: str) -> Response:
        """Add a photo or a signature: JPEG, PNG or WebP, 10 MB at most.

        200 when the same picture came before with the same kind and caption, 409 when it came with others.
        """
        record = self.get_object()
        photo, is_new = add_photo(record=record, by=self.by, now=self.now, **NewPhotoSerializer.read(self))
        return Response(
            PhotoSerializer(photo, context=self.get_serializer_context()).data, status=201 if is_new else 200
        )


def _report_of(sent: dict[str, Any]) -> WorkReport:
    """What was sent, in the words of the service."""
    return WorkReport(
        site=sent["site"],
        visit=sent["visit"],
        reference=sent["reference"],
        done_at=sent["done_at"],
        minutes=sent["minutes"],
        work=[WorkDone(**row) for row in sent["work"]],
        used=None if sent["parts"] is None else [PartUsed(**row) for row in sent["parts"]],
        not_done=[TaskOutcome(row["need"], False, row["reason"]) for row in sent["not_done"]],
        readings=sent["readings"],
        leftover=[PartUsed(**row) for row in sent["leftover"]],
        confirmed_by=sent["confirmed_by"].strip(),
        confirmed_at=sent["confirmed_at"],
        note=sent["note"],
        follows=sent.get("follows", ""),
    )


class ServicePhotoViewSet(ReadOnlyViewSet):
    """Pictures of the work, and signatures."""

    resource = "service_photo"
    queryset = ServicePhoto.objects.all()
    serializer_class = PhotoSerializer
    filterset_fields = {"record": ["exact"], "record__site": ["exact"], "kind": ["exact"]}
    ordering_fields = ["received_at"]

    def get_queryset(self) -> Any:
        """Pictures of a report that was taken back are the company's own business."""
        rows = super().get_queryset()
        by = getattr(self.request, "membership", None)
        return rows.filter(record__voided_at__isnull=True) if by is not None and by.role == "client" else rows

    @extend_schema(responses={(200, "image/*"): OpenApiTypes.BINARY})
    @action(detail=True, methods=["get"], renderer_classes=[AnyImageRenderer, JSONRenderer])
    def image(self, request: Request, pk: str) -> HttpResponse:
        """Give the picture itself."""
        return answer_picture(self.get_object())


def answer_picture(photo: Any) -> HttpResponse:
    """Answer with a kept picture."""
    with photo.file.open("rb") as stored:
        content = stored.read()
    headers = {
        "Content-Disposition": f'inline; filename="photo-{photo.pk}"',
        # what was sent as a picture is never run as anything else
        "X-Content-Type-Options": "nosniff",
        "Cache-Control": "private, max-age=86400",
    }
    return HttpResponse(content, content_type=photo.media_type, headers=headers)
