"""The door of every viewset: may this role do this action here?"""

from typing import Any

from rest_framework.exceptions import MethodNotAllowed, NotAuthenticated, PermissionDenied
from rest_framework.permissions import BasePermission
from rest_framework.request import Request

from accounts.http.requests import membership_of, now_of
from accounts.models import Membership
from accounts.permissions import allows, check_proof, roles_for

# A partial update is an update: there is one question to ask of the table, not two.
_SAME_ACTION = {"partial_update": "update"}


def action_name(action: str) -> str:
    """Give the name under which the table of permissions knows a viewset's method."""
    return _SAME_ACTION.get(action, action)


class RolePermission(BasePermission):
    """Asks the table of `accounts.permissions`, and refuses what it does not name."""

    def has_permission(self, request: Request, view: Any) -> bool:
        if not request.user or not request.user.is_authenticated:
            raise NotAuthenticated("Sign in, or send a token: Authorization: Bearer <token>.")
        membership = membership_of(request)
        if membership is None:
            raise PermissionDenied(
                "You are signed in but act for no company: choose one of your memberships when you sign in."
            )
        action = getattr(view, "action", None)
        if action is None or action == "metadata":
            raise MethodNotAllowed(str(request.method))
        resource = getattr(view, "resource", "")
        may = action_name(action)
        if membership.lacks_second_factor and membership.role in roles_for(resource, may):
            check_proof(membership, resource, may, now_of(request))
        if not allows(membership, resource, may):
            caller = _caller(membership)
            deed = f"{may} {resource}".replace("_", " ")
            raise PermissionDenied(f"This is not open to {caller}: {deed}.")
        check_proof(membership, resource, may, now_of(request))
        return True


def _caller(membership: Membership) -> str:
    if membership.meter_unit_id is not None:
        return "a meter's token"
    if membership.scopes is not None:
        return f"a token with the scopes {', '.join(sorted(membership.scopes))} of the role '{membership.role}'"
    return f"the role '{membership.role}'"
