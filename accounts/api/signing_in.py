"""Signing in and out: a token for programs and phones, a session for the browser."""

from typing import Any

from django.middleware.csrf import get_token
from django.utils import timezone
from drf_spectacular.utils import extend_schema
from rest_framework import serializers
from rest_framework.exceptions import AuthenticationFailed
from rest_framework.request import Request
from rest_framework.response import Response

from accounts import services
from accounts.api.me import MembershipSerializer, MeSerializer, describe
from accounts.http.browser import begin_session, end_session
from accounts.http.serializers import AnswerSerializer, StrictSerializer
from accounts.http.throttles import AddressThrottle, place_of
from accounts.http.views import PublicView
from accounts.http.viewsets import TenantViewSet
from accounts.models import AccessToken, Membership
from accounts.services import WrongCredentials
from accounts.wall import enter_company


class RefusedSignIn(AuthenticationFailed):
    """Nobody is let in: the password is wrong (`wrong_credentials`), or a code is (`code_needed`, `wrong_code`)."""

    def __init__(self, error: WrongCredentials) -> None:
        super().__init__(error.sentence)
        self.problem_code = error.code


class CredentialsSerializer(StrictSerializer):
    """Who signs in, and for which of their memberships."""

    email = serializers.EmailField(max_length=150)
    password = serializers.CharField(max_length=128, trim_whitespace=False, write_only=True)
    membership = serializers.IntegerField(
        required=False,
        allow_null=True,
        default=None,
        min_value=1,
        help_text="id of the membership to act for; the oldest when left out",
    )
    code = serializers.CharField(
        max_length=40,
        required=False,
        allow_blank=True,
        default="",
        write_only=True,
        help_text="of whoever has a second factor: six figures of the authenticator, or a recovery code",
    )


class LoginSerializer(CredentialsSerializer):
    """Who signs in, and what the token is for."""

    name = serializers.CharField(max_length=80, required=False, default="signed in", help_text="what the token is for")


class SignedInSerializer(AnswerSerializer):
    """A token and the membership it acts for."""

    token = serializers.CharField(help_text="send it as 'Authorization: Bearer <token>'; it is shown this once")
    expires_at = serializers.DateTimeField()
    membership = MembershipSerializer()


class _SignInView(PublicView):
    throttle_classes = [AddressThrottle]
    serializer_class: type[StrictSerializer] = CredentialsSerializer
    further_problems = (401,)
    way = "browser"

    def get_authenticate_header(self, request: Request) -> str:
        return "Bearer"

    def signed_in(self, request: Request) -> tuple[Membership, dict[str, Any]]:
        """Check who is at the door."""
        serializer = self.serializer_class(data=request.data)
        serializer.is_valid(raise_exception=True)
        credentials = serializer.validated_data
        try:
            membership = services.check_credentials(
                email=credentials["email"],
                password=credentials["password"],
                membership_id=credentials["membership"],
                code=credentials["code"],
                place=place_of(request),
                now=timezone.now(),
            )
        except WrongCredentials as error:
            raise RefusedSignIn(error) from None
        enter_company(membership.company_id)
        services.record(
            by=membership, action="sign in", subject=membership, details={"way": self.way}, now=timezone.now()
        )
        return membership, credentials


class LoginView(_SignInView):
    """Sign in with email and password and get a token for one membership, good for thirty days.

    Who has a second factor sends a code too. Without one the answer is a 401 with the code `code_needed`, with a wrong
    one `wrong_code`; a wrong password is `wrong_credentials`.
    """

    serializer_class = LoginSerializer
    way = "token"

    @extend_schema(request=LoginSerializer, responses=SignedInSerializer, operation_id="login")
    def post(self, request: Request) -> Response:
        now = timezone.now()
        membership, credentials = self.signed_in(request)
        token, secret = services.issue_token(
            by=membership,
            membership=membership,
            name=credentials["name"],
            ttl=services.WHOLE_ROLE_LIFE,
            authenticated_at=now,
            now=now,
        )
        answer = {"token": secret, "expires_at": token.expiry, "membership": membership}
        return Response(
            SignedInSerializer(answer, context={"membership": membership}).data, headers={"Cache-Control": "no-store"}
        )


class LogoutViewSet(TenantViewSet):
    """Revoke the token this request was made with."""

    resource = "session"
    queryset = AccessToken.objects.all()
    keeps_answers = False

    @extend_schema(request=None, responses={204: None}, operation_id="logout")
    def destroy(self, request: Request) -> Response:
        """Revoke the token this request was made with; a browser's session ends."""
        if isinstance(request.auth, AccessToken):
            services.revoke_token(by=self.by, token=request.auth, now=self.now)
        else:
            end_session(request._request)
        return Response(status=204)


class SessionView(_SignInView):
    """Sign in for the browser; who has a second factor sends a code too, as for a token."""

    @extend_schema(request=CredentialsSerializer, responses=MeSerializer, operation_id="session_create")
    def post(self, request: Request) -> Response:
        membership, _ = self.signed_in(request)
        begin_session(request._request, membership, now=timezone.now())
        # Writing requests of a session carry this value in the header X-CSRFToken; the page reads it from the cookie.
        get_token(request._request)
        return Response(describe(membership))
