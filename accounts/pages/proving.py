"""Showing again that it is you, and signing in with codes."""

from http import HTTPStatus
from typing import Any

from django import forms
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect

from accounts.api.me import MeViewSet
from accounts.language import gettext
from accounts.pages.forms import PageForm
from accounts.pages.page import Page
from accounts.pages.signing_in import wanted


class CodeForm(PageForm):
    """A code of an authenticator."""

    code = forms.CharField(widget=forms.TextInput(attrs={"autocomplete": "one-time-code", "maxlength": 40}))


class ProofForm(CodeForm):
    """The password again, or a code."""

    current_password = forms.CharField(
        strip=False, widget=forms.PasswordInput(attrs={"autocomplete": "current-password", "maxlength": 128})
    )


class ProofPage(Page):
    """Give the password or a code again, before what opens doors to others."""

    template_name = "accounts/proof.html"
    rights = {"get": ("me", "retrieve"), "post": ("me", "authenticate")}

    def get(self, request: HttpRequest) -> HttpResponse:
        """The form."""
        return self._page(ProofForm())

    def post(self, request: HttpRequest) -> HttpResponse:
        """Go back to what was wanted, once it was shown."""
        form = ProofForm(request.POST)
        answer = self.ask(MeViewSet, "authenticate", data=form.sent())
        if answer.is_good:
            return redirect(wanted(request) or "account")
        return self._page(form.refuse(answer.data), status=answer.status)

    def _page(self, form: PageForm, status: int = HTTPStatus.OK) -> HttpResponse:
        me = self.found(MeViewSet, "retrieve")
        return self.show(status=status, form=form, next=wanted(self.request), me=me)


class CodesPage(Page):
    """Set up, renew and remove the codes that are given beside the password."""

    template_name = "accounts/codes.html"
    rights = {"get": ("me", "retrieve"), "post": ("me", "begin_second_factor")}

    def get(self, request: HttpRequest) -> HttpResponse:
        """How one signs in at present."""
        return self._page()

    def post(self, request: HttpRequest) -> HttpResponse:
        """Begin, confirm with a first code, make new recovery codes, or remove them all."""
        match request.POST.get("do"):
            case "begin":
                return self._page(begun=self.found(MeViewSet, "begin_second_factor", method="POST"))
            case "confirm":
                form = CodeForm(request.POST)
                answer = self.ask(MeViewSet, "confirm_second_factor", data=form.sent())
                if answer.is_good:
                    return self._page(codes=answer.data["recovery_codes"])
                begun = {"key": request.POST.get("key", "")}
                return self._page(status=answer.status, form=form.refuse(answer.data), begun=begun)
            case "renew":
                renewed = self.found(MeViewSet, "renew_recovery_codes", method="POST")
                return self._page(codes=renewed["recovery_codes"])
            case "remove":
                answer = self.ask(MeViewSet, "remove_second_factor", method="DELETE")
                if answer.is_good:
                    return self.go("account-codes", said=gettext("You sign in with your password alone from now on."))
                return self._page(status=answer.status, refused=answer.sentence)
        return self._page(status=HTTPStatus.BAD_REQUEST, refused=gettext("Choose one of the buttons."))

    def _page(self, **context: Any) -> HttpResponse:
        context.setdefault("form", CodeForm())
        return self.show(me=self.found(MeViewSet, "retrieve"), **context)
