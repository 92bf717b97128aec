"""Errors as problem details."""

from typing import Any

from rest_framework.response import Response
from rest_framework.views import exception_handler


def problem_response(error: Exception, context: dict[str, Any]) -> Response | None:
    """Answer an exception."""
    return exception_handler(error, context)
