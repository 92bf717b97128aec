"""Absences: when an installer does not work."""

from typing import Any

from drf_spectacular.utils import extend_schema
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from accounts.http.fields import TenantRelatedField
from accounts.http.serializers import StrictSerializer, TenantModelSerializer
from accounts.http.viewsets import ReadWriteViewSet
from scheduling.models import Absence, Installer
from scheduling.services.people.absences import change_absence, record_absence


class AbsenceSerializer(TenantModelSerializer):
    """Days on which an installer does not work. Why is for owner and office."""

    installer_name = serializers.CharField(source="installer.name", read_only=True)
    reason = serializers.CharField(read_only=True)

    class Meta:
        model = Absence
        fields = [
            "id",
            "installer",
            "installer_name",
            "first_day",
            "last_day",
            "from_time",
            "to_time",
            "reason",
            "created_at",
        ]
        read_only_fields = fields


class AbsenceChangeSerializer(StrictSerializer):
    """What of an absence may change; the installer stays."""

    first_day = serializers.DateField()
    last_day = serializers.DateField()
    from_time = serializers.TimeField(
        required=False,
        allow_null=True,
        help_text="from when on the first day, on the installer's clock; empty: all day. Somebody who is away in the "
        "middle of one day works the longer of its two ends",
    )
    to_time = serializers.TimeField(
        required=False, allow_null=True, help_text="until when on the last day; empty: all day"
    )
    reason = serializers.CharField(
        max_length=200, required=False, allow_blank=True, help_text="read by owner and office alone"
    )


class AbsenceInputSerializer(AbsenceChangeSerializer):
    """When an installer does not work."""

    installer = TenantRelatedField(queryset=Installer.objects.all())


class AbsenceViewSet(ReadWriteViewSet):
    """When installers do not work. Plans made from then on leave them out; a published plan is repaired by `replan`."""

    resource = "absence"
    company_first = True
    queryset = Absence.objects.select_related("installer")
    serializer_class = AbsenceSerializer
    input_serializer_class = AbsenceInputSerializer
    filterset_fields = {"installer": ["exact"], "first_day": ["gte", "lte"], "last_day": ["gte", "lte"]}
    ordering_fields = ["first_day", "last_day"]

    def get_input_serializer(self, *args: Any, **kwargs: Any) -> Any:
        if self.action == "partial_update":
            kwargs.setdefault("context", self.get_serializer_context())
            return AbsenceChangeSerializer(*args, **kwargs)
        return super().get_input_serializer(*args, **kwargs)

    @extend_schema(request=AbsenceChangeSerializer)
    def partial_update(self, request: Request, *args: Any, **kwargs: Any) -> Response:
        """Change when the installer is away, or why."""
        return super().partial_update(request, *args, **kwargs)

    def perform_create(self, serializer: Any) -> Absence:
        return record_absence(by=self.by, now=self.now, **serializer.validated_data)

    def perform_update(self, serializer: Any) -> Absence:
        return change_absence(absence=serializer.instance, by=self.by, now=self.now, **serializer.validated_data)
