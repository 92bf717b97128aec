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
    scopes = serializers.ListField(
        child=serializers.ChoiceField(choices=AccessToken.Scope.choices),
        read_only=True,
        allow_null=True,
        help_text="what it may do of what your role may; null: all of it",
    )
    created_at = serializers.DateTimeField(source="created", read_only=True)
    expires_at = serializers.DateTimeField(source="expiry", read_only=True)

    class Meta:
        model = AccessToken
        fields = ["id", "name", "membership", "meter_unit", "scopes", "created_at", "expires_at", "last_used_at"]
        read_only_fields = fields


class NewTokenSerializer(StrictSerializer):
    """A token to be made for yourself, or for the meter of a unit."""

    name = serializers.CharField(max_length=80, help_text="what the token is for")
    expires_at = MomentField(
        help_text="five years from now at most; made with a token, no later than that one ends: sign in with a session "
        "for a longer one"
    )
    scopes = serializers.ListField(
        child=serializers.ChoiceField(choices=AccessToken.Scope.choices),
        required=False,
        allow_empty=False,
        max_length=4,
        help_text="read: look at things; readings: send what was measured; work: report what was done on site and in "
        "stock; office: everything else your role may, but people, passwords and tokens, which no scope opens. Left "
        "out: read; with meter_unit: readings of that unit alone",
    )
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
        if "scopes" not in facts and facts["meter_unit_id"] is None:
            facts["scopes"] = [AccessToken.Scope.READ]
        made_with = request.auth if isinstance(request.auth, AccessToken) else None
        token, secret = services.issue_token(by=self.by, membership=self.by, made_with=made_with, now=self.now, **facts)
        token.token = secret
        data = SecretTokenSerializer(token, context=self.get_serializer_context()).data
        return Response(
            data, status=201, headers={"Location": f"{request.path}{token.pk}/", "Cache-Control": "no-store"}
        )

    def perform_destroy(self, instance: AccessToken) -> None:
        services.revoke_token(by=self.by, token=instance, now=self.now)
