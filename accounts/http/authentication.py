"""Who asks: a bearer token, or a session of the browsable pages.

Both leave the membership the request acts for in `request.membership`, and work for its company from then on.
"""

from typing import Any

from knox.auth import TokenAuthentication as _KnoxTokenAuthentication
from knox.crypto import hash_token
from rest_framework.authentication import SessionAuthentication as _SessionAuthentication
from rest_framework.exceptions import AuthenticationFailed
from rest_framework.request import Request

from accounts.http.browser import membership_in_session
from accounts.http.proof import with_proof_of_token
from accounts.http.requests import now_of
from accounts.models import AccessToken, User
from accounts.services.sessions import USE_NOTED_EVERY
from accounts.wall import enter_company, over_all_companies


class TokenAuthentication(_KnoxTokenAuthentication):
    """`Authorization: Bearer <token>`; the token names the membership it acts for."""

    def authenticate(self, request: Request) -> tuple[User, AccessToken] | None:
        authenticated = super().authenticate(request)
        if authenticated is None:
            return None
        _, token = authenticated
        now = now_of(request)
        if token.expiry is not None and token.expiry <= now:
            raise AuthenticationFailed("This token has expired: sign in again or ask for a new one.")
        if not token.user.is_active or not token.membership.is_active:
            raise AuthenticationFailed("The membership this token acts for has ended.")
        membership = token.membership
        membership.meter_unit_id = token.meter_unit_id
        membership.scopes = frozenset(token.scopes) if token.scopes is not None else None
        request.membership = with_proof_of_token(membership, token)  # type: ignore[attr-defined]
        enter_company(membership.company_id)
        if token.last_used_at is None or token.last_used_at < now - USE_NOTED_EVERY:
            AccessToken.objects.filter(pk=token.pk).update(last_used_at=now)
        return token.user, token

    @over_all_companies()
    def authenticate_credentials(self, token: bytes) -> tuple[User, AccessToken]:
        """Look the token up by its hash; the text itself is stored nowhere."""
        try:
            digest = hash_token(token.decode("ascii"))
        except UnicodeDecodeError:
            raise AuthenticationFailed("This token is not known, or was revoked.") from None
        try:
            access_token = AccessToken.objects.select_related("user", "membership__company").get(digest=digest)
        except AccessToken.DoesNotExist:
            raise AuthenticationFailed("This token is not known, or was revoked.") from None
        membership, user = access_token.membership, access_token.user
        if membership.user_id == user.pk:
            # Every request asks this: the same person need not be joined twice.
            membership.user = user
        return user, access_token


class SessionAuthentication(_SessionAuthentication):
    """A signed-in browser, acting for the membership chosen at sign-in, or else for the oldest."""

    def authenticate(self, request: Request) -> tuple[Any, None] | None:
        authenticated = super().authenticate(request)
        if authenticated is None:
            return None
        user, _ = authenticated
        request.membership = membership_in_session(request, user)  # type: ignore[attr-defined]
        return user, None
