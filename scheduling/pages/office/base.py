"""What the pages of the office have in common."""

from collections.abc import Callable, Mapping
from datetime import date, datetime
from types import MappingProxyType
from typing import Any, ClassVar
from urllib.parse import urlencode
from zoneinfo import ZoneInfo

from django.contrib import messages
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import redirect
from django.utils import timezone
from django_htmx.http import HttpResponseClientRedirect, HttpResponseClientRefresh

from accounts.http.pagination import LARGEST_PAGE
from accounts.language import gettext
from accounts.pages.asking import Answer
from accounts.pages.page import Page


class OfficePage(Page):
    """A page that is read. `page` shows it: with the row of its address as `pk`, and with what went wrong."""

    page: Callable[..., HttpResponse]

    def get(self, request: HttpRequest, **parts: Any) -> HttpResponse:
        return self.page(**_row(parts))

    def show(self, **context: Any) -> HttpResponse:
        """Show the page, with every hour on the company's clock; `iso_today` is its day, for days of the API."""
        with timezone.override(self.zone):
            return super().show(iso_today=self.today.isoformat(), **context)

    def went(self, address: str, said: str) -> HttpResponse:
        """Go to an address of these pages, and say there what was done."""
        if said:
            messages.success(self.request, said)
        htmx: Any = getattr(self.request, "htmx", None)
        if not htmx:
            return redirect(address)
        # a browser that is there already would only move to the fragment
        is_here = (htmx.current_url_abs_path or "").split("#")[0] == address.split("#")[0]
        return HttpResponseClientRefresh() if is_here else HttpResponseClientRedirect(address)

    def rows(self, viewset: Any, action: str = "list", **query: Any) -> list[dict[str, Any]]:
        """The rows of a list's first page, as many as a page may have; none where this member may not see them."""
        answer = self.ask(viewset, action, query={"page_size": 500, **query})
        return list(answer.data["results"]) if answer.is_good else []

    def every_row(self, viewset: Any, action: str) -> list[dict[str, Any]]:
        """The rows of all pages of a list."""
        rows: list[dict[str, Any]] = []
        data: dict[str, Any] = {"next": "the first"}
        while data["next"]:
            number = len(rows) // LARGEST_PAGE + 1
            data = self.found(viewset, action, query={"page": number, "page_size": LARGEST_PAGE})
            rows += data["results"]
        return rows

    def listed(self, viewset: Any, *names: str, page_size: int = 50, **query: Any) -> dict[str, Any]:
        """A list page by page: `names` are the parameters that the address of the page may carry to the interface."""
        given = {name: self.request.GET[name].strip() for name in names if self.request.GET.get(name, "").strip()}
        return self.paged(viewset, "list", page_size=page_size, given=given, **query)

    def paged(
        self,
        viewset: Any,
        action: str,
        *,
        page_size: int,
        pk: int | None = None,
        given: Mapping[str, str] = MappingProxyType({}),
        **query: Any,
    ) -> dict[str, Any]:
        """The page of a list that the address of this page asks for, with the addresses of those beside it."""
        number = self.request.GET.get("page", "1")
        asked = {**query, **given, "page": number, "page_size": page_size}
        data = self.found(viewset, action, query=asked, **({"pk": pk} if pk is not None else {}))
        here = int(number)
        last = max(1, -(-data["count"] // page_size))
        return {
            "rows": data["results"],
            "count": data["count"],
            "given": given,
            "number": here,
            "last": last,
            "previous": f"?{urlencode({**given, 'page': here - 1})}" if here > 1 else "",
            "next": f"?{urlencode({**given, 'page': here + 1})}" if here < last else "",
        }

    @property
    def zone(self) -> ZoneInfo:
        """The clock of the company."""
        return self.by.company.zone

    def local(self, moment: Any) -> datetime | None:
        """A moment as the interface tells it, on the company's clock."""
        return datetime.fromisoformat(str(moment)).astimezone(self.zone) if moment else None

    def moment_of(self, form: Mapping[str, Any]) -> str:
        """The moment of a form with a day and an hour on the company's clock, as the interface takes it."""
        day, hour = form.get("day", ""), form.get("hour", "")
        try:
            return datetime.fromisoformat(f"{day}T{hour}").replace(tzinfo=self.zone).isoformat()
        except ValueError:
            # the interface says what is wrong with it
            return f"{day} {hour}".strip()

    @property
    def today(self) -> date:
        """The day it is at the company."""
        return self.by.company.day_at(self.now)


class OfficeForms(OfficePage):
    """A page with several forms, each of which names in `do` what it does: the method `do_...` of the page.

    `actions` says which of them the page has, each with its resource and action in the table of rights.
    """

    actions: ClassVar[Mapping[str, tuple[str, str]]] = {}

    def post(self, request: HttpRequest, **parts: Any) -> HttpResponse:
        name = request.POST.get("do", "")
        if name not in self.actions:
            raise Http404
        done: HttpResponse = getattr(self, f"do_{name}")(request.POST, **_row(parts))
        return done

    def refused(self, answer: Answer, **parts: Any) -> HttpResponse:
        """The page again, with what was wrong above it, and beside it what was filled in."""
        return self.page(status=answer.status, refusal=refusal_of(answer), filled=self.request.POST, **parts)

    def then(self, answer: Answer, address: str, said: str, **parts: Any) -> HttpResponse:
        """Go on where the call was done, and show the page again where it was refused."""
        return self.went(address, said) if answer.is_good else self.refused(answer, **parts)


def choice_words(choices: Any, value: str) -> str:
    """What people call a value of a field with choices."""
    return gettext(str(dict(choices.choices).get(value, value)))


def refusal_of(answer: Answer) -> dict[str, Any]:
    """What was wrong: in one sentence, and fault by fault, each with the field that it is in."""
    data = answer.data if isinstance(answer.data, Mapping) else {}
    sentence = answer.sentence or gettext("That could not be done.")
    faults: dict[str, None] = {}
    for row in data.get("errors") or []:
        detail, field = str(row.get("detail", "")), _field_of(str(row.get("pointer", "")))
        is_named = not field or field.lower() in detail.lower()
        if detail == sentence and not is_named:
            # said once, where the field is named
            sentence = ""
        if detail and (not is_named or detail not in sentence):
            faults[detail if is_named else f"{field}: {detail}"] = None
    return {"sentence": sentence, "faults": list(faults)}


def _field_of(pointer: str) -> str:
    """The name of a field as a form has it: 'To installer' of '/to_installer'; that of a list where a row of it is.

    >>> _field_of("/to_installer"), _field_of("/lines/0/packs"), _field_of("")
    ('To installer', 'Packs', '')
    """
    names = [part for part in pointer.split("/") if part and not part.isdecimal()]
    return gettext(names[-1].replace("_", " ").capitalize()) if names else ""


def _row(parts: Mapping[str, Any]) -> dict[str, Any]:
    """The row of an address, whatever its kind is called there: methods of a page take it as `pk`."""
    return dict(zip(["pk"], parts.values(), strict=False))
