"""The people of the company: the owner changes what they are, and takes access."""

from typing import Any

from drf_spectacular.utils import extend_schema
from rest_framework import serializers
from rest_framework.decorators import action
from rest_framework.request import Request
from rest_framework.response import Response

from accounts import services
from accounts.http.fields import OneOfField, TenantRelatedField
from accounts.http.serializers import StrictSerializer, TenantModelSerializer
from accounts.http.viewsets import ReadOnlyViewSet, UpdateMixin
from accounts.models import Client, Membership


class MemberSerializer(TenantModelSerializer):
    """A person's place in the company."""

    email = serializers.EmailField(source="user.email", read_only=True)

    class Meta:
        model = Membership
        fields = ["id", "email", "name", "role", "client", "is_active", "created_at"]
        read_only_fields = ["id", "client", "is_active", "created_at"]


class ChangedMemberSerializer(StrictSerializer):
    """Another role or name."""

    name = serializers.CharField(max_length=120, required=False, allow_blank=True)
    role = OneOfField(choices=Membership.Role.choices, required=False)
    client = TenantRelatedField(queryset=Client.objects.all(), required=False, allow_null=True)


class MemberViewSet(UpdateMixin, ReadOnlyViewSet):
    """The people of the company, those who left included; who is to come is invited."""

    resource = "member"
    queryset = Membership.objects.select_related("user")
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
    @action(detail=True, methods=["post"])
    def end(self, request: Request, pk: str) -> Response:
        """End a membership and revoke its tokens; what the person did stays on record."""
        with self.transaction():
            membership = services.end_membership(by=self.by, membership=self.locked_object(), now=self.now)
            return self.answer(self.reread(membership))
