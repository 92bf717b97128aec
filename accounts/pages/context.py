"""What every template of a page knows: the language, the member and where they may go."""

from typing import Any

from django.conf import settings
from django.http import HttpRequest

from accounts.pages.navigation import navigation_for


def page_context(request: HttpRequest) -> dict[str, Any]:
    """The language; of a member's page, the membership and the navigation."""
    membership = getattr(request, "page_membership", None)
    return {
        "language": settings.LANGUAGE_CODE,
        "membership": membership,
        "navigation": navigation_for(membership, request.path) if membership is not None else [],
    }
