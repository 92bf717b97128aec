"""One stop: why it stands where it does, and what can be done with it. A move is shown before it is made."""

from collections.abc import Mapping
from typing import Any

from django.http import HttpResponse

from accounts.api.clients import ClientViewSet
from accounts.language import gettext
from accounts.pages.asking import Answer
from fleet.api.sites import SiteViewSet
from scheduling.api.installers import InstallerViewSet
from scheduling.api.plans import RoundViewSet
from scheduling.api.stops import StopViewSet
from scheduling.api.visits import VisitViewSet
from scheduling.models import Need, Visit
from scheduling.pages.office.base import OfficeForms, refusal_of
from scheduling.pages.office.filled import whole_number
from scheduling.pages.office.said import said_by_client
from scheduling.pages.office.week import announced, state_words


class StopPage(OfficeForms):
    """A stop of a round, as a page or beside the week."""

    template_name = "scheduling/office/stop.html"
    part_names = {"stop": "scheduling/office/parts/stop.html", "move": "scheduling/office/parts/move.html"}
    rights = {"get": ("plan", "create"), "post": ("stop", "move")}
    actions = {
        "preview": ("stop", "preview_move"),
        "move": ("stop", "move"),
        "lock": ("stop", "lock"),
        "unlock": ("visit", "unlock"),
        "confirm": ("visit", "confirm"),
        "offer": ("visit", "offer"),
        "unconfirm": ("visit", "unconfirm"),
        "cancel": ("visit", "cancel"),
        "accept_additions": ("visit", "accept_additions"),
        "decline_additions": ("visit", "decline_additions"),
    }

    def page(self, *, status: int = 200, pk: int, **context: Any) -> HttpResponse:
        stop = self.found(StopViewSet, "retrieve", pk=pk)
        visit = self.found(VisitViewSet, "retrieve", pk=stop["visit"])
        row = self.found(RoundViewSet, "retrieve", pk=stop["round"])
        site = self.found(SiteViewSet, "retrieve", pk=stop["site"])
        client = self.found(ClientViewSet, "retrieve", pk=site["client"]) if site["client"] else None
        for task in visit["tasks"]:
            task["kind_words"] = gettext(dict(Need.Kind.choices).get(task["kind"], task["kind"]))
        return self.show(
            status=status,
            stop=stop,
            visit=visit,
            row=row,
            site=site,
            client=client,
            installers=[person for person in self.rows(InstallerViewSet) if person["is_active"]],
            starts=self.local(stop["starts_at"]),
            leaves=self.local(stop["leaves_at"]),
            appointment=self.local(visit["appointment_at"]),
            offers=[(self.local(offer["opens_at"]), self.local(offer["closes_at"])) for offer in visit["offers"]],
            state_words=state_words(visit["state"]),
            said=said_by_client(self, visit["id"]),
            is_ahead=visit["state"] in Visit.AHEAD,
            is_under_way=visit["state"] not in Visit.CLOSED,
            week=f"/week/?plan={row['plan']}#stop-{pk}",
            **{"filled": {}, **context},
        )

    # what is done here

    def do_preview(self, form: Any, pk: int) -> HttpResponse:
        """Show what a move costs and breaks."""
        answer = self.ask(StopViewSet, "preview_move", pk=pk, data=_move_to(form))
        return self._preview(answer, form, pk)

    def do_move(self, form: Any, pk: int) -> HttpResponse:
        """Move it; what it breaks was acknowledged one by one."""
        body = {
            **_move_to(form),
            "acknowledge": form.getlist("acknowledge"),
            "lock": form.get("lock") == "on",
            "reason": form.get("reason", ""),
        }
        answer = self.ask(StopViewSet, "move", pk=pk, data=body)
        if answer.is_good:
            return self.went(self._week(pk), gettext("The stop is moved, and the rounds are timed again."))
        return self._preview(self.ask(StopViewSet, "preview_move", pk=pk, data=_move_to(form)), form, pk, answer)

    def _preview(self, answer: Answer, form: Any, pk: int, refused: Answer | None = None) -> HttpResponse:
        fault = refused if refused is not None else None if answer.is_good else answer
        move = self._shown(answer.data) if answer.is_good else None
        return self.page(
            status=fault.status if fault is not None else 200,
            pk=pk,
            move=move,
            refusal=refusal_of(fault) if fault is not None else None,
            filled=form,
        )

    def _shown(self, move: Mapping[str, Any]) -> dict[str, Any]:
        """The answer to a move, with hours on the company's clock."""
        rounds = [
            {
                **row,
                "leaves": self.local(row["leaves_at"]),
                "returns": self.local(row["returns_at"]),
                "stops": [{**stop, "starts": self.local(stop["starts_at"])} for stop in row["stops"]],
            }
            for row in move["rounds"]
        ]
        dearer = round(move["cost"].get("total", 0.0), 2)
        codes: dict[str, list[str]] = {}
        for warning in move["warnings"]:
            codes.setdefault(warning["code"], []).append(warning["sentence"])
        return {
            **move,
            "differences": announced(self.by, move["differences"]),
            "rounds": rounds,
            "dearer": dearer,
            "cheaper": -dearer,
            "warnings": list(codes.items()),
            "driving": driving_words(move["driving_minutes"], move["driving_km"]),
            "may": not move["refusals"],
            "currency": self.by.company.currency,
        }

    def do_lock(self, form: Any, pk: int) -> HttpResponse:
        """Keep it where it is."""
        answer = self.ask(StopViewSet, "lock", pk=pk, data={"reason": form.get("reason", "")})
        return self.then(answer, self._week(pk), gettext("Later plans leave this stop where it is."), pk=pk)

    def do_unlock(self, form: Any, pk: int) -> HttpResponse:
        """Let later plans move it."""
        return self._visit("unlock", {}, gettext("Later plans may move this stop again."), pk)

    def do_confirm(self, form: Any, pk: int) -> HttpResponse:
        """Note the time that was agreed with the client."""
        body: dict[str, Any] = {
            "appointment_at": self.moment_of(form),
            "outside_access_hours": form.get("outside_access_hours") == "on",
        }
        if form.get("installer"):
            body["installer"] = whole_number(form["installer"])
        return self._visit("confirm", body, gettext("The time is confirmed with the client."), pk)

    def do_offer(self, form: Any, pk: int) -> HttpResponse:
        """Offer two or three times."""
        windows = []
        for day, opens, closes in zip(form.getlist("day"), form.getlist("opens"), form.getlist("closes"), strict=False):
            if day or opens or closes:
                windows.append(
                    {
                        "opens_at": self.moment_of({"day": day, "hour": opens}),
                        "closes_at": self.moment_of({"day": day, "hour": closes}),
                    }
                )
        return self._visit("offer", {"windows": windows}, gettext("The times are offered to the client."), pk)

    def do_unconfirm(self, form: Any, pk: int) -> HttpResponse:
        """Give the time back."""
        return self._visit("unconfirm", _note(form), gettext("The visit is a proposal again."), pk)

    def do_cancel(self, form: Any, pk: int) -> HttpResponse:
        """Call the visit off."""
        return self._visit("cancel", _note(form), gettext("The visit is cancelled; its tasks are proposed again."), pk)

    def do_accept_additions(self, form: Any, pk: int) -> HttpResponse:
        """Do the additions along with the visit."""
        return self._visit("accept_additions", {}, gettext("The visit has the additions among its tasks."), pk)

    def do_decline_additions(self, form: Any, pk: int) -> HttpResponse:
        """Keep the additions off the visit."""
        return self._visit("decline_additions", _note(form), gettext("The additions come on a visit of their own."), pk)

    def _visit(self, action: str, body: Mapping[str, Any], said: str, pk: int) -> HttpResponse:
        stop = self.found(StopViewSet, "retrieve", pk=pk)
        week = self._week(pk)
        answer = self.ask(VisitViewSet, action, pk=stop["visit"], data=dict(body))
        return self.then(answer, week, said, pk=pk)

    def _week(self, pk: int) -> str:
        stop = self.found(StopViewSet, "retrieve", pk=pk)
        row = self.found(RoundViewSet, "retrieve", pk=stop["round"])
        return f"/week/?plan={row['plan']}#stop-{pk}"


def _move_to(form: Mapping[str, Any]) -> dict[str, Any]:
    """Where a stop is to go, as it was filled in; what is empty stays as it is."""
    body: dict[str, Any] = {}
    for name in ("installer", "place"):
        text = str(form.get(name, "")).strip()
        if text:
            body[name] = whole_number(text)
    if form.get("day"):
        body["day"] = form["day"]
    if form.get("confirmed") == "on":
        body["confirmed"] = True
    return body


def _note(form: Mapping[str, Any]) -> dict[str, Any]:
    return {"note": form.get("note", "")}


def driving_words(minutes: float, km: float) -> str:
    """How much more or less driving a move makes."""
    if round(minutes) == 0 and round(km, 1) == 0:
        return gettext("As much driving as before.")
    if minutes >= 0 and km >= 0:
        return gettext("{minutes} minutes and {km} km more driving.").format(minutes=round(minutes), km=round(km, 1))
    if minutes <= 0 and km <= 0:
        return gettext("{minutes} minutes and {km} km less driving.").format(minutes=round(-minutes), km=round(-km, 1))
    return gettext("Driving: {minutes} minutes and {km} km.").format(minutes=f"{minutes:+.0f}", km=f"{km:+.1f}")
