"""Installers: who drives out, from where, when; and their visits as a calendar."""

from datetime import timedelta
from typing import Any

from django.http import HttpResponse
from drf_spectacular.types import OpenApiTypes
from drf_spectacular.utils import extend_schema
from rest_framework import serializers
from rest_framework.decorators import action
from rest_framework.renderers import JSONRenderer
from rest_framework.request import Request

from accounts.http.fields import TenantRelatedField
from accounts.http.retiring import RETIRED_FIELDS, RetireMixin
from accounts.http.serializers import TenantModelSerializer
from accounts.http.viewsets import ReadWriteViewSet
from accounts.models import Membership
from scheduling.api.renderers import CalendarRenderer
from scheduling.exports.calendar import calendar_of
from scheduling.models import Installer
from scheduling.services.people import installers
from scheduling.services.people.known import check_calendar
from scheduling.services.rounds.calendars import calendar_entries


class InstallerSerializer(TenantModelSerializer):
    """An installer's home base, shift and van."""

    membership = TenantRelatedField(
        queryset=Membership.objects.all(),
        help_text="id of the person's membership; anybody of the company who is not a client",
    )
    weekdays = serializers.ListField(
        child=serializers.IntegerField(min_value=0, max_value=6),
        max_length=7,
        required=False,
        help_text="days of work, 0 Monday to 6 Sunday",
    )
    skills = serializers.ListField(
        child=serializers.CharField(max_length=40), max_length=50, required=False, help_text="what the person may do"
    )

    class Meta:
        model = Installer
        fields = [
            "id",
            "membership",
            "name",
            "van",
            "home_latitude",
            "home_longitude",
            "time_zone",
            "shift_starts",
            "shift_ends",
            "weekdays",
            "skills",
            "max_overtime_minutes",
            "is_active",
            *RETIRED_FIELDS,
        ]
        read_only_fields = ["id", *RETIRED_FIELDS]
        extra_kwargs = {"time_zone": {"allow_blank": False}}

    def validate_membership(self, membership: Membership) -> Membership:
        if membership.role == Membership.Role.CLIENT or not membership.is_active:
            raise serializers.ValidationError("Name an active member of the company who is not a client.")
        return membership

    def validate_weekdays(self, weekdays: list[int]) -> list[int]:
        return sorted(set(weekdays))

    def validate_skills(self, skills: list[str]) -> list[str]:
        return sorted(set(skills))

    def validate(self, attrs: dict[str, Any]) -> dict[str, Any]:
        now = self.instance
        starts = attrs.get(
            "shift_starts", getattr(now, "shift_starts", Installer._meta.get_field("shift_starts").default)
        )
        ends = attrs.get("shift_ends", getattr(now, "shift_ends", Installer._meta.get_field("shift_ends").default))
        if ends <= starts:
            raise serializers.ValidationError(
                {"shift_ends": f"The shift ends at {ends:%H:%M}, not after its start at {starts:%H:%M}."}
            )
        return attrs


class InstallerViewSet(RetireMixin, ReadWriteViewSet):
    """Who drives out. Somebody who has driven rounds is made inactive rather than deleted."""

    resource = "installer"
    retire_service = staticmethod(installers.retire_installer)
    unretire_service = staticmethod(installers.unretire_installer)
    queryset = Installer.objects.all()
    serializer_class = InstallerSerializer
    filterset_fields = ["is_active", "membership"]
    ordering_fields = ["name"]

    def perform_create(self, serializer: Any) -> Installer:
        return installers.create_installer(
            company=self.by.company, by=self.by, now=self.now, **serializer.validated_data
        )

    def perform_update(self, serializer: Any) -> Installer:
        return installers.update_installer(
            installer=serializer.instance, by=self.by, now=self.now, **serializer.validated_data
        )

    def perform_destroy(self, instance: Installer) -> None:
        installers.delete_installer(installer=instance, by=self.by, now=self.now)

    @extend_schema(responses={(200, "text/calendar"): OpenApiTypes.STR})
    @action(detail=True, methods=["get"], renderer_classes=[CalendarRenderer, JSONRenderer])
    def calendar(self, request: Request, pk: str) -> HttpResponse:
        """Visits of the published plans and confirmed visits, from four weeks ago on, as an iCalendar."""
        installer = self.get_object()
        check_calendar(of=installer.membership, reader=self.by)
        entries = calendar_entries(installer=installer, since=self.now - timedelta(days=28))
        return HttpResponse(
            calendar_of(installer=installer, entries=entries),
            content_type="text/calendar; charset=utf-8",
            headers={"Content-Disposition": f'inline; filename="visits-{installer.pk}.ics"'},
        )
