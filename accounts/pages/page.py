"""The base of every page for a member.

    class UnitPage(Page):
        template_name = "scheduling/unit.html"
        rights = {"get": ("unit", "retrieve"), "post": ("unit", "update")}

        def get(self, request, pk):
            return self.show(unit=self.found(UnitViewSet, "retrieve", pk=pk))

        def post(self, request, pk):
            form = UnitForm(request.POST)
            answer = self.ask(UnitViewSet, "partial_update", pk=pk, data=form.sent())
            if answer.is_good:
                return self.go("unit-page", pk=pk, said=gettext("Kept."))
            return self.show(status=answer.status, form=form.refuse(answer.data), unit=...)

Whoever is not signed in is sent to the door; a page without rights for a method does not start. Pages read and write
through the API alone (`ask`), so that rows, fields and rules are the same.
"""

from collections.abc import Callable, Mapping
from datetime import datetime
from http import HTTPStatus
from typing import Any, ClassVar, Final
from urllib.parse import urlencode

from django.contrib import messages
from django.core.exceptions import ImproperlyConfigured, PermissionDenied
from django.http import Http404, HttpRequest, HttpResponse
from django.http.response import HttpResponseBase
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils import timezone
from django.utils.cache import add_never_cache_headers
from django.views import View
from django_htmx.http import HttpResponseClientRedirect

from accounts.errors import DomainError, NotAllowed, NotFound, TooManyTries
from accounts.http.browser import membership_in_session
from accounts.models import Membership
from accounts.pages.asking import Answer, ask_api
from accounts.pages.problems import problem_page
from accounts.permissions import ALLOWED, allows, is_recent, roles_for


class RefusedError(Exception):
    """What a page needs was refused by the API; the page of that problem is shown instead."""

    def __init__(self, answer: Answer) -> None:
        super().__init__(answer.sentence)
        self.answer = answer


#: Where somebody is sent who may do a thing, but not as they signed in; by the code of the refusal.
_PROOF_PAGES: Final = {
    "recent_authentication_required": "account-proof",
    "second_factor_required": "account-codes",
}


class ProofWantedError(Exception):
    """The member may do it, once they have shown who they are, on the page of this name."""

    def __init__(self, page_name: str) -> None:
        super().__init__(page_name)
        self.page_name = page_name


class Page(View):
    """A page for a member of a company.

    Class attributes: `rights` (required: for each method, resource and action in the table of `accounts.permissions`),
    `template_name`, `part_names` (parts of the page that htmx may ask for: name of the target's id -> template).
    """

    rights: ClassVar[Mapping[str, tuple[str, str]]] = {}
    template_name: ClassVar[str] = ""
    part_names: ClassVar[Mapping[str, str]] = {}
    http_method_names = ["get", "head", "post"]

    by: Membership
    now: datetime

    @classmethod
    def as_view(cls, **initkwargs: Any) -> Callable[..., HttpResponseBase]:
        for method in ("get", "post"):
            if hasattr(cls, method) and cls.rights.get(method) not in ALLOWED:
                raise ImproperlyConfigured(
                    f"{cls.__name__}.{method} has no right of accounts.permissions.ALLOWED in `rights`: nobody could "
                    "say who may use it."
                )
        return super().as_view(**initkwargs)

    def dispatch(self, request: HttpRequest, *args: Any, **kwargs: Any) -> HttpResponseBase:
        """Find out who asks, and let in whom the table of rights names."""
        self.now = timezone.now()
        handler: Callable[..., HttpResponseBase] = super().dispatch
        membership = membership_in_session(request, request.user) if request.user.is_authenticated else None
        if membership is None:
            return _to_the_door(request)
        self.by = membership
        request.page_membership = membership  # type: ignore[attr-defined]
        try:
            self._check_right(request)
            response = handler(request, *args, **kwargs)
        except ProofWantedError as wanting:
            response = self._to_proof(wanting.page_name)
        except RefusedError as refused:
            response = problem_page(request, refused.answer.status, refused.answer.sentence)
        except (Http404, NotFound):
            response = problem_page(request, HTTPStatus.NOT_FOUND)
        except (PermissionDenied, NotAllowed) as error:
            response = problem_page(request, HTTPStatus.FORBIDDEN, str(error))
        except TooManyTries as error:
            response = problem_page(request, HTTPStatus.TOO_MANY_REQUESTS, error.sentence)
        except DomainError as error:
            response = problem_page(request, HTTPStatus.CONFLICT, error.sentence)
        if "Cache-Control" not in response.headers:
            add_never_cache_headers(response)
        return response

    def _check_right(self, request: HttpRequest) -> None:
        method = "get" if request.method == "HEAD" else str(request.method).lower()
        if method in self.rights and not allows(self.by, *self.rights[method]):
            if self.by.lacks_second_factor and self.by.role in roles_for(*self.rights[method]):
                raise ProofWantedError(_PROOF_PAGES["second_factor_required"])
            raise PermissionDenied

    def _to_proof(self, page_name: str) -> HttpResponse:
        """Go and show who one is; from there it goes back to this page."""
        address = f"{reverse(page_name)}?{urlencode({'next': self.request.path})}"
        return HttpResponseClientRedirect(address) if getattr(self.request, "htmx", None) else redirect(address)

    def ask(self, viewset: Any, action: str, **asked: Any) -> Answer:
        """Have the API do something for this member; see `accounts.pages.asking.ask_api`."""
        answer = ask_api(self.request, self.by, viewset, action, **asked)
        code = answer.data.get("code") if answer.status == HTTPStatus.FORBIDDEN else None
        if code in _PROOF_PAGES:
            raise ProofWantedError(_PROOF_PAGES[code])
        return answer

    def want_recent_proof(self) -> None:
        """Send whoever signed in a while ago to show again who they are; from there they come back here."""
        if not is_recent(self.by, self.now):
            raise ProofWantedError(_PROOF_PAGES["recent_authentication_required"])

    def found(self, viewset: Any, action: str, **asked: Any) -> Any:
        """The data of an answer that the page cannot do without; a refusal becomes the page of that problem."""
        answer = self.ask(viewset, action, **asked)
        if not answer.is_good:
            raise RefusedError(answer)
        return answer.data

    def show(self, *, status: int = 200, template: str = "", **context: Any) -> HttpResponse:
        """Show the page, or the part of it that htmx asks for."""
        htmx = getattr(self.request, "htmx", None)
        part = self.part_names.get(htmx.target or "") if htmx else None
        # htmx shows nothing of an answer that says it failed.
        shown_status = 200 if part else status
        return render(self.request, part or template or self.template_name, context, status=shown_status)

    def go(self, name: str, said: str = "", **parts: Any) -> HttpResponse:
        """Go to another page after something was done, and say there that it was."""
        if said:
            messages.success(self.request, said)
        address = reverse(name, kwargs=parts)
        return HttpResponseClientRedirect(address) if getattr(self.request, "htmx", None) else redirect(address)


def _to_the_door(request: HttpRequest) -> HttpResponse:
    wanted = request.get_full_path() if request.method in ("GET", "HEAD") else ""
    htmx: Any = getattr(request, "htmx", None)
    if htmx:
        wanted = htmx.current_url_abs_path or ""
    address = reverse("sign-in") + (f"?{urlencode({'next': wanted})}" if wanted else "")
    response = HttpResponseClientRedirect(address) if htmx else redirect(address)
    add_never_cache_headers(response)
    return response
