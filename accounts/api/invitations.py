"""Invitations: the owner offers a place, and whoever reads the mail of the address takes it."""

from typing import Any

from django.utils import timezone
from drf_spectacular.utils import extend_schema, extend_schema_field
from rest_framework import serializers
from rest_framework.decorators import action
from rest_framework.exceptions import AuthenticationFailed, NotFound
from rest_framework.request import Request
from rest_framework.response import Response

from accounts import services
from accounts.api.me import MembershipSerializer
from accounts.http.authentication import SessionAuthentication, TokenAuthentication
from accounts.http.fields import TenantRelatedField
from accounts.http.serializers import AnswerSerializer, StrictSerializer, TenantModelSerializer
from accounts.http.throttles import AddressThrottle, place_of
from accounts.http.views import PublicView
from accounts.http.viewsets import CreateMixin, ReadOnlyViewSet
from accounts.models import AccessToken, Client, Invitation, Membership, User
from accounts.services import WrongCredentials
from accounts.services.invitations import account_of
from accounts.wall import enter_company

STATES = [(state, state) for state in ("open", "accepted", "withdrawn", "expired")]


class LinkThrottle(AddressThrottle):
    """Looks at links of letters from one address."""

    scope = "link-address"


class InvitationSerializer(TenantModelSerializer):
    """A place that was offered to an address."""

    state = serializers.SerializerMethodField(help_text="how it stands")

    class Meta:
        model = Invitation
        fields = [
            "id",
            "email",
            "name",
            "role",
            "client",
            "state",
            "invited_by",
            "created_at",
            "expires_at",
            "accepted_at",
            "withdrawn_at",
        ]
        read_only_fields = fields

    @extend_schema_field(serializers.ChoiceField(choices=STATES))
    def get_state(self, invitation: Invitation) -> str:
        """Say how it stands; one whose owner owns the company no more counts as withdrawn."""
        if invitation.accepted_at is not None:
            return "accepted"
        if invitation.withdrawn_at is None and self.context["now"] >= invitation.expires_at:
            return "expired"
        return "open" if invitation.is_open(self.context["now"]) else "withdrawn"


class NewInvitationSerializer(StrictSerializer):
    """A place to be offered."""

    email = serializers.EmailField(max_length=150, help_text="where the link is sent; whoever reads it may accept")
    name = serializers.CharField(max_length=120, required=False, allow_blank=True, default="")
    role = serializers.ChoiceField(choices=Membership.Role.choices)
    client = TenantRelatedField(
        queryset=Client.objects.all(),
        required=False,
        allow_null=True,
        default=None,
        help_text="id of the client they act for; with the role 'client' alone",
    )


class InvitationViewSet(CreateMixin, ReadOnlyViewSet):
    """Places that were offered to people; only they themselves can take them."""

    resource = "invitation"
    queryset = Invitation.objects.select_related("invited_by")
    serializer_class = InvitationSerializer
    input_serializer_class = NewInvitationSerializer
    filterset_fields = {"email": ["exact"], "role": ["exact"], "client": ["exact"], "accepted_at": ["isnull"]}
    ordering_fields = ["created_at", "email"]

    @extend_schema(request=NewInvitationSerializer)
    def create(self, request: Request, *args: Any, **kwargs: Any) -> Response:
        """Send a link to an address, by which whoever reads its mail becomes a member, with a password of their own.

        It works once, for a week. An earlier invitation of the address is withdrawn. The answer does not tell whether
        the address has an account.
        """
        return super().create(request, *args, **kwargs)

    def perform_create(self, serializer: Any) -> Invitation:
        return services.invite(by=self.by, now=self.now, **serializer.validated_data)

    @extend_schema(request=None, responses=InvitationSerializer)
    @action(detail=True, methods=["post"])
    def withdraw(self, request: Request, pk: str) -> Response:
        """Take an invitation back: its link is of no more use."""
        with self.transaction():
            invitation = services.withdraw_invitation(by=self.by, invitation=self.locked_object(), now=self.now)
            return self.answer(self.reread(invitation))


class InvitationOfLinkSerializer(AnswerSerializer):
    """What the link of a letter offers."""

    company = serializers.CharField(help_text="name of the company")
    email = serializers.EmailField(help_text="address that was invited")
    role = serializers.ChoiceField(choices=Membership.Role.choices)
    expires_at = serializers.DateTimeField(help_text="until when it can be accepted")
    has_account = serializers.BooleanField(
        help_text="true: accept while signed in as this address, or with its password; false: choose a password"
    )


class TakenPlaceSerializer(StrictSerializer):
    """That the place is taken."""

    password = serializers.CharField(
        max_length=128,
        trim_whitespace=False,
        write_only=True,
        required=False,
        allow_null=True,
        default=None,
        help_text="the password you choose, or that of your account; not needed where you are signed in",
    )


class JoinedSerializer(AnswerSerializer):
    """The place that was taken; choose it when you sign in."""

    membership = MembershipSerializer()


class InvitationLinkView(PublicView):
    """Read and accept an invitation, by the signed link of the letter."""

    authentication_classes = [TokenAuthentication, SessionAuthentication]
    serializer_class = TakenPlaceSerializer
    http_method_names = ["get", "head", "post"]
    further_problems = (401, 403, 404, 409)

    throttle_classes = [LinkThrottle]

    def get_authenticate_header(self, request: Request) -> str:
        return "Bearer"

    @extend_schema(responses=InvitationOfLinkSerializer, operation_id="invitation_link_retrieve")
    def get(self, request: Request, token: str) -> Response:
        """Read what is offered, and whether you need a new password or your own."""
        invitation = self._invitation(token)
        shown = {
            "company": invitation.company.name,
            "email": invitation.email,
            "role": invitation.role,
            "expires_at": invitation.expires_at,
            "has_account": account_of(invitation) is not None,
        }
        return Response(InvitationOfLinkSerializer(shown).data, headers={"Cache-Control": "no-store"})

    @extend_schema(request=TakenPlaceSerializer, responses=JoinedSerializer, operation_id="invitation_link_create")
    def post(self, request: Request, token: str) -> Response:
        """Become a member of the company, with your own password or while you are signed in."""
        invitation = self._invitation(token)
        serializer = TakenPlaceSerializer(data=request.data)
        serializer.is_valid(raise_exception=True)
        try:
            membership = accept(
                invitation, serializer.validated_data["password"], _signed_in(request), place=place_of(request)
            )
        except WrongCredentials as error:
            raise AuthenticationFailed(error.sentence) from None
        answer = JoinedSerializer({"membership": membership}, context={"membership": membership})
        return Response(answer.data, headers={"Cache-Control": "no-store"})

    @staticmethod
    def _invitation(token: str) -> Invitation:
        invitation = services.read_invitation(token=token, now=timezone.now())
        if invitation is None:
            raise NotFound("This link is not one of ours, was used, or is too old: ask for another invitation.")
        return invitation


def accept(invitation: Invitation, password: str | None, signed_in: User | None, *, place: str) -> Membership:
    """Accept with what was sent: as who is signed in, or with the password of the account, or with a chosen one."""
    account = account_of(invitation)
    user, now = signed_in, timezone.now()
    if account is not None and password is not None:
        user = services.check_password_of(email=invitation.email, password=password, place=place, now=now)
    membership = services.accept_invitation(invitation=invitation, user=user, password=password, now=now)
    enter_company(membership.company_id)
    return membership


def _signed_in(request: Request) -> User | None:
    """Who is signed in, in person: a meter or a program is nobody."""
    token = request.auth if isinstance(request.auth, AccessToken) else None
    is_program = token is not None and (token.scopes is not None or token.meter_unit_id is not None)
    return request.user if isinstance(request.user, User) and not is_program else None
