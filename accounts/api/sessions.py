"""Where people are signed in with a browser."""

from typing import Any

from rest_framework import serializers

from accounts import services
from accounts.http.serializers import TenantModelSerializer
from accounts.http.viewsets import DestroyMixin, ReadOnlyViewSet
from accounts.models import BrowserSession, Membership


class BrowserSessionSerializer(TenantModelSerializer):
    """A browser that is signed in."""

    is_this = serializers.SerializerMethodField(help_text="whether this request came with it")

    class Meta:
        model = BrowserSession
        fields = ["id", "membership", "device", "signed_in_at", "last_used_at", "is_this"]
        read_only_fields = fields

    def get_is_this(self, session: BrowserSession) -> bool:
        """Say whether it is the one that asks."""
        asked_with = getattr(self.context["request"]._request, "session", None)
        return asked_with is not None and asked_with.session_key == session.session_key


class BrowserSessionViewSet(DestroyMixin, ReadOnlyViewSet):
    """Browsers in which you are signed in here; the owner sees those of every member. Deleting one ends it."""

    resource = "browser_session"
    queryset = BrowserSession.objects.select_related("membership")
    serializer_class = BrowserSessionSerializer
    filterset_fields = {"membership": ["exact"]}
    ordering_fields = ["signed_in_at", "last_used_at"]

    def get_queryset(self) -> Any:
        sessions = super().get_queryset()
        if getattr(self, "swagger_fake_view", False) or self.by.role == Membership.Role.OWNER:
            return sessions
        return sessions.filter(membership=self.by.pk)

    def perform_destroy(self, instance: BrowserSession) -> None:
        services.end_session(by=self.by, session=instance, now=self.now)
