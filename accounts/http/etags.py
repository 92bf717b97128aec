"""ETags of single things: strong, because they are made from the very bytes of the answer."""

import hashlib
from typing import Any

from rest_framework.renderers import JSONRenderer
from rest_framework.request import Request

from accounts.http.faults import PreconditionFailed, header_fault


def etag_of(data: Any) -> str:
    """Give the strong ETag of an answer."""
    return etag_of_bytes(JSONRenderer().render(data))


def etag_of_bytes(answer: bytes) -> str:
    """The same of an answer as it is sent."""
    return f'"{hashlib.sha256(answer).hexdigest()[:32]}"'


def _listed(request: Request, name: str) -> list[str] | None:
    """Read a header that lists ETags; None when it was not sent."""
    text = request.headers.get(name)
    if text is None:
        return None
    tags = [part.strip() for part in text.split(",")]
    for tag in tags:
        bare = tag.removeprefix("W/")
        if tag != "*" and not (len(bare) >= 2 and bare.startswith('"') and bare.endswith('"')):
            raise header_fault(name, f"{name} must be an ETag in double quotes, as an answer gave it, or *.")
    return tags


def check_if_match(request: Request, current: str) -> None:
    """Refuse a change to something that changed since the caller read it."""
    tags = _listed(request, "If-Match")
    # A weak tag never matches here: RFC 9110 section 13.1.1 asks for the strong comparison.
    if tags is not None and "*" not in tags and current not in tags:
        raise PreconditionFailed()


def is_known(request: Request, current: str) -> bool:
    """Tell whether the caller already holds this answer, by the weak comparison of RFC 9110 section 13.1.2."""
    tags = _listed(request, "If-None-Match")
    if tags is None:
        return False
    return "*" in tags or current in {tag.removeprefix("W/") for tag in tags}
