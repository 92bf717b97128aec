"""Retry is safe: a POST with an `Idempotency-Key` is carried out once, and answered alike ever after.

The header is that of an IETF draft, "The Idempotency-Key HTTP Header Field"
(draft-ietf-httpapi-idempotency-key-header).
"""

import hashlib
import json
from collections.abc import Callable, Iterable
from contextlib import nullcontext
from typing import Any

from django.core.files.uploadedfile import UploadedFile
from django.db import transaction
from django.http import HttpResponse, QueryDict
from rest_framework.request import Request
from rest_framework.response import Response

from accounts.http.faults import KeyReused, StillRunning, header_fault
from accounts.http.permissions import action_name
from accounts.permissions import scope_of
from accounts.services import answers

HEADER = "Idempotency-Key"
_LONGEST_KEY = 120
_KEPT_HEADERS = ("Location", "ETag", "Retry-After")
# What these say is true for a moment only; the caller is meant to ask again.
_PASSING = {409, 429}

Handler = Callable[..., Any]


def once(view: Any, handler: Handler) -> Handler:
    """Wrap the POST handler of one request so that its Idempotency-Key, if it carries one, is honoured."""

    def carry_out(request: Request, *args: Any, **kwargs: Any) -> Any:
        key = read_key(request)
        if key is None:
            return _warned(view, request, handler(request, *args, **kwargs))
        if not view.keeps_answers:
            raise header_fault(HEADER, f"No {HEADER} is taken here: this answer is never stored.")
        claim = answers.claim(by=view.by, key=key, route=request.path, digest=digest_of(request), now=view.now)
        match claim.outcome:
            case "other_request":
                raise KeyReused(f"This {HEADER} was used before for another request: send a fresh one.")
            case "running":
                raise StillRunning()
            case "answered":
                return _replay(claim.row)
        return _carry_out(view, handler, claim.row, request, *args, **kwargs)

    return carry_out


def _warned(view: Any, request: Request, response: Any) -> Any:
    """Tell in the answer of a request without a key that the very same was carried out before, a moment ago.

    The header is of RFC 7234, section 5.5; 299 is its code for what lasts and is meant for people. A meter repeats
    itself without harm: a reading of a moment is stored once.
    """
    is_done = getattr(response, "status_code", 500) < 300
    stores = scope_of(view.resource, action_name(view.action)) != "read"
    if not (view.keeps_answers and is_done and stores) or view.by.meter_unit_id is not None:
        return response
    times = answers.note_sent(by=view.by, route=request.path, digest=digest_of(request), now=view.now)
    if times > 1:
        response.headers["Warning"] = (
            f'299 - "The same was sent here {times} times within ten minutes and carried out each time; with an '
            f'{HEADER} a request that is repeated is carried out once."'
        )
    return response


def _carry_out(view: Any, handler: Handler, row: Any, request: Request, *args: Any, **kwargs: Any) -> Any:
    try:
        # In one transaction with the work, the answer is stored if and only if the work is.
        with transaction.atomic() if view.one_transaction else nullcontext():
            response = _rendered(view, request, handler(request, *args, **kwargs), args, kwargs)
            _keep(row, response)
        return response
    except Exception as error:
        try:
            response = _rendered(view, request, view.handle_exception(error), args, kwargs)
        except Exception:
            answers.release(row=row)
            raise
        _keep(row, response)
        return response


def _rendered(view: Any, request: Request, response: Any, args: Any, kwargs: Any) -> Any:
    if isinstance(response, Response):
        response = view.finalize_response(request, response, *args, **kwargs)
        response.render()
    return response


def _keep(row: Any, response: Any) -> None:
    if response.status_code in _PASSING or response.status_code >= 500 or getattr(response, "streaming", False):
        answers.release(row=row)
        return
    headers = {name: response.headers[name] for name in ("Content-Type", *_KEPT_HEADERS) if name in response.headers}
    answers.keep(row=row, status=response.status_code, headers=headers, body=response.content)


def _replay(row: Any) -> HttpResponse:
    return HttpResponse(bytes(row.body), status=row.status, headers=row.headers)


def read_key(request: Request) -> str | None:
    """Read the key; with or without the quotes that the draft asks for."""
    text = request.headers.get(HEADER)
    if text is None:
        return None
    key = text.strip()
    if len(key) >= 2 and key.startswith('"') and key.endswith('"'):
        key = key[1:-1]
    if not key or len(key) > _LONGEST_KEY or not (key.isascii() and key.isprintable()):
        raise header_fault(HEADER, f"{HEADER} must be 1 to {_LONGEST_KEY} printable ASCII characters.")
    return key


def digest_of(request: Request) -> str:
    """Digest what makes two requests the same: the query, and the body as it was understood."""
    digest = hashlib.sha256()
    for part in _parts(sorted(request.query_params.lists())):
        digest.update(part)
    for part in _parts(request.data):
        digest.update(part)
    return digest.hexdigest()


def _parts(value: Any) -> Iterable[bytes]:
    """Spell a value out so that no two values are spelled alike."""
    if isinstance(value, UploadedFile):
        inner = hashlib.sha256()
        for chunk in value.chunks():
            inner.update(chunk)
        value.seek(0)
        yield f"file:{value.name}:{inner.hexdigest()};".encode()
    elif isinstance(value, QueryDict):
        for name, items in sorted(value.lists()):
            yield f"field:{json.dumps(name)}:{len(items)};".encode()
            for item in items:
                yield from _parts(item)
    elif isinstance(value, bytes):
        yield f"bytes:{len(value)}:".encode() + value
    else:
        yield f"json:{json.dumps(value, sort_keys=True, default=str)};".encode()
