"""The people of the company: the owner changes what they are, and takes access."""

from typing import Any

from drf_spectacular.utils import extend_schema
from rest_framework import serializers
from rest_framework.decorators import action
from rest_framework.request import Request
from rest_framework.response import Response

from accounts import services
from accounts.http.fields import TenantRelatedField
from accounts.http.serializers import StrictSerializer, TenantModelSerializer
from accounts.http.viewsets import ReadOnlyViewSet, UpdateMixin
from accounts.models import Client, Membership
from accounts.services import second_factor


class MemberSerializer(TenantModelSerializer):
    """A person's place in the company."""

    email = serializers.EmailField(source="user.email", read_only=True)
    has_second_factor = serializers.SerializerMethodField(help_text="whether they sign in with a code")

    class Meta:
        model = Membership
        fields = ["id", "email", "name", "role", "client", "is_active", "has_second_factor", "created_at"]
        read_only_fields = ["id", "client", "is_active", "created_at"]

    def get_has_second_factor(self, membership: Membership) -> bool:
        """Say whether an authenticator of theirs was confirmed."""
        factor = getattr(membership.user, "second_factor", None)
        return factor is not None and factor.is_confirmed


class ChangedMemberSerializer(StrictSerializer):
    """Another role or name."""

    name = serializers.CharField(max_length=120, required=False, allow_blank=True)
    role = serializers.ChoiceField(choices=Membership.Role.choices, required=False)
    client = TenantRelatedField(queryset=Client.objects.all(), required=False, allow_null=True)


class MemberViewSet(UpdateMixin, ReadOnlyViewSet):
    """The people of the company, those who left included; who is to come is invited."""

    resource = "member"
    queryset = Membership.objects.select_related("user__second_factor")
    serializer_class = MemberSerializer
    input_serializer_class = ChangedMemberSerializer
    filterset_fields = ["role", "client", "is_active"]
    ordering_fields = ["name", "created_at", "role"]

    @extend_schema(request=ChangedMemberSerializer)
    def partial_update(self, request: Request, *args: Any, **kwargs: Any) -> Response:
        """Change a member's name or role. The last owner stays owner."""
        return super().partial_update(request, *args, **kwargs)

    def perform_update(self, serializer: Any) -> Membership:
        return services.change_member(
            by=self.by, membership=serializer.instance, now=self.now, **serializer.validated_data
        )

    @extend_schema(request=None, responses=MemberSerializer)
    @action(detail=True, methods=["post"], url_path="reset-second-factor")
    def reset_second_factor(self, request: Request, pk: str) -> Response:
        """Let a member who lost authenticator and recovery codes sign in with the password alone, to set it up anew.

        Make sure who asks for it. Only of somebody who belongs to no other company.
        """
        with self.transaction():
            membership = self.locked_object()
            second_factor.reset_of_member(by=self.by, membership=membership, now=self.now)
            return self.answer(self.reread(membership))

    @extend_schema(request=None, responses=MemberSerializer)
    @action(detail=True, methods=["post"])
    def end(self, request: Request, pk: str) -> Response:
        """End a membership and revoke its tokens; what the person did stays on record."""
        with self.transaction():
            membership = services.end_membership(by=self.by, membership=self.locked_object(), now=self.now)
            return self.answer(self.reread(membership))
