"""Pages ask the API, in the same process: the same rows, rights, fields, services and refusals, and no rules of theirs.

A viewset is called as the router calls it, for the member of the page. What it answers is read here as its data, before
anybody renders it.
"""

import json
from collections.abc import Mapping
from dataclasses import dataclass
from io import BytesIO
from typing import Any, Final

from django.http import HttpRequest, QueryDict
from django.http.response import HttpResponseBase
from django.utils.datastructures import MultiValueDict
from rest_framework.authentication import BaseAuthentication
from rest_framework.parsers import BaseParser, DataAndFiles
from rest_framework.request import Request
from rest_framework.response import Response

from accounts.http.parsers import StrictJSONParser
from accounts.http.viewsets import TenantViewSet
from accounts.models import Membership

_METHODS: Final = {"list": "GET", "retrieve": "GET", "create": "POST", "partial_update": "PATCH", "destroy": "DELETE"}
_TAKEN_OVER: Final = ("REMOTE_ADDR", "HTTP_X_FORWARDED_FOR", "HTTP_HOST", "SERVER_NAME", "SERVER_PORT")


@dataclass(frozen=True, slots=True)
class Answer:
    """What the API answered: its status, its data, and the response itself, such as a file."""

    status: int
    data: Any
    response: HttpResponseBase

    @property
    def is_good(self) -> bool:
        """Whether it was done, or found."""
        return self.status < 400

    @property
    def sentence(self) -> str:
        """Why it was refused."""
        return str(self.data.get("detail", "")) if isinstance(self.data, Mapping) else ""


class _OfPage(BaseAuthentication):
    """The member for whom the page was opened; the page has looked at its session and its forms' tokens."""

    def authenticate(self, request: Request) -> tuple[Any, None]:
        membership: Membership = request._request.page_membership  # type: ignore[attr-defined]
        request.membership = membership  # type: ignore[attr-defined]
        return membership.user, None


class _OfForm(BaseParser):
    """What a form of a page sent with files, which Django has read already."""

    media_type = "multipart/form-data"

    def parse(self, stream: Any, media_type: str | None = None, parser_context: Any = None) -> Any:
        given = parser_context["request"]._request.page_form
        return DataAndFiles(*given)


def ask_api(
    page: HttpRequest,
    membership: Membership,
    viewset: type[TenantViewSet],
    action: str,
    *,
    pk: Any = None,
    method: str | None = None,
    query: Mapping[str, Any] | None = None,
    data: Any = None,
    files: Mapping[str, Any] | None = None,
    accept: str = "",
) -> Answer:
    """Have a viewset do one action for a member.

    Parameters
    ----------
    action
        Name of its method, such as "list", "retrieve" or "accept".
    method
        Of HTTP; left out, POST where `data` or `files` are given and else GET, or that of an ordinary action.
    query
        Query parameters; those that are None are left out.
    data
        The body, of what JSON has.
    files
        Uploaded files by their field; `data` then holds texts alone.
    accept
        Media type of the answer, where it is not JSON.
    """
    verb = method or _METHODS.get(action) or ("GET" if data is None and files is None else "POST")
    inner = _inner_request(page, membership, verb, query or {}, data, files, accept)
    parsers = [_OfForm] if files is not None else [StrictJSONParser]
    # what an action declares for itself, such as its pages, the router would have handed over
    own: dict[str, Any] = getattr(getattr(viewset, action), "kwargs", {})
    settings = own | {"authentication_classes": [_OfPage], "parser_classes": parsers}
    view = viewset.as_view({verb.lower(): action}, **settings)
    response = view(inner, **({"pk": str(pk)} if pk is not None else {}))
    return Answer(response.status_code, response.data if isinstance(response, Response) else None, response)


def _inner_request(
    page: HttpRequest,
    membership: Membership,
    verb: str,
    query: Mapping[str, Any],
    data: Any,
    files: Mapping[str, Any] | None,
    accept: str,
) -> HttpRequest:
    inner = HttpRequest()
    inner.method = verb
    inner.path = inner.path_info = page.path
    inner.session = page.session
    inner.GET = _query(query)  # type: ignore[assignment]
    inner.META = {name: page.META[name] for name in _TAKEN_OVER if name in page.META}
    inner.META["REQUEST_METHOD"] = verb
    inner.META["QUERY_STRING"] = inner.GET.urlencode()
    if accept:
        inner.META["HTTP_ACCEPT"] = accept
    inner.page_membership = membership  # type: ignore[attr-defined]
    body = b"" if data is None and files is None else json.dumps(data if files is None else {}).encode()
    inner.META["CONTENT_LENGTH"] = str(len(body))
    inner.META["CONTENT_TYPE"] = "multipart/form-data" if files is not None else "application/json"
    inner._stream = BytesIO(body)
    inner._read_started = False  # type: ignore[attr-defined]
    if files is not None:
        inner.page_form = (_query(data or {}), MultiValueDict({name: [file] for name, file in files.items()}))  # type: ignore[attr-defined]
    return inner


def _query(values: Mapping[str, Any]) -> QueryDict:
    """Query parameters as they come over HTTP; lists repeat."""
    made = QueryDict(mutable=True)
    for name, value in values.items():
        if isinstance(value, list | tuple):
            made.setlist(name, [str(part) for part in value])
        elif value is not None:
            made[name] = str(value)
    return made
