"""Every error as problem details (RFC 9457): one shape, from one exception handler.

    {"type": "/api/v1/problems/invalid/", "title": "...", "status": 400, "detail": "...", "code": "invalid",
     "errors": [{"pointer": "/name", "detail": "..."}]}

`errors` names each fault by a JSON Pointer (RFC 6901) into the body, or by the query parameter or header it lies in.
Within a request, `request_id` names it, as the header of the answer and the lines of the log do.
"""

import errno
import logging
import math
from collections.abc import Iterator, Mapping, Sequence
from http import HTTPStatus
from typing import Any

from django.core.exceptions import (
    PermissionDenied,
    RequestDataTooBig,
    SuspiciousOperation,
    TooManyFieldsSent,
    TooManyFilesSent,
)
from django.core.exceptions import ValidationError as DjangoValidationError
from django.db import DataError, IntegrityError, InterfaceError, OperationalError, connection
from django.db.models import ProtectedError, RestrictedError
from django.http import Http404, HttpRequest, HttpResponse, UnreadablePostError
from django.urls import is_valid_path
from rest_framework import exceptions
from rest_framework.renderers import JSONRenderer
from rest_framework.response import Response

from accounts import errors
from accounts.errors import escape_pointer
from accounts.http.constraints import explain_integrity_error
from accounts.http.faults import InvalidBodyError, RequestInvalid
from accounts.observing.requests import current_request

log = logging.getLogger(__name__)

PROBLEM_JSON = "application/problem+json"
AWAY = "The records cannot be reached. Try again in a moment; with the same Idempotency-Key nothing is done twice."
NO_ROOM = "The server has no room left, and nothing of this was stored. Tell whoever runs it, and send it again later."
_NOT_FOUND = "There is nothing here, or nothing you may see."
_DEPENDANTS_SHOWN = 20

_DOMAIN_STATUS: Mapping[type[errors.DomainError], int] = {
    errors.InvalidInput: 400,
    errors.NotAllowed: 403,
    errors.NotFound: 404,
    errors.Conflict: 409,
}

# What each type of problem means; the address in `type` shows the sentence.
KINDS: Mapping[int, tuple[str, str]] = {
    400: ("invalid", "The request is not valid; `errors` names each fault."),
    401: ("unauthenticated", "The request came without a valid token or session."),
    403: ("forbidden", "You are signed in, but your role does not allow this."),
    404: ("not_found", "There is no such record, or none you may see; the answer is the same for both."),
    405: ("method_not_allowed", "This address does not take that method; the Allow header names those it takes."),
    406: ("not_acceptable", "The answer is not available in the media type the Accept header asks for."),
    409: ("conflict", "The request conflicts with what is stored."),
    412: ("changed_since", "The record was changed after you read it; read it again, then repeat your change."),
    413: ("too_large", "The body is longer than the server takes."),
    415: ("unsupported_media_type", "The body is in a media type this address does not read."),
    422: ("idempotency_key_reused", "The Idempotency-Key was used before for another request; send a fresh one."),
    429: ("too_many_requests", "You asked too often; the Retry-After header says how long to wait."),
    500: ("server_error", "The server made a mistake; it has been logged."),
    503: ("busy", "The records are busy; try again in a moment."),
}


def problem(
    status: int,
    detail: str,
    *,
    code: str | None = None,
    faults: Sequence[Mapping[str, str]] = (),
    headers: Mapping[str, str] | None = None,
    **members: Any,
) -> Response:
    """Build one problem; `members` are further members of the object, such as the dependants of a protected row."""
    return Response(
        problem_body(status, detail, code=code, faults=faults, **members),
        status=status,
        headers=dict(headers or {}),
        content_type=PROBLEM_JSON,
    )


def problem_body(
    status: int, detail: str, *, code: str | None = None, faults: Sequence[Mapping[str, str]] = (), **members: Any
) -> dict[str, Any]:
    """Give the members of a problem; jobs store them too when they fail."""
    kind = KINDS.get(status, ("about:blank", ""))[0]
    return {
        "type": f"/api/v1/problems/{kind}/" if status in KINDS else kind,
        "title": HTTPStatus(status).phrase,
        "status": status,
        "detail": detail,
        "code": code or kind,
        "errors": [dict(fault) for fault in faults],
        **members,
        **({"request_id": name} if (name := current_request()) else {}),
    }


def problem_response(error: Exception, context: dict[str, Any]) -> Response | None:
    """Answer an exception; None for one that nobody foresaw, which is then logged and answered as a 500."""
    match error:
        case errors.TooManyTries():
            headers = {"Retry-After": str(max(1, math.ceil(error.wait_seconds)))}
            return problem(429, error.sentence, code=error.code, headers=headers)
        case errors.DomainError():
            status = next((s for kind, s in _DOMAIN_STATUS.items() if isinstance(error, kind)), 400)
            faults = [{"pointer": fault.pointer, "detail": fault.sentence} for fault in error.faults]
            return problem(status, error.sentence, code=error.code, faults=faults)
        case RequestInvalid():
            faults = [{fault.place: fault.name, "detail": fault.sentence} for fault in error.faults]
            return problem(400, str(error.detail), code=error.default_code, faults=faults)
        case InvalidBodyError():
            further = [{"pointer": fault.pointer, "detail": fault.sentence} for fault in error.further]
            return _invalid([*_walk(error.detail, ""), *further])
        case exceptions.ValidationError():
            return _invalid(list(_walk(error.detail, "")))
        case DjangoValidationError():
            return _invalid(_django_faults(error))
        case Http404() | exceptions.NotFound():
            return problem(404, _sentence_of(error) if isinstance(error, exceptions.NotFound) else _NOT_FOUND)
        case PermissionDenied():
            return problem(403, str(error) or "Your role does not allow this.")
        case exceptions.UnsupportedMediaType() if {"view", "request"} <= context.keys():
            return problem(415, _wrong_media_type(context))
        case exceptions.APIException():
            return _api_problem(error)
        case ProtectedError() | RestrictedError():
            return _protected(error)
        case IntegrityError():
            return problem(409, **explain_integrity_error(error))
        case OverflowError() | DataError():
            return problem(400, "A number or a date in the request is out of range.", code="out_of_range")
        case OperationalError() | OSError() if _is_full(error):
            log.error("no room left on a disk of the server: %s", error)
            return problem(503, NO_ROOM, code="no_room", headers={"Retry-After": "60"})
        case OperationalError() | InterfaceError() if _is_away(error):
            return problem(503, AWAY, headers={"Retry-After": "10"})
        case OperationalError() if _is_busy(error):
            return problem(503, KINDS[503][1], headers={"Retry-After": "1"})
        case RequestDataTooBig():
            return problem(413, "The body is longer than the server takes: send it in smaller parts.")
        case TooManyFieldsSent() | TooManyFilesSent():
            return problem(413, "The form has more fields or files than the server takes.")
        case UnreadablePostError():
            return problem(400, "The body is incomplete: it ended before its stated length.", code="broken_body")
        case SuspiciousOperation():
            return problem(400, "The request cannot be read safely.", code="suspicious_request")
    return None


def _api_problem(error: exceptions.APIException) -> Response:
    headers: dict[str, str] = {}
    if getattr(error, "auth_header", None):
        headers["WWW-Authenticate"] = error.auth_header  # type: ignore[attr-defined]
    wait = getattr(error, "wait", None)
    if wait is not None:
        headers["Retry-After"] = str(max(1, math.ceil(wait)))
    code = getattr(error, "problem_code", None)
    if code is None and error.status_code in (409, 412, 413, 422):
        code = error.default_code
    return problem(error.status_code, _sentence_of(error), code=code, headers=headers)


def _wrong_media_type(context: dict[str, Any]) -> str:
    """What was sent as what, and what would be read."""
    sent = context["request"].content_type.partition(";")[0][:80]
    read = dict.fromkeys(parser.media_type for parser in context["view"].parser_classes)
    return f"A body of the media type '{sent}' is not read here; send {' or '.join(read)}."


def _sentence_of(error: exceptions.APIException) -> str:
    detail = error.detail
    if isinstance(detail, str):
        return str(detail)
    return " ".join(fault["detail"] for fault in _walk(detail, ""))


def _invalid(faults: list[dict[str, str]]) -> Response:
    count = len(faults)
    detail = faults[0]["detail"] if count == 1 else f"{count} values in the request are not valid."
    return problem(400, detail, code="invalid", faults=faults)


def _walk(detail: Any, pointer: str) -> Iterator[dict[str, str]]:
    """Flatten REST framework's nested messages into one fault for each, with its pointer."""
    if isinstance(detail, Mapping):
        for key, part in detail.items():
            # Faults of a whole object stand under this key; they belong to the object, not to a field of that name.
            here = pointer if key == "non_field_errors" else f"{pointer}/{escape_pointer(key)}"
            yield from _walk(part, here)
    elif isinstance(detail, list | tuple):
        messages = all(isinstance(part, str) for part in detail)
        for index, part in enumerate(detail):
            # A list of sentences is about one place; a list of objects is about the items of a list.
            yield from _walk(part, pointer if messages else f"{pointer}/{index}")
    else:
        yield {"pointer": pointer, "detail": str(detail)}


def _django_faults(error: DjangoValidationError) -> list[dict[str, str]]:
    if not hasattr(error, "error_dict"):
        return [{"pointer": "", "detail": sentence} for sentence in error.messages]
    return [
        {"pointer": "" if field == "__all__" else f"/{escape_pointer(field)}", "detail": sentence}
        for field, sentences in error.message_dict.items()
        for sentence in sentences
    ]


def _protected(error: ProtectedError | RestrictedError) -> Response:
    needed: Any = getattr(error, "protected_objects", None) or getattr(error, "restricted_objects", ())
    rows = sorted(needed, key=lambda row: (str(row._meta.verbose_name), row.pk))
    dependants = [
        {"kind": str(row._meta.verbose_name), "id": str(row.pk), "name": str(row)} for row in rows[:_DEPENDANTS_SHOWN]
    ]
    kinds = sorted({str(row._meta.verbose_name) for row in rows})
    detail = f"This cannot be deleted while {len(rows)} other rows need it ({', '.join(kinds)})."
    if instead := getattr(error, "instead", ""):
        detail = f"{detail} {instead}"
    return problem(409, detail, code="in_use", dependants=dependants)


def _is_busy(error: OperationalError) -> bool:
    """Tell a lock that was not had in time from a database that is not there."""
    # SQLSTATE of PostgreSQL: serialization failure, deadlock, lock not available.
    state = getattr(error.__cause__, "sqlstate", None)
    return "locked" in str(error) or state in {"40001", "40P01", "55P03"}


def _is_full(error: OperationalError | OSError) -> bool:
    """Tell a disk that takes no more, be it that of the database or that of the pictures."""
    if isinstance(error, OSError):
        return error.errno in {errno.ENOSPC, errno.EDQUOT}
    # SQLSTATE of PostgreSQL, and the words of SQLite, which has no codes here.
    return getattr(error.__cause__, "sqlstate", None) == "53100" or "disk is full" in str(error)


def _is_away(error: OperationalError | InterfaceError) -> bool:
    """Tell a database that cannot be reached from one that refuses what it is asked."""
    # SQLSTATE of PostgreSQL: connection exceptions, and a server that shuts down or starts. What never got through to a
    # server has none.
    cause = error.__cause__
    state = getattr(cause, "sqlstate", None)
    if state is None:
        return cause is not None and connection.vendor == "postgresql"
    return state.startswith("08") or state in {"57P01", "57P02", "57P03"}


def problem_page(status: int, detail: str) -> HttpResponse:
    """Build one problem for where no view answers."""
    body = JSONRenderer().render(problem_body(status, detail))
    return HttpResponse(body, status=status, content_type=PROBLEM_JSON)


def bad_request_page(request: HttpRequest, exception: Exception) -> HttpResponse:
    """Answer a request that failed before it reached a view."""
    return problem_page(400, "The request cannot be read safely.")


def forbidden_page(request: HttpRequest, exception: Exception | None = None, reason: str = "") -> HttpResponse:
    """Answer a request refused before it reached a view."""
    return problem_page(403, reason or "This is not allowed.")


def not_found_page(request: HttpRequest, exception: Exception) -> HttpResponse:
    """Answer an address that no route has."""
    with_slash = f"{request.path_info}/"
    if not request.path_info.endswith("/") and is_valid_path(with_slash):
        return problem_page(404, f"Addresses here end in a slash: {with_slash}")
    return problem_page(404, "There is nothing at this address; /api/v1/docs/ lists what there is.")


def server_error_page(request: HttpRequest) -> HttpResponse:
    """Answer after an error nobody foresaw; the error itself is in the log."""
    return problem_page(500, "The server made a mistake; it has been logged.")
