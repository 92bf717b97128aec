"""Problems as pages for people; programs get problem details (RFC 9457) as before."""

from http import HTTPStatus
from typing import Any

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.utils.cache import add_never_cache_headers

from accounts.http import problems
from accounts.http.browser import membership_in_session


def problem_page(request: HttpRequest, status: int, sentence: str = "", *, is_stale: bool = False) -> HttpResponse:
    """The page of a problem; a part of a page that htmx asked for becomes the whole page.

    `is_stale` says that a form was refused because it had been open for too long.
    """
    context = {"status": int(status), "sentence": sentence, "is_stale": is_stale}
    response = render(request, "accounts/problem.html", context, status=status)
    if getattr(request, "htmx", None):
        # htmx shows nothing of an answer that says it failed, and this one belongs in no part of a page.
        response.status_code = HTTPStatus.OK
        response.headers["HX-Retarget"] = "body"
        response.headers["HX-Reswap"] = "innerHTML"
    add_never_cache_headers(response)
    return response


def bad_request(request: HttpRequest, exception: Exception) -> HttpResponse:
    """A request that failed before it reached a view."""
    if is_for_a_person(request):
        return problem_page(request, HTTPStatus.BAD_REQUEST)
    return problems.bad_request_page(request, exception)


def forbidden(request: HttpRequest, exception: Exception | None = None, reason: str = "") -> HttpResponse:
    """A request refused before it reached a view, such as a form without its token."""
    if is_for_a_person(request):
        return problem_page(_known(request), HTTPStatus.FORBIDDEN, is_stale=bool(reason))
    return problems.forbidden_page(request, exception, reason)


def not_found(request: HttpRequest, exception: Exception) -> HttpResponse:
    """An address that no route has."""
    if is_for_a_person(request):
        return problem_page(_known(request), HTTPStatus.NOT_FOUND)
    return problems.not_found_page(request, exception)


def server_error(request: HttpRequest) -> HttpResponse:
    """An error nobody foresaw; without the member, whom one could not look up where the database is away."""
    if is_for_a_person(request):
        request.page_membership = None  # type: ignore[attr-defined]
        return problem_page(request, HTTPStatus.INTERNAL_SERVER_ERROR)
    return problems.server_error_page(request)


def is_for_a_person(request: Any) -> bool:
    """Whether a browser asks for a page: not for the API, and it says that it reads HTML."""
    return not request.path.startswith("/api/") and "text/html" in request.headers.get("Accept", "")


def _known(request: Any) -> HttpRequest:
    """The request with the member it comes from, where no page has looked for one."""
    user = getattr(request, "user", None)
    if not hasattr(request, "page_membership") and user is not None and user.is_authenticated:
        request.page_membership = membership_in_session(request, user)
    return request
