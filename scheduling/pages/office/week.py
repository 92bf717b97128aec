"""The rounds of some days: who drives where and when, what is left out and why, and what comes next with the plan."""

from collections.abc import Iterator, Mapping, Sequence
from datetime import date, timedelta
from typing import Any

from django.conf import settings
from django.http import HttpResponse

from accounts.language import gettext, ngettext
from accounts.models import Membership
from accounts.pages.forms import row_id
from accounts.pages.page import RefusedError
from scheduling.api.absences import AbsenceViewSet
from scheduling.api.installers import InstallerViewSet
from scheduling.api.plans import PlanViewSet
from scheduling.models import Plan, Visit
from scheduling.pages.office.base import OfficeForms
from scheduling.pages.office.filled import named_row
from scheduling.pages.office.plans import published_and_draft
from scheduling.pages.office.settling import control_for


class WeekPage(OfficeForms):
    """A plan day by day, installer by installer, with the map beside it."""

    template_name = "scheduling/office/week.html"
    rights = {"get": ("plan", "create"), "post": ("plan", "create")}
    actions = {
        "plan": ("plan", "create"),
        "publish": ("plan", "publish"),
        "offer": ("plan", "offer"),
        "repair": ("plan", "replan"),
        "absent": ("absence", "create"),
    }

    def page(self, *, status: int = 200, **context: Any) -> HttpResponse:
        published, draft = published_and_draft(self.by)
        chosen = row_id(self.request.GET.get("plan", "")) or (draft or published or {}).get("pk")
        plan = self.found(PlanViewSet, "retrieve", pk=chosen) if chosen else None
        installers = [row for row in self.rows(InstallerViewSet) if row["is_active"]]
        shown = self._shown(plan, installers) if plan is not None else {}
        return self.show(
            status=status,
            plan=plan,
            published=published,
            draft=draft,
            installers=installers,
            tiles=settings.MAP_TILES_URL,
            tiles_credit=settings.MAP_TILES_CREDIT,
            tomorrow=self.today + timedelta(days=1),
            today=self.today,
            currency=self.by.company.currency,
            **shown,
            **context,
        )

    def _shown(self, plan: Mapping[str, Any], installers: Sequence[Mapping[str, Any]]) -> dict[str, Any]:
        columns = ("pk", "state", "is_urgent", "appointment_at")
        visits = {
            row["pk"]: row
            for row in Visit.objects.visible_to(self.by).filter(stops__round__plan=plan["id"]).values(*columns)
        }
        days = list(self._days(plan, installers, visits))
        stops = [stop for day in days for cell in day["cells"] for stop in cell["stops"]]
        states = [stop["visit_state"] for stop in stops]
        to_come = [stop["visit_state"] for stop in stops if stop["starts"] > self.now]
        faults = [{**fault, "control": control_for(fault["settle"])} for fault in plan["faults"]]
        return {
            "days": days,
            "stop_count": len(states),
            "round_count": len(plan["rounds"]),
            "unoffered": to_come.count(Visit.State.PROPOSED) if plan["state"] == Plan.State.PUBLISHED else 0,
            "unanswered": states.count(Visit.State.OFFERED),
            "differences": announced(self.by, plan["differences"]),
            "faults": faults,
            "prevented": any(fault["prevents_publishing"] for fault in faults),
        }

    def _days(
        self, plan: Mapping[str, Any], installers: Sequence[Mapping[str, Any]], visits: Mapping[int, Mapping[str, Any]]
    ) -> Iterator[dict[str, Any]]:
        """Day by day the rounds, and who has none or is away; days on which nobody works are left out."""
        first = date.fromisoformat(str(plan["first_day"]))
        rounds: dict[str, list[dict[str, Any]]] = {}
        for row in plan["rounds"]:
            rounds.setdefault(str(row["day"]), []).append(row)
        last = first + timedelta(days=plan["days"] - 1)
        away = self.rows(AbsenceViewSet, first_day__lte=last.isoformat(), last_day__gte=first.isoformat())
        for offset in range(plan["days"]):
            day = first + timedelta(days=offset)
            cells = [self._cell(row, visits) for row in rounds.get(day.isoformat(), [])]
            busy = {cell["installer"] for cell in cells}
            for person in installers:
                if person["id"] in busy or day.weekday() not in person["weekdays"]:
                    continue
                absent = any(
                    row["installer"] == person["id"]
                    and str(row["first_day"]) <= day.isoformat() <= str(row["last_day"])
                    for row in away
                )
                cells.append({"installer": person["id"], "name": person["name"], "is_away": absent, "stops": []})
            if cells:
                yield {"day": day, "is_past": day < self.today, "cells": sorted(cells, key=lambda cell: cell["name"])}

    def _cell(self, row: Mapping[str, Any], visits: Mapping[int, Mapping[str, Any]]) -> dict[str, Any]:
        stops = []
        for stop in row["stops"]:
            visit = visits.get(stop["visit"], {})
            state = visit.get("state", "")
            stops.append(
                {
                    **stop,
                    "starts": self.local(stop["starts_at"]),
                    "leaves": self.local(stop["leaves_at"]),
                    "visit_state": state,
                    "state_words": state_words(state),
                    "is_urgent": visit.get("is_urgent", False),
                    "may_move": state in Visit.AHEAD,
                }
            )
        return {
            "round": row["id"],
            "installer": row["installer"],
            "name": row["installer_name"],
            "leaves": self.local(row["leaves_at"]),
            "returns": self.local(row["returns_at"]),
            "lunch": self.local(row["lunch_at"]),
            "km": row["driving_km"],
            "minutes": row["driving_minutes"],
            "stops": stops,
        }

    # what is done here

    def do_plan(self, form: Any) -> HttpResponse:
        """Plan the coming days, or those that were named."""
        asked = {name: form[name] for name in ("first_day", "days") if form.get(name)}
        answer = self.ask(PlanViewSet, "create", data=asked)
        return self.then(answer, f"/runs/{answer.data['id']}/" if answer.is_good else "", "")

    def do_publish(self, form: Any) -> HttpResponse:
        """Make the draft the plan that installers drive by."""
        answer = self.ask(PlanViewSet, "publish", pk=self._plan(form), data={})
        return self.then(
            answer, f"/week/?plan={self._plan(form)}", gettext("The plan is published: installers drive by it.")
        )

    def do_offer(self, form: Any) -> HttpResponse:
        """Offer the client of every proposed visit its time."""
        answer = self.ask(PlanViewSet, "offer", pk=self._plan(form), data={})
        said = ""
        if answer.is_good:
            letters = answer.data["letters"]
            calls = sum(letter["state"] == "to_call" for letter in letters)
            if not answer.data["visits"]:
                reasons = " ".join(row["reason"] for row in answer.data["not_offered"])
                nothing = gettext("Nothing was offered.")
                return self.went(f"/week/?plan={self._plan(form)}", f"{nothing} {reasons}".strip())
            said = ngettext("{count} client is offered a time.", "{count} clients are offered a time.", len(letters))
            said = said.format(count=len(letters))
            if calls:
                to_call = ngettext("{count} of them has to be called.", "{count} of them have to be called.", calls)
                said = f"{said} {to_call.format(count=calls)}"
            said = " ".join([said, *(row["reason"] for row in answer.data["not_offered"])])
        return self.then(answer, f"/week/?plan={self._plan(form)}", said)

    def do_repair(self, form: Any) -> HttpResponse:
        """Plan again what does not fit any more, with few changes."""
        return self._repaired(self._plan(form))

    def do_absent(self, form: Any) -> HttpResponse:
        """Note that somebody does not work, and repair the published plan where there is one."""
        body = {
            name: form[name] for name in ("installer", "first_day", "last_day", "from_time", "reason") if form.get(name)
        }
        body.setdefault("last_day", body.get("first_day", ""))
        noted = self.ask(AbsenceViewSet, "create", data=body)
        if not noted.is_good:
            return self.refused(noted)
        published, _ = published_and_draft(self.by)
        if published is None:
            return self.went("/week/", gettext("Noted. Plan the days again, so that nobody counts on them."))
        return self._repaired(published["pk"])

    def _repaired(self, pk: Any) -> HttpResponse:
        answer = self.ask(PlanViewSet, "replan", pk=pk, data={})
        said = gettext("This is the repaired plan. Look at what changes, then publish it.")
        return self.then(answer, f"/week/?plan={answer.data['id']}" if answer.is_good else "", said)

    def _plan(self, form: Any) -> int:
        pk = named_row(form, "plan")
        if not pk:
            raise RefusedError(self.ask(PlanViewSet, "retrieve", pk=0))
        return pk


def announced(by: Membership, differences: Sequence[Mapping[str, Any]]) -> list[dict[str, Any]]:
    """What changes, visit by visit; a client has to hear of it who was told a time, and nobody else."""
    visits = Visit.objects.visible_to(by).filter(pk__in=[row["visit"] for row in differences])
    known = set(visits.filter(state__in=Visit.KNOWN_TO_CLIENT).values_list("pk", flat=True))
    return [{**row, "tell_client": row["tell_client"] and row["visit"] in known} for row in differences]


def state_words(state: str) -> str:
    """A visit's state in words; the state itself where it is none of ours."""
    return gettext(dict(Visit.State.choices).get(state, state))
