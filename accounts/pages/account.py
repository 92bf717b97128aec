"""Who is signed in, and for which company."""

from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect

from accounts.api.me import MeViewSet
from accounts.errors import InvalidInput
from accounts.http.browser import SESSION_MEMBERSHIP
from accounts.pages.forms import row_id
from accounts.pages.navigation import start_of
from accounts.pages.page import Page
from accounts.services.sessions import act_for


class AccountPage(Page):
    """Who I am, for which company I act, and how to sign out."""

    template_name = "accounts/account.html"
    rights = {"get": ("me", "retrieve"), "post": ("me", "retrieve")}

    def get(self, request: HttpRequest) -> HttpResponse:
        """The member and all their memberships."""
        return self.show(me=self.found(MeViewSet, "retrieve"), start=start_of(self.by))

    def post(self, request: HttpRequest) -> HttpResponse:
        """Act for another of one's companies from now on."""
        number = row_id(request.POST.get("membership", "")) or 0
        key = request.session.session_key or ""
        try:
            chosen = act_for(by=self.by, membership_id=number, key=key, now=self.now)
        except InvalidInput as error:
            return self.show(
                status=400, me=self.found(MeViewSet, "retrieve"), start=start_of(self.by), fault=error.sentence
            )
        request.session[SESSION_MEMBERSHIP] = chosen.pk
        return redirect(start_of(chosen))
