"""What a client sends: a reading of their own meter, or that something is wrong."""

from collections.abc import Sequence
from typing import Any

from django import forms
from django.db import transaction
from django.http import HttpRequest, HttpResponse

from accounts.language import gettext
from accounts.pages.asking import Answer
from accounts.pages.forms import PageForm
from accounts.pages.page import Page
from fleet.api.instruments import InstrumentViewSet
from fleet.api.units import UnitViewSet
from fleet.engineering.observations import OBSERVATIONS
from fleet.engineering.quantities import SETTLING_MINUTES
from fleet.pages.gauges import GaugeForm
from scheduling.api.reading_photos import ReadingPhotoViewSet


class ReadingForm(GaugeForm):
    """A reading."""

    instrument = forms.ChoiceField()
    person = forms.CharField(max_length=80, widget=forms.TextInput(attrs={"autocomplete": "name"}))
    note = forms.CharField(max_length=1000, widget=forms.Textarea(attrs={"rows": 2}))

    def __init__(self, *args: Any, instruments: list[str], asks: Sequence[str], **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        answers = [("", gettext("I did not look")), ("no", gettext("no")), ("yes", gettext("yes"))]
        self.asked = [each for each in OBSERVATIONS if each.name in asks]
        for each in self.asked:
            self.fields[each.name] = forms.ChoiceField(choices=answers, required=False)
        if instruments:
            names = [("", gettext("no meter of these")), *((name, name) for name in instruments)]
            self.fields["instrument"].choices = names  # type: ignore[attr-defined]
        else:
            del self.fields["instrument"]

    def questions(self) -> list[tuple[forms.BoundField, str]]:
        """What the client is asked to look for without a meter."""
        return [(self[each.name], _as_choice(each.to_client or each.meaning)) for each in self.asked]

    def seen(self) -> dict[str, bool]:
        """What was looked for, as the API takes it."""
        sent = self.sent()
        return {each.name: sent[each.name] == "yes" for each in self.asked if sent.get(each.name)}


class ReadingPage(Page):
    """Enter a reading."""

    template_name = "scheduling/my_water/reading.html"
    rights = {"get": ("unit", "add_reading"), "post": ("unit", "add_reading")}

    def get(self, request: HttpRequest, unit: int) -> HttpResponse:
        """The form, in the units of the client's own meter."""
        found = self.found(UnitViewSet, "retrieve", pk=unit)
        form = self._form(found, initial={"person": self.by.name})
        return self._page(found, form)

    def post(self, request: HttpRequest, unit: int) -> HttpResponse:
        """Have the reading stored; what looks doubtful about it is said at once."""
        found = self.found(UnitViewSet, "retrieve", pk=unit)
        form = self._form(found, request.POST)
        words = {name: text for name, text in form.sent().items() if name in ("instrument", "person", "note")}
        seen = form.seen()
        data = {**form.quantities(), **words, **({"observations": seen} if seen else {})}
        answer = self.ask(UnitViewSet, "add_reading", pk=unit, data=data)
        if not answer.is_good:
            nothing = gettext("Nothing is filled in: write down what your meter shows, one value at least.")
            refused = _said_to_client(answer.data, nothing)
            return self._page(found, form.refuse(refused), answer.status)  # type: ignore[arg-type]
        doubts = [flag["sentence"] for flag in answer.data["flags"]]
        said = gettext("Thank you. Your reading is stored.")
        return self.go("my-water-unit", unit=unit, said=" ".join([said, *doubts]))

    def _form(self, unit: Any, *args: Any, **kwargs: Any) -> ReadingForm:
        rows = self.found(InstrumentViewSet, "list", query={"unit": unit["id"]})["results"]
        us_units = self.by.company.unit_system == "us"
        names = [row["name"] for row in rows]
        return ReadingForm(
            *args, unit=unit, us_units=us_units, instruments=names, asks=self._status(unit)["asks"], **kwargs
        )

    def _status(self, unit: Any) -> Any:
        return self.found(UnitViewSet, "status", pk=unit["id"])

    def _page(self, unit: Any, form: ReadingForm, status: int = 200) -> HttpResponse:
        asked = self._status(unit)["please_read"]
        return self.show(status=status, unit=unit, form=form, asked=asked, minutes=round(SETTLING_MINUTES))


class FaultForm(PageForm):
    """What a person sees, hears, smells or tastes."""

    observations = forms.MultipleChoiceField(
        choices=[(each.name, each.name) for each in OBSERVATIONS], widget=forms.CheckboxSelectMultiple
    )
    person = forms.CharField(max_length=80, widget=forms.TextInput(attrs={"autocomplete": "name"}))
    note = forms.CharField(max_length=1000, widget=forms.Textarea(attrs={"rows": 3}))
    photo = forms.FileField(widget=forms.FileInput(attrs={"accept": "image/jpeg,image/png,image/webp"}))

    POINTERS = {"photo": "/file"}

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        choices = [(each.name, _as_choice(each.to_client or each.meaning)) for each in OBSERVATIONS]
        self.fields["observations"].choices = choices  # type: ignore[attr-defined]


class FaultPage(Page):
    """Say that something is wrong."""

    template_name = "scheduling/my_water/fault.html"
    rights = {"get": ("unit", "add_reading"), "post": ("unit", "add_reading")}

    def get(self, request: HttpRequest, unit: int) -> HttpResponse:
        """The form."""
        found = self.found(UnitViewSet, "retrieve", pk=unit)
        return self.show(unit=found, form=FaultForm(initial={"person": self.by.name}))

    def post(self, request: HttpRequest, unit: int) -> HttpResponse:
        """Have it stored: it is looked at like any reading, and what it means is told on the page of the unit."""
        found = self.found(UnitViewSet, "retrieve", pk=unit)
        form = FaultForm(request.POST, request.FILES)
        refused = self._report(unit, form)
        if refused is not None:
            nothing = gettext("Nothing is ticked: tick what comes nearest, so that we know what to bring.")
            return self.show(
                status=refused.status, unit=found, form=form.refuse(_said_to_client(refused.data, nothing))
            )
        return self.go("my-water-unit", unit=unit, said=gettext("Thank you. We have your report and look into it."))

    def _report(self, unit: int, form: FaultForm) -> Answer | None:
        """Have the report stored with its picture, or neither; the answer that refused it."""
        sent = form.sent()
        photo = sent.pop("photo", None)
        seen = dict.fromkeys(sent.pop("observations", []), True)
        with transaction.atomic():
            answer = self.ask(
                UnitViewSet, "add_reading", pk=unit, data={**sent, "observations": seen} if seen else sent
            )
            if answer.is_good and photo is not None:
                reading = {"reading": answer.data["id"]}
                answer = self.ask(ReadingPhotoViewSet, "create", data=reading, files={"file": photo})
            if not answer.is_good:
                transaction.set_rollback(True)
        return None if answer.is_good else answer


def _said_to_client(problem: Any, nothing: str) -> Any:
    """A refusal in the words of this form: a client sends no row, and has no other gauge or observation to give."""
    if problem.get("code") != "no_value":
        return problem
    return {**problem, "detail": nothing, "errors": [{"pointer": "", "detail": nothing}]}


def _as_choice(meaning: str) -> str:
    words = gettext(meaning)
    return words[:1].upper() + words[1:]
