"""The door: sign in by password, or by the link of a letter; sign out."""

from http import HTTPStatus
from typing import Any

from django import forms
from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.http.response import HttpResponseBase
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils import timezone
from django.utils.cache import add_never_cache_headers
from django.utils.http import url_has_allowed_host_and_scheme
from django.views import View
from rest_framework.request import Request

from accounts import services
from accounts.api.invitations import LinkThrottle
from accounts.api.signing_in import CredentialsSerializer
from accounts.errors import DomainError, NotFound, TooManyTries
from accounts.http.browser import begin_session, end_session
from accounts.http.throttles import AddressThrottle, place_of
from accounts.language import gettext
from accounts.models import Membership
from accounts.pages.forms import PageForm
from accounts.pages.navigation import start_of
from accounts.pages.problems import problem_page
from accounts.services import links
from accounts.services.passwords import ask_for_reset
from accounts.services.sign_in_links import ask_for_sign_in, sign_in_by_link
from accounts.services.signing_in import CodeNeeded
from accounts.wall import enter_company, over_all_companies


class PasswordForm(PageForm):
    """Who signs in."""

    email = forms.CharField(widget=forms.EmailInput(attrs={"autocomplete": "username", "maxlength": 150}))
    password = forms.CharField(
        strip=False, widget=forms.PasswordInput(attrs={"autocomplete": "current-password", "maxlength": 128})
    )
    code = forms.CharField(
        widget=forms.TextInput(attrs={"autocomplete": "one-time-code", "inputmode": "text", "maxlength": 40})
    )


class AddressForm(PageForm):
    """Where the link is sent."""

    email = forms.CharField(widget=forms.EmailInput(attrs={"autocomplete": "email", "maxlength": 150}))


class DoorPage(View):
    """A page for somebody who is not signed in yet."""

    http_method_names = ["get", "head", "post"]
    throttle: type[AddressThrottle] = LinkThrottle

    def dispatch(self, request: HttpRequest, *args: Any, **kwargs: Any) -> HttpResponseBase:
        """Let nobody knock too often, and no cache keep the page."""
        handler: Any = super().dispatch
        try:
            if self.throttle().allow_request(Request(request), self):
                response = handler(request, *args, **kwargs)
            else:
                response = problem_page(request, HTTPStatus.TOO_MANY_REQUESTS)
        except TooManyTries as error:
            response = problem_page(request, HTTPStatus.TOO_MANY_REQUESTS, error.sentence)
        add_never_cache_headers(response)
        response.headers["Referrer-Policy"] = "same-origin"
        return response

    @staticmethod
    def come_in(request: HttpRequest, membership: Membership, wanted: str) -> HttpResponse:
        """Begin the session; whoever belongs to several companies says next for which."""
        enter_company(membership.company_id)
        begin_session(request, membership, now=timezone.now())
        others = Membership.objects.filter(user=membership.user_id, is_active=True).exclude(pk=membership.pk)
        with over_all_companies():
            has_others = others.exists()
        if has_others:
            return redirect("account")
        return redirect(wanted or start_of(membership))


class SignInPage(DoorPage):
    """Sign in with an address and a password."""

    throttle = AddressThrottle

    def get(self, request: HttpRequest) -> HttpResponse:
        """The form."""
        return self._page(request, PasswordForm(), wanted(request))

    def post(self, request: HttpRequest) -> HttpResponse:
        """Check who it is; what is missing or too long is said as the API says it."""
        form = PasswordForm(request.POST)
        sent = {name: form[name].value() or "" for name in form.fields}
        serializer = CredentialsSerializer(data=sent)
        if not serializer.is_valid():
            faults = [(name, str(fault)) for name, found in serializer.errors.items() for fault in found]
            form.refuse({"errors": [{"pointer": f"/{name}", "detail": fault} for name, fault in faults]})
            return self._page(request, form, wanted(request), HTTPStatus.BAD_REQUEST)
        given = serializer.validated_data
        now = timezone.now()
        try:
            membership = services.check_credentials(
                email=given["email"],
                password=given["password"],
                code=given["code"],
                place=place_of(request),
                now=now,
            )
        except TooManyTries:
            raise
        except CodeNeeded as error:
            form.refuse({"errors": [{"pointer": "/code", "detail": error.sentence}]})
            return self._page(request, form, wanted(request), HTTPStatus.BAD_REQUEST, asks_code=True)
        except DomainError as error:
            form.refuse({"detail": error.sentence})
            return self._page(request, form, wanted(request), HTTPStatus.BAD_REQUEST)
        enter_company(membership.company_id)
        services.record(by=membership, action="sign in", subject=membership, details={"way": "browser"}, now=now)
        return self.come_in(request, membership, wanted(request))

    @staticmethod
    def _page(
        request: HttpRequest, form: PasswordForm, to: str, status: int = 200, *, asks_code: bool = False
    ) -> HttpResponse:
        context = {"form": form, "next": to, "asks_code": asks_code}
        return render(request, "accounts/sign_in.html", context, status=status)


class AskForLinkPage(DoorPage):
    """Have a link sent by which a client signs in."""

    template_name = "accounts/ask_for_link.html"
    send = staticmethod(ask_for_sign_in)

    def get(self, request: HttpRequest) -> HttpResponse:
        """The form."""
        return render(request, self.template_name, {"form": AddressForm()})

    def post(self, request: HttpRequest) -> HttpResponse:
        """Have it sent; the answer is the same whether or not the address is known."""
        form = AddressForm(request.POST)
        serializer = CredentialsSerializer(data={"email": form["email"].value(), "password": "-"})
        if not serializer.is_valid():
            faults = serializer.errors.get("email", [])
            form.refuse({"errors": [{"pointer": "/email", "detail": str(fault)} for fault in faults]})
            return render(request, self.template_name, {"form": form}, status=HTTPStatus.BAD_REQUEST)
        self.send(email=serializer.validated_data["email"], place=place_of(request), now=timezone.now())
        return render(request, self.template_name, {"asked": True})


class LostPasswordPage(AskForLinkPage):
    """Have a link sent by which somebody chooses another password."""

    template_name = "accounts/lost_password.html"
    send = staticmethod(ask_for_reset)


class FollowLinkPage(DoorPage):
    """Sign in by a link: opening it changes nothing, as programs that look at mail open links too."""

    def get(self, request: HttpRequest, token: str) -> HttpResponse:
        """Whom it signs in."""
        membership = links.client_membership_of(links.read_sign_in_token(token))
        status = HTTPStatus.OK if membership is not None else HTTPStatus.NOT_FOUND
        return render(request, "accounts/follow_link.html", {"member": membership}, status=status)

    def post(self, request: HttpRequest, token: str) -> HttpResponse:
        """Sign in."""
        try:
            membership = sign_in_by_link(token=token, place=place_of(request), now=timezone.now())
        except NotFound:
            return render(request, "accounts/follow_link.html", {"member": None}, status=HTTPStatus.NOT_FOUND)
        return self.come_in(request, membership, "")


class SignOutPage(View):
    """Sign out; what the pages kept on the device is cleared by the browser."""

    http_method_names = ["post"]

    def post(self, request: HttpRequest) -> HttpResponse:
        """End the session, whoever's it is, and go to the door."""
        end_session(request)
        messages.success(request, gettext("You are signed out."))
        response = redirect("sign-in")
        response.headers["Clear-Site-Data"] = '"cache", "storage"'
        add_never_cache_headers(response)
        return response


def wanted(request: HttpRequest) -> str:
    """The page somebody wanted before they were sent to the door; '' where it is none of this server's."""
    address = request.POST.get("next") or request.GET.get("next") or ""
    # Only a path: what begins with two slashes, or a slash and a backslash, is another server to a browser.
    is_path = address.startswith("/") and not address.startswith(("//", "/\\"))
    is_safe = url_has_allowed_host_and_scheme(address, allowed_hosts=None, require_https=request.is_secure())
    return address if is_path and is_safe and not address.startswith(reverse("sign-in")) else ""
