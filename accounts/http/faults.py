"""Faults of a request outside its body: in the query string or in a header."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from rest_framework.exceptions import APIException, ValidationError

from accounts.errors import Fault


@dataclass(frozen=True, slots=True)
class RequestFault:
    """One fault of a query parameter or a header."""

    place: str
    name: str
    sentence: str


class RequestInvalid(APIException):
    """The query string or a header cannot be right."""

    status_code = 400
    default_code = "invalid_request"

    def __init__(self, faults: Sequence[RequestFault]) -> None:
        self.faults = tuple(faults)
        super().__init__(" ".join(fault.sentence for fault in self.faults))


class PreconditionFailed(APIException):
    """The row changed since the caller last saw it."""

    status_code = 412
    default_code = "changed_since"
    default_detail = "The record was changed after you read it: read it again, then repeat your change."


class KeyReused(APIException):
    """An Idempotency-Key came back with another request."""

    status_code = 422
    default_code = "idempotency_key_reused"


class StillRunning(APIException):
    """The first request with this Idempotency-Key has not been answered yet."""

    status_code = 409
    default_code = "still_running"
    default_detail = "The first request with this Idempotency-Key is still running: ask again in a moment."
    wait = 1


class InvalidBodyError(ValidationError):
    """Fields of a body that cannot be read, and what a service finds wrong with the others."""

    def __init__(self, detail: Any, further: Sequence[Fault]) -> None:
        super().__init__(detail)
        self.further = tuple(further)


def parameter_fault(name: str, sentence: str) -> RequestInvalid:
    """Refuse one query parameter."""
    return RequestInvalid([RequestFault("parameter", name, sentence)])


def header_fault(name: str, sentence: str) -> RequestInvalid:
    """Refuse one header."""
    return RequestInvalid([RequestFault("header", name, sentence)])
