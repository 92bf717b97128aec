"""Calendars to subscribe to: made, listed, ended."""

from typing import Any

from django.conf import settings
from drf_spectacular.utils import extend_schema
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from accounts.http.fields import TenantRelatedField
from accounts.http.serializers import StrictSerializer, TenantModelSerializer
from accounts.http.viewsets import DestroyMixin, ReadOnlyViewSet
from accounts.models import Client
from scheduling.models import CalendarFeed, Installer
from scheduling.services.rounds.calendar_feeds import end_feed, open_feed


class CalendarFeedSerializer(TenantModelSerializer):
    """A calendar that somebody subscribes to; its address was shown once."""

    class Meta:
        model = CalendarFeed
        fields = ["id", "installer", "client", "name", "created_at"]
        read_only_fields = fields


class NewCalendarFeedSerializer(StrictSerializer):
    """Whose visits; who names nobody gets their own."""

    installer = TenantRelatedField(queryset=Installer.objects.all(), required=False, allow_null=True, default=None)
    client = TenantRelatedField(queryset=Client.objects.all(), required=False, allow_null=True, default=None)
    name = serializers.CharField(
        max_length=80,
        required=False,
        allow_blank=True,
        default="",
        help_text="where it is used, such as 'my telephone'",
    )


class OpenedCalendarFeedSerializer(CalendarFeedSerializer):
    """A calendar and its address, which is shown this once: whoever has it reads the visits."""

    address = serializers.SerializerMethodField(help_text="the address to subscribe to; it needs no sign-in")

    class Meta(CalendarFeedSerializer.Meta):
        fields = [*CalendarFeedSerializer.Meta.fields, "address"]
        read_only_fields = fields

    def get_address(self, feed: CalendarFeed) -> str:
        """The address, which nobody can make out again later."""
        return str(self.context.get("address", ""))


class CalendarFeedViewSet(DestroyMixin, ReadOnlyViewSet):
    """Secret addresses under which a telephone reads the visits of an installer or of a client. DELETE ends one."""

    resource = "calendar_feed"
    queryset = CalendarFeed.objects.select_related("installer", "client")
    serializer_class = CalendarFeedSerializer
    filterset_fields = ["installer", "client"]
    ordering_fields = ["created_at"]
    keeps_answers = False  # the answer holds a secret
    audited = False  # the services leave the entries

    @extend_schema(request=NewCalendarFeedSerializer, responses={201: OpenedCalendarFeedSerializer})
    def create(self, request: Request) -> Response:
        """Make an address to subscribe to; it is shown this once."""
        serializer = NewCalendarFeedSerializer(data=request.data, context=self.get_serializer_context())
        serializer.is_valid(raise_exception=True)
        with self.transaction():
            feed, secret = open_feed(by=self.by, now=self.now, **serializer.validated_data)
        base = settings.PUBLIC_URL or request.build_absolute_uri("/").rstrip("/")
        context = {**self.get_serializer_context(), "address": f"{base}/calendars/{secret}.ics"}
        data = OpenedCalendarFeedSerializer(feed, context=context).data
        return Response(data, status=201, headers={"Location": f"{request.path.rstrip('/')}/{feed.pk}/"})

    def perform_destroy(self, instance: Any) -> None:
        end_feed(feed=instance, by=self.by, now=self.now)
