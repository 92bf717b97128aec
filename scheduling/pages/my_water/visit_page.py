"""What happens next: choose a time, decline, cancel, or be called."""

from typing import Any, Final

from django import forms
from django.http import HttpRequest, HttpResponse

from accounts.language import gettext
from accounts.pages.forms import PageForm
from accounts.pages.page import Page
from fleet.api.sites import SiteViewSet
from scheduling.api.visits import VisitViewSet
from scheduling.pages.my_water.unit_facts import as_it_stands
from scheduling.services.people.call_backs import awaited_calls
from scheduling.services.words.answers import asked_for_call


class AnswerForm(PageForm):
    """A window, or a remark."""

    opens_at = forms.CharField()
    note = forms.CharField(max_length=1000, widget=forms.Textarea(attrs={"rows": 3}))

    POINTERS = {"note": "/reason"}


# Button -> the action of a visit, and what of the form it takes, by its name there.
_ANSWERS: Final[dict[str, tuple[str, dict[str, str]]]] = {
    "accept": ("accept", {"opens_at": "opens_at"}),
    "decline": ("decline", {"note": "reason"}),
    "cancel": ("cancel", {"note": "note"}),
    "call_me": ("ask_for_call", {"note": "note"}),
}


class VisitPage(Page):
    """One visit, and the client's answer to it."""

    template_name = "scheduling/my_water/visit.html"
    rights = {"get": ("visit", "retrieve"), "post": ("visit", "accept")}

    def get(self, request: HttpRequest, visit: int) -> HttpResponse:
        """How it stands and what can be answered."""
        return self._page(visit)

    def post(self, request: HttpRequest, visit: int) -> HttpResponse:
        """Take the answer."""
        form = AnswerForm(request.POST)
        answer = request.POST.get("answer", "")
        if answer not in _ANSWERS:
            form.refuse({"detail": gettext("Please choose one of the buttons.")})
            return self._page(visit, status=400, form=form)
        action, names = _ANSWERS[answer]
        sent = form.sent()
        data = {there: sent[here] for here, there in names.items() if here in sent}
        result = self.ask(VisitViewSet, action, pk=visit, data=data)
        if not result.is_good:
            return self._page(visit, status=result.status, form=form.refuse(result.data))
        return self.go("my-water-visit", visit=visit, said=_said(answer))

    def _page(self, visit: int, *, status: int = 200, **context: Any) -> HttpResponse:
        found = self.found(VisitViewSet, "retrieve", pk=visit)
        site = self.found(SiteViewSet, "retrieve", pk=found["site"])
        calls = awaited_calls(company=self.by.company, site=site["id"])
        return self.show(status=status, visit=as_it_stands(found, site["time_zone"], calls), site=site, **context)


def _said(answer: str) -> str:
    match answer:
        case "accept":
            return gettext("Thank you. The time is confirmed.")
        case "decline":
            return gettext("The times are declined. We will offer you others.")
        case "cancel":
            return gettext("The visit is cancelled. If work is still due, we will offer you new times.")
    return asked_for_call()
