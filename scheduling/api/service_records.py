"""Service records: what was done, as the installer reports it."""

from typing import Any

from drf_spectacular.utils import extend_schema
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from accounts.api.fields import MomentField, OneOfField, TenantRelatedField
from accounts.api.serializers import StrictSerializer, TenantModelSerializer
from accounts.api.viewsets import CreateMixin, ReadOnlyViewSet
from fleet.models import CatalogueItem, Placement, Position, Site, Unit
from scheduling.models import Need, ServiceRecord, Visit
from scheduling.services.outcomes import TaskOutcome
from scheduling.services.work_records import PartUsed, WorkDone, record_work

_REMOVALS = [choice for choice in Placement.Removal.choices if choice[0] != Placement.Removal.ROTATED]


class DoneSerializer(StrictSerializer):
    """One thing that was done, as it is kept."""

    action = serializers.CharField()
    unit = serializers.IntegerField(required=False)
    position = serializers.IntegerField(allow_null=True, required=False)
    item = serializers.IntegerField(allow_null=True, required=False)
    serial_or_lot = serializers.CharField(required=False)
    removal = serializers.CharField(required=False)
    needs = serializers.ListField(child=serializers.IntegerField(), required=False, help_text="needs it settled")
    note = serializers.CharField(required=False)


class TakenSerializer(StrictSerializer):
    """Pieces that were used, and where the count took them from."""

    item = serializers.IntegerField()
    quantity = serializers.IntegerField()
    from_van = serializers.IntegerField()
    from_store = serializers.IntegerField()
    uncounted = serializers.IntegerField(help_text="used although the last count knew of none")


class ServiceRecordSerializer(TenantModelSerializer):
    """What was done at a site."""

    work = DoneSerializer(many=True, read_only=True)
    parts = TakenSerializer(many=True, read_only=True)

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
            "note",
            "received_at",
        ]
        read_only_fields = fields


class WorkDoneSerializer(StrictSerializer):
    """One thing that was done at a unit."""

    action = OneOfField(choices=Need.Kind.choices)
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
    removal = OneOfField(
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


class NewServiceRecordSerializer(StrictSerializer):
    """A report of work; the same reference sent again changes nothing."""

    site = TenantRelatedField(queryset=Site.objects.all())
    visit = TenantRelatedField(queryset=Visit.objects.all(), required=False, allow_null=True, default=None)
    reference = serializers.CharField(max_length=80, help_text="the sender's own name for this report")
    done_at = MomentField()
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
    note = serializers.CharField(max_length=2000, required=False, allow_blank=True, default="")


class ServiceRecordViewSet(CreateMixin, ReadOnlyViewSet):
    """What was done. A record places and removes cartridges, takes stock, settles needs and closes its visit."""

    resource = "service_record"
    queryset = ServiceRecord.objects.all()
    serializer_class = ServiceRecordSerializer
    input_serializer_class = NewServiceRecordSerializer
    filterset_fields = {
        "site": ["exact"],
        "visit": ["exact"],
        "reference": ["exact"],
        "done_by": ["exact"],
        "done_at": ["gte", "lt"],
    }
    ordering_fields = ["done_at", "received_at"]
    audited = False  # the service leaves the entry

    @extend_schema(responses={201: ServiceRecordSerializer, 200: ServiceRecordSerializer})
    def create(self, request: Request, *args: Any, **kwargs: Any) -> Response:
        """Report work. 201 when it is stored, 200 with the stored record when its reference came before."""
        sent = self.valid_input().validated_data
        with self.transaction():
            record, is_new = record_work(
                site=sent["site"],
                visit=sent["visit"],
                by=self.by,
                reference=sent["reference"],
                done_at=sent["done_at"],
                minutes=sent["minutes"],
                work=[WorkDone(**row) for row in sent["work"]],
                used=None if sent["parts"] is None else [PartUsed(**row) for row in sent["parts"]],
                not_done=[TaskOutcome(row["need"], False, row["reason"]) for row in sent["not_done"]],
                note=sent["note"],
                now=self.now,
            )
            response = self.answer(self.reread(record), status=201 if is_new else 200)
        response.headers["Location"] = f"{request.path.rstrip('/')}/{record.pk}/"
        return response
