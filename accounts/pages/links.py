"""The pages behind the links of letters: read what it is about, and do the one thing that it is for."""

from collections.abc import Callable
from typing import Any

from django.conf import settings
from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.utils import timezone
from django.utils.cache import add_never_cache_headers
from django.views import View
from rest_framework.request import Request

from accounts import services
from accounts.api.invitations import LinkThrottle, accept
from accounts.errors import DomainError
from accounts.http.pages import PAGE_HEADERS
from accounts.http.throttles import place_of
from accounts.services import links, page_words
from accounts.services.addresses import take_new_address
from accounts.services.invitations import account_of
from accounts.services.page_words import Page
from accounts.services.passwords import reset_password

_LONGEST_PASSWORD = 128


class LinkPage(View):
    """Shows what a link is for and does it when the button is pressed; opening it changes nothing."""

    http_method_names = ["get", "head", "post"]

    def dispatch(self, request: HttpRequest, *args: Any, **kwargs: Any) -> HttpResponse:
        handler: Callable[..., HttpResponse] = super().dispatch  # type: ignore[assignment]
        if LinkThrottle().allow_request(Request(request), self):
            response = handler(request, *args, **kwargs)
        else:
            response = self._page(request, page_words.too_often(), status=429)
        add_never_cache_headers(response)
        for name, value in PAGE_HEADERS.items():
            response.headers[name] = value
        return response

    def get(self, request: HttpRequest, token: str) -> HttpResponse:
        """What the link is for."""
        page = self.shown(token)
        if page is None:
            return self._page(request, page_words.no_link(), status=404)
        return self._page(request, page)

    def post(self, request: HttpRequest, token: str) -> HttpResponse:
        """Do what the link is for."""
        page = self.shown(token)
        if page is None:
            return self._page(request, page_words.no_link(), status=404)
        password = request.POST.get("password", "")[: _LONGEST_PASSWORD + 1]
        try:
            followed = self.follow(token, password, place_of(request))
            return self._page(request, followed or page_words.no_link(), status=200 if followed else 404)
        except DomainError as error:
            return self._page(request, page, remark=error.in_full, status=400)

    def shown(self, token: str) -> Page | None:
        """The page of a link; None where the link is of no use."""
        raise NotImplementedError

    def follow(self, token: str, password: str, place: str) -> Page | None:
        """Do it, and give the page that says so; None where the link is of no use any more."""
        raise NotImplementedError

    @staticmethod
    def _page(request: HttpRequest, page: Page, *, remark: str = "", status: int = 200) -> HttpResponse:
        context = {
            "page": page,
            "remark": remark,
            "language": settings.LANGUAGE_CODE,
            "longest": _LONGEST_PASSWORD,
        }
        return render(request, "accounts/link.html", context, status=status)


class InvitationPage(LinkPage):
    """Accept an invitation."""

    def shown(self, token: str) -> Page | None:
        invitation = services.read_invitation(token=token, now=timezone.now())
        if invitation is None:
            return None
        return page_words.invitation(invitation, has_account=account_of(invitation) is not None)

    def follow(self, token: str, password: str, place: str) -> Page | None:
        invitation = services.read_invitation(token=token, now=timezone.now())
        if invitation is None:
            return None
        membership = accept(invitation, password, None, place=place)
        return page_words.joined(membership.company.name)


class PasswordPage(LinkPage):
    """Choose a password."""

    def shown(self, token: str) -> Page | None:
        found = links.read_password_token(token)
        return page_words.new_password(found[0].email) if found is not None else None

    def follow(self, token: str, password: str, place: str) -> Page | None:
        reset_password(token=token, password=password, place=place, now=timezone.now())
        return page_words.password_chosen()


class NewAddressPage(LinkPage):
    """Confirm a new address."""

    def shown(self, token: str) -> Page | None:
        found = links.read_address_token(token)
        return page_words.new_address(found[1]) if found is not None else None

    def follow(self, token: str, password: str, place: str) -> Page | None:
        return page_words.address_taken(take_new_address(token=token, now=timezone.now()).email)
