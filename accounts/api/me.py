"""Who I am, for which company I act, and what I may do there."""

from typing import Any

from django.contrib.auth import update_session_auth_hash
from drf_spectacular.utils import extend_schema
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from accounts import services
from accounts.http.serializers import AnswerSerializer, FieldsByRole, StrictSerializer
from accounts.http.throttles import AddressThrottle, place_of
from accounts.http.viewsets import TenantViewSet
from accounts.models import AccessToken, Company, Membership
from accounts.permissions import ALLOWED, allows


class MyCompanySerializer(FieldsByRole, serializers.ModelSerializer[Company]):
    """The company of a membership."""

    class Meta:
        model = Company
        fields = ["id", "name", "currency", "time_zone", "unit_system"]
        read_only_fields = fields


class MembershipSerializer(FieldsByRole, serializers.ModelSerializer[Membership]):
    """A place in a company."""

    company = MyCompanySerializer(read_only=True)

    class Meta:
        model = Membership
        fields = ["id", "name", "role", "client", "company", "gets_digest"]
        read_only_fields = fields


class MeSerializer(AnswerSerializer):
    """Who you are and what you may do."""

    email = serializers.EmailField()
    membership = MembershipSerializer(help_text="the membership you act for")
    memberships = MembershipSerializer(many=True, help_text="all memberships you have; choose one when you sign in")
    may = serializers.DictField(
        child=serializers.ListField(child=serializers.CharField()),
        help_text="for each resource the actions open to you",
    )


class MyWishesSerializer(StrictSerializer):
    """What you wish to be sent."""

    gets_digest = serializers.BooleanField(help_text="a letter each morning about what needs attention")


class PasswordSerializer(StrictSerializer):
    """The password you have and the one you want."""

    current_password = serializers.CharField(max_length=128, trim_whitespace=False, write_only=True)
    new_password = serializers.CharField(max_length=128, trim_whitespace=False, write_only=True)


class NewAddressSerializer(StrictSerializer):
    """The address you want to sign in with, and the password you have."""

    email = serializers.EmailField(max_length=150)
    current_password = serializers.CharField(max_length=128, trim_whitespace=False, write_only=True)


def describe(membership: Membership) -> dict[str, Any]:
    """Describe a person and their rights."""
    may: dict[str, list[str]] = {}
    for resource, action in ALLOWED:
        if allows(membership, resource, action):
            may.setdefault(resource, []).append(action)
    own_memberships = (
        Membership.objects.filter(user=membership.user_id, is_active=True).select_related("company").order_by("pk")
    )
    answer = {"email": membership.user.email, "membership": membership, "memberships": own_memberships, "may": may}
    return dict(MeSerializer(answer, context={"membership": membership}).data)


class MeViewSet(TenantViewSet):
    """You."""

    resource = "me"
    queryset = Membership.objects.all()
    serializer_class = MeSerializer
    keeps_answers = False

    def get_throttles(self) -> list[Any]:
        # A password is looked at, which costs time; how often in vain is counted by the service.
        needs_password = self.action in ("change_password", "change_email")
        return [AddressThrottle()] if needs_password else []

    def retrieve(self, request: Request) -> Response:
        """Who you are, for which company you act, and what you may do there."""
        return Response(describe(self.by))

    @extend_schema(request=MyWishesSerializer)
    def partial_update(self, request: Request) -> Response:
        """Say whether you wish to get a letter each morning about what needs attention."""
        serializer = MyWishesSerializer(data=request.data, context=self.get_serializer_context())
        serializer.is_valid(raise_exception=True)
        services.choose_digest(by=self.by, gets_digest=serializer.validated_data["gets_digest"], now=self.now)
        return Response(describe(self.by))

    @extend_schema(request=PasswordSerializer, responses={204: None})
    def change_password(self, request: Request) -> Response:
        """Change your password; your other tokens are revoked, and your other sessions end."""
        serializer = PasswordSerializer(data=request.data, context=self.get_serializer_context())
        serializer.is_valid(raise_exception=True)
        token = request.auth if isinstance(request.auth, AccessToken) else None
        session = request._request.session if token is None else None
        services.change_password(
            by=self.by,
            current=serializer.validated_data["current_password"],
            new=serializer.validated_data["new_password"],
            keep_token=token,
            keep_session=session.session_key if session is not None else None,
            place=place_of(request),
            now=self.now,
        )
        if session is not None:
            key = session.session_key
            update_session_auth_hash(request._request, self.by.user)
            services.rename_session(key=key or "", new_key=session.session_key or "")
        return Response(status=204)

    @extend_schema(request=NewAddressSerializer, responses={202: None})
    def change_email(self, request: Request) -> Response:
        """Have a link sent to a new address; once you follow it, you sign in with that address.

        The answer is the same whether or not the address has an account; one that has gets no letter.
        """
        serializer = NewAddressSerializer(data=request.data, context=self.get_serializer_context())
        serializer.is_valid(raise_exception=True)
        services.ask_for_new_address(by=self.by, place=place_of(request), now=self.now, **serializer.validated_data)
        return Response(status=202)

    @extend_schema(request=None, responses={204: None})
    def end_all(self, request: Request) -> Response:
        """End all your sessions and tokens, in every company, this one too; those of meters stay."""
        services.end_all(by=self.by, now=self.now)
        return Response(status=204)
