"""The door of every viewset: may this role do this action here?"""

from typing import Any

from rest_framework.permissions import BasePermission
from rest_framework.request import Request


class RolePermission(BasePermission):
    """Refuses until the table of `accounts.permissions` allows."""

    def has_permission(self, request: Request, view: Any) -> bool:
        return False
