"""Tokens: what they are for, when they end, and how they are taken back."""

from typing import Any

from django.db.models import Q
from drf_spectacular.utils import extend_schema
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from accounts import services
from accounts.http.fields import MomentField
from accounts.http.serializers import StrictSerializer, TenantModelSerializer
from accounts.http.viewsets import CreateMixin, DestroyMixin, ReadOnlyViewSet
from accounts.models import AccessToken, Membership


class TokenSerializer(TenantModelSerializer):
    """A token, without its secret."""

    meter_unit = serializers.IntegerField(
        source="meter_unit_id",
        read_only=True,
        allow_null=True,
        help_text="id of the unit whose meter alone may use it; null for a person's token",
    )
    created_at = serializers.DateTimeField(source="created", read_only=True)
    expires_at = serializers.DateTimeField(source="expiry", read_only=True)

    class Meta:
        model = AccessToken
        fields = ["id", "name", "membership", "meter_unit", "created_at", "expires_at", "last_used_at"]
        read_only_fields = fields


class NewTokenSerializer(StrictSerializer):
    """A token to be made for yourself, or for the meter of a unit."""

    name = serializers.CharField(max_length=80, help_text="what the token is for")
    expires_at = MomentField(help_text="five years from now at most")
    meter_unit = serializers.IntegerField(
        source="meter_unit_id",
        required=False,
        allow_null=True,
        default=None,
        min_value=1,
        max_value=2**63 - 1,
        help_text="id of the unit whose meter will use it: the token can post readings of that unit and nothing else",
    )


class SecretTokenSerializer(TokenSerializer):
    """A new token with its secret, which is shown this once."""

    token = serializers.CharField(help_text="send it as 'Authorization: Bearer <token>'; it is shown this once")

    class Meta(TokenSerializer.Meta):
        fields = [*TokenSerializer.Meta.fields, "token"]
        read_only_fields = fields


class TokenViewSet(CreateMixin, DestroyMixin, ReadOnlyViewSet):
    """Your tokens. The owner sees every token of the company, the office those of meters."""

    resource = "token"
    queryset = AccessToken.objects.select_related("membership")
    serializer_class = TokenSerializer
    input_serializer_class = NewTokenSerializer
    keeps_answers = False
    filterset_fields = {"membership": ["exact"], "meter_unit_id": ["exact", "isnull"]}
    ordering_fields = ["name", "created", "expiry"]

    def get_queryset(self) -> Any:
        tokens = super().get_queryset()
        if getattr(self, "swagger_fake_view", False) or self.by.role == Membership.Role.OWNER:
            return tokens
        readable = Q(membership=self.by.pk)
        if self.by.role == Membership.Role.OFFICE:
            readable |= Q(meter_unit_id__isnull=False)
        return tokens.filter(readable)

    @extend_schema(responses={201: SecretTokenSerializer})
    def create(self, request: Request, *args: Any, **kwargs: Any) -> Response:
        """Make a token. Its secret is in the answer and nowhere else."""
        facts = self.valid_input().validated_data
        token, secret = services.issue_token(by=self.by, membership=self.by, now=self.now, **facts)
        token.token = secret
        data = SecretTokenSerializer(token, context=self.get_serializer_context()).data
        return Response(
            data, status=201, headers={"Location": f"{request.path}{token.pk}/", "Cache-Control": "no-store"}
        )

    def perform_destroy(self, instance: AccessToken) -> None:
        services.revoke_token(by=self.by, token=instance, now=self.now)
