"""Who I am, for which company I act, and what I may do there."""

from typing import Any

from django.contrib.auth import update_session_auth_hash
from drf_spectacular.utils import extend_schema
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from accounts import services
from accounts.errors import InvalidInput
from accounts.http.proof import note_proof
from accounts.http.serializers import AnswerSerializer, FieldsByRole, StrictSerializer
from accounts.http.throttles import AddressThrottle, place_of
from accounts.http.viewsets import TenantViewSet
from accounts.models import AccessToken, Company, Membership, SecondFactor
from accounts.permissions import ALLOWED, RECENT_FOR, allows
from accounts.services import second_factor
from accounts.services.signing_in import check_own_code, check_own_password
from accounts.wall import over_all_companies


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


class SecondFactorStateSerializer(AnswerSerializer):
    """Whether you sign in with a code beside your password."""

    is_set_up = serializers.BooleanField(help_text="whether an authenticator of yours was confirmed")
    is_wanted = serializers.BooleanField(help_text="whether your company wants it of your role")
    was_given = serializers.BooleanField(help_text="whether this session or token was signed in with a code")
    recovery_codes_left = serializers.IntegerField(min_value=0, help_text="how many were not used yet")


class MeSerializer(AnswerSerializer):
    """Who you are and what you may do."""

    email = serializers.EmailField()
    membership = MembershipSerializer(help_text="the membership you act for")
    memberships = MembershipSerializer(many=True, help_text="all memberships you have; choose one when you sign in")
    may = serializers.DictField(
        child=serializers.ListField(child=serializers.CharField()),
        help_text="for each resource the actions open to you",
    )
    second_factor = SecondFactorStateSerializer()
    recent_until = serializers.DateTimeField(
        allow_null=True,
        help_text="until when you may do what asks for a recent password or code; null where you gave none with this "
        "session or token",
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
    memberships = Membership.objects.filter(user=membership.user_id, is_active=True)
    with over_all_companies():
        own_memberships = list(memberships.select_related("company").order_by("pk"))
    at = membership.authenticated_at
    answer = {
        "email": membership.user.email,
        "membership": membership,
        "memberships": own_memberships,
        "may": may,
        "second_factor": second_factor_of(membership),
        "recent_until": at + RECENT_FOR if at is not None else None,
    }
    return dict(MeSerializer(answer, context={"membership": membership}).data)


class ProofSerializer(StrictSerializer):
    """Your password or a code: one of the two."""

    current_password = serializers.CharField(
        max_length=128, trim_whitespace=False, required=False, write_only=True, help_text="the password you have"
    )
    code = serializers.CharField(
        max_length=40, required=False, write_only=True, help_text="six figures of the authenticator, or a recovery code"
    )

    def validate(self, attrs: dict[str, Any]) -> dict[str, Any]:
        """Take exactly one."""
        if len(attrs) != 1:
            raise serializers.ValidationError({"current_password": ["Give the password or a code: one of the two."]})
        return attrs


class FirstCodeSerializer(StrictSerializer):
    """What the new authenticator shows."""

    code = serializers.CharField(max_length=40, write_only=True, help_text="six figures of the new authenticator")


class NewSecondFactorSerializer(AnswerSerializer):
    """What goes into an authenticator; it is shown this once."""

    key = serializers.CharField(help_text="to be typed into an authenticator: base32")
    address = serializers.CharField(help_text="the same as an 'otpauth://' address, to be shown as a picture")


class RecoveryCodesSerializer(AnswerSerializer):
    """Codes that stand in for an authenticator, each once; they are shown this once."""

    recovery_codes = serializers.ListField(child=serializers.CharField(), help_text="keep them away from the phone")


def second_factor_of(membership: Membership) -> dict[str, Any]:
    """Describe how a member signs in."""
    factor = SecondFactor.objects.filter(user=membership.user_id).first()
    is_set_up = factor is not None and factor.is_confirmed
    return {
        "is_set_up": is_set_up,
        "is_wanted": membership.role in membership.company.second_factor_roles,
        "was_given": membership.has_given_code,
        "recovery_codes_left": factor.recovery_codes.filter(used_at=None).count() if factor and is_set_up else 0,
    }


class MeViewSet(TenantViewSet):
    """You, how you sign in, and what you may do."""

    resource = "me"
    queryset = Membership.objects.all()
    serializer_class = MeSerializer
    keeps_answers = False

    def get_throttles(self) -> list[Any]:
        # A password is looked at, which costs time; how often in vain is counted by the service.
        needs_password = self.action in ("change_password", "change_email", "authenticate", "confirm_second_factor")
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

    @extend_schema(request=ProofSerializer)
    def authenticate(self, request: Request) -> Response:
        """Prove again who you are, by password or code, for what asks for a recent proof: it lasts 15 minutes.

        A code makes up for a sign-in without one, where your company wants codes of your role. After a sign-in without
        one, whoever has codes proves it by a code.
        """
        serializer = ProofSerializer(data=request.data, context=self.get_serializer_context())
        serializer.is_valid(raise_exception=True)
        sent, place = serializer.validated_data, place_of(request)
        if "code" in sent:
            check_own_code(user=self.by.user, code=sent["code"], place=place, now=self.now)
            self.by.has_given_code = True
        elif not self.by.has_given_code and SecondFactor.is_of(self.by.user):
            # Else a token or browser from before there were codes, and the password, would be enough to remove them.
            raise InvalidInput(
                "code_needed",
                "You sign in with codes, and this began without one: give a code of your authenticator, or a recovery "
                "code.",
                pointer="/code",
            )
        else:
            check_own_password(user=self.by.user, password=sent["current_password"], place=place, now=self.now)
        self.by.authenticated_at = self.now
        self._keep_proof(request)
        return Response(describe(self.by))

    @extend_schema(request=None, responses={201: NewSecondFactorSerializer})
    def begin_second_factor(self, request: Request) -> Response:
        """Get a key for an authenticator; you sign in with its codes once you have confirmed the first."""
        begun = second_factor.begin(by=self.by, now=self.now)
        return Response(NewSecondFactorSerializer(begun, context={"membership": self.by}).data, status=201)

    @extend_schema(request=FirstCodeSerializer, responses=RecoveryCodesSerializer)
    def confirm_second_factor(self, request: Request) -> Response:
        """Give the first code of the new authenticator, and get ten recovery codes; any before are of no more use."""
        serializer = FirstCodeSerializer(data=request.data, context=self.get_serializer_context())
        serializer.is_valid(raise_exception=True)
        token = request.auth if isinstance(request.auth, AccessToken) else None
        codes = second_factor.confirm(by=self.by, code=serializer.validated_data["code"], token=token, now=self.now)
        self._keep_proof(request)
        return self._codes(codes)

    @extend_schema(request=None, responses=RecoveryCodesSerializer)
    def renew_recovery_codes(self, request: Request) -> Response:
        """Get ten new recovery codes; those before are of no more use."""
        return self._codes(second_factor.renew_codes(by=self.by, now=self.now))

    @extend_schema(request=None, responses={204: None})
    def remove_second_factor(self, request: Request) -> Response:
        """Sign in with the password alone again, unless a company of yours wants codes of you."""
        second_factor.remove(by=self.by, now=self.now)
        return Response(status=204)

    def _keep_proof(self, request: Request) -> None:
        if isinstance(request.auth, AccessToken):
            AccessToken.objects.filter(pk=request.auth.pk).update(
                authenticated_at=self.by.authenticated_at, has_given_code=self.by.has_given_code
            )
        else:
            note_proof(request._request.session, self.by)

    def _codes(self, codes: list[str]) -> Response:
        return Response(RecoveryCodesSerializer({"recovery_codes": codes}, context={"membership": self.by}).data)

    @extend_schema(request=None, responses={204: None})
    def end_all(self, request: Request) -> Response:
        """End all your sessions and tokens, in every company, this one too; those of meters stay."""
        services.end_all(by=self.by, now=self.now)
        return Response(status=204)
