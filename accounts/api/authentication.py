"""Who asks: a bearer token, or a session of the browsable pages."""

from knox.auth import TokenAuthentication as _KnoxTokenAuthentication
from rest_framework.authentication import SessionAuthentication as _SessionAuthentication


class TokenAuthentication(_KnoxTokenAuthentication):
    """`Authorization: Bearer <token>`; the token names the membership it acts for."""


class SessionAuthentication(_SessionAuthentication):
    """A signed-in browser."""
