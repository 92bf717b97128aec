"""The company: its people, its policy and what another one would mean, its limits, how good its forecasts were."""

from collections.abc import Mapping
from typing import Any, Final

from django.http import HttpResponse

from accounts.api.audit import AuditEntryViewSet
from accounts.api.company import CompanyViewSet
from accounts.api.invitations import InvitationViewSet
from accounts.api.members import MemberViewSet
from accounts.jobs.api import JobViewSet
from accounts.language import gettext, gettext_noop
from accounts.models import Membership
from accounts.pages.forms import row_id
from fleet.api.forecast_quality import ForecastScoreViewSet
from fleet.api.limits import ExhaustionLimitsSerializer, ExhaustionLimitsViewSet
from fleet.api.quantities import shown
from fleet.engineering.limits import HOUSE
from fleet.intake.names import public_name, spoken
from fleet.models import ForecastScore, Unit
from scheduling.api.policy import PolicySerializer, PolicyViewSet
from scheduling.pages.office.base import OfficeForms, OfficePage, choice_words
from scheduling.pages.office.filled import named_row
from scheduling.pages.office.plots import calibration_plot, compared_plot

Role = Membership.Role


class CompanyPage(OfficeForms):
    """The company's facts, its members and who was invited."""

    template_name = "scheduling/office/company.html"
    rights = {"get": ("member", "list"), "post": ("invitation", "create")}
    actions = {
        "invite": ("invitation", "create"),
        "withdraw": ("invitation", "withdraw"),
        "change": ("member", "update"),
        "end": ("member", "end"),
    }

    def page(self, *, status: int = 200, **context: Any) -> HttpResponse:
        members = self.rows(MemberViewSet)
        invitations = self.rows(InvitationViewSet)
        for row in [*members, *invitations]:
            row["role_words"] = choice_words(Role, row["role"])
        for row in invitations:
            row["ends"] = self.local(row["expires_at"])
        return self.show(
            status=status,
            company=self.found(CompanyViewSet, "retrieve"),
            members=members,
            invitations=[row for row in invitations if row["state"] in ("open", "expired")],
            roles=[(role.value, gettext(str(role.label))) for role in (Role.OFFICE, Role.INSTALLER, Role.OWNER)],
            may_change=self.by.role == Role.OWNER,
            **{"filled": {}, **context},
        )

    def do_invite(self, form: Any) -> HttpResponse:
        """Send a link by which whoever reads the address becomes a member."""
        body = {name: form.get(name, "").strip() for name in ("email", "name", "role")}
        answer = self.ask(InvitationViewSet, "create", data=body)
        return self.then(answer, "/company/", gettext("The invitation goes out by e-mail."))

    def do_withdraw(self, form: Any) -> HttpResponse:
        """Take an invitation back."""
        answer = self.ask(InvitationViewSet, "withdraw", pk=named_row(form, "invitation"), data={})
        return self.then(answer, "/company/", gettext("The invitation is withdrawn."))

    def do_change(self, form: Any) -> HttpResponse:
        """Change a member's role."""
        answer = self.ask(
            MemberViewSet, "partial_update", pk=named_row(form, "member"), data={"role": form.get("role", "")}
        )
        return self.then(answer, "/company/", gettext("Kept."))

    def do_end(self, form: Any) -> HttpResponse:
        """Take a member's access."""
        answer = self.ask(MemberViewSet, "end", pk=named_row(form, "member"), data={})
        return self.then(answer, "/company/", gettext("The membership has ended."))


#: What is measured of a year, and in which order it is shown.
_MEASURED: Final = ("visits", "days_at_risk", "money", "visit_money", "parts_money", "bad_water_money", "parts")
#: Settings that hold tables or lists; they are set over the interface.
_TABLES: Final = ("late_cost_per_day", "task_minutes", "traffic", "undone_cost_per_day", "task_skills")
#: Settings that come first, since owners think of them first.
_FIRST: Final = (
    "target_risk",
    "visit_cost",
    "driving_cost_per_minute",
    "driving_cost_per_km",
    "working_cost_per_minute",
    "overtime_cost_per_hour",
    "visit_interval_weeks",
    "parts_service_level",
)


class PolicyPage(OfficeForms):
    """What time, road, risk and bad water are worth; what a change would do is shown before it is kept."""

    template_name = "scheduling/office/policy.html"
    rights = {"get": ("policy", "retrieve"), "post": ("policy", "preview")}
    actions = {"preview": ("policy", "preview"), "keep": ("policy", "update")}

    def page(self, *, status: int = 200, **context: Any) -> HttpResponse:
        policy = self.found(PolicyViewSet, "retrieve")
        run = self.request.GET.get("run", "")
        preview = self._preview(run) if row_id(run) is not None else None
        tried = preview["changes"] if preview else {}
        filled = self.request.POST
        settings = [
            {
                "name": name,
                "label": name.replace("_", " "),
                "hint": field.help_text,
                "value": filled.get(name, tried.get(name, policy[name])),
                "is_own": name in policy["departures"],
                "is_switch": isinstance(policy[name], bool),
                "is_first": name in _FIRST,
            }
            for name, field in PolicySerializer().fields.items()
            if name not in _TABLES and not field.read_only
        ]
        settings.sort(key=lambda row: _FIRST.index(row["name"]) if row["is_first"] else len(_FIRST))
        return self.show(
            status=status,
            settings=settings,
            currency=policy["currency"],
            preview=preview,
            may_change=self.by.role == Role.OWNER,
            **context,
        )

    def _preview(self, run: str) -> dict[str, Any] | None:
        """What the job that was asked for found; None where it is none of these, or not done."""
        answer = self.ask(JobViewSet, "retrieve", pk=run)
        if not answer.is_good or answer.data["kind"] != "policy_preview" or not answer.data["result"]:
            return None
        result = answer.data["result"]
        rows = [
            {"name": name, "label": gettext(_LABELS[name]), **{way: result[way][name] for way in _WAYS}}
            for name in _MEASURED
        ]
        return {
            "changes": answer.data["parameters"]["changes"],
            "changed": [
                (name.replace("_", " "), value) for name, value in answer.data["parameters"]["changes"].items()
            ],
            "rows": rows,
            "plots": [compared_plot(row["label"], row["present"], row["changed"]) for row in rows[:3]],
            "draws": result["draws"],
        }

    def _changes(self, form: Mapping[str, Any]) -> dict[str, Any]:
        """What was filled in that is not so already; an empty field goes back to the default."""
        policy = self.found(PolicyViewSet, "retrieve")
        changes: dict[str, Any] = {}
        for name, value in policy.items():
            if name in _TABLES or name not in form:
                continue
            sent = _as_sent(str(form[name]).strip(), value)
            if sent != value and not (sent is None and name not in policy["departures"]):
                changes[name] = sent
        return changes

    def do_preview(self, form: Any) -> HttpResponse:
        """Live through the next twelve months under both policies."""
        changes = self._changes(form)
        answer = self.ask(PolicyViewSet, "preview", data=changes)
        return self.then(answer, f"/runs/{answer.data['id']}/" if answer.is_good else "", "")

    def do_keep(self, form: Any) -> HttpResponse:
        """Keep the settings."""
        answer = self.ask(PolicyViewSet, "partial_update", data=self._changes(form), method="PATCH")
        return self.then(answer, "/company/policy/", gettext("Kept. The coming night plans by it."))


_WAYS: Final = ("present", "changed", "difference")
_LABELS: Final[Mapping[str, str]] = {
    "visits": gettext_noop("Visits"),
    "days_at_risk": gettext_noop("Days with bad water, or at risk of it"),
    "money": gettext_noop("Money in all"),
    "visit_money": gettext_noop("Money for visits"),
    "parts_money": gettext_noop("Money for parts"),
    "bad_water_money": gettext_noop("What bad water is counted as"),
    "parts": gettext_noop("Cartridges"),
}


def _as_sent(text: str, present: Any) -> Any:
    """A setting as it was filled in: a number or a switch, or None for the default; what is neither as it is."""
    if isinstance(present, bool):
        return text == "on"
    if not text:
        return None
    try:
        number = float(text.replace(",", "."))
    except ValueError:
        return text
    return int(number) if number.is_integer() and isinstance(present, int) else number


class LimitsPage(OfficeForms):
    """Where the company counts a cartridge as exhausted earlier than usual, use by use."""

    template_name = "scheduling/office/limits.html"
    rights = {"get": ("exhaustion_limits", "list"), "post": ("exhaustion_limits", "create")}
    actions = {"keep": ("exhaustion_limits", "create"), "delete": ("exhaustion_limits", "destroy")}

    def page(self, *, status: int = 200, **context: Any) -> HttpResponse:
        names = _limit_names()
        rows = self.rows(ExhaustionLimitsViewSet)
        for row in rows:
            row["use_words"] = choice_words(Unit.Use, row["use"]) if row["use"] else gettext("every use")
            row["values"] = [_limit(row[name]) for name in names]
        return self.show(
            status=status,
            rows=rows,
            names=[(name, spoken(name)) for name in names],
            usual=[_usual(name, self.by.company.unit_system) for name in names],
            uses=[(use.value, gettext(use.label)) for use in Unit.Use],
            may_change=self.by.role == Role.OWNER,
            **{"filled": {}, **context},
        )

    def do_keep(self, form: Any) -> HttpResponse:
        """Set the limits of a use."""
        use = form.get("use", "")
        values = {name: _limit_sent(form[name].strip()) for name in _limit_names() if form.get(name, "").strip()}
        there = next((row["id"] for row in self.rows(ExhaustionLimitsViewSet) if row["use"] == use), None)
        if there is None:
            answer = self.ask(ExhaustionLimitsViewSet, "create", data={"use": use, **values})
        else:
            answer = self.ask(ExhaustionLimitsViewSet, "partial_update", pk=there, data=values)
        return self.then(answer, "/company/limits/", gettext("Kept."))

    def do_delete(self, form: Any) -> HttpResponse:
        """Go back to the usual limits of a use."""
        answer = self.ask(ExhaustionLimitsViewSet, "destroy", pk=named_row(form, "limits"))
        return self.then(answer, "/company/limits/", gettext("The usual limits hold again."))


def _limit_names() -> list[str]:
    """The limits that may be set, under their public names."""
    own = [name for name in ExhaustionLimitsSerializer.Meta.fields if name not in ("id", "use")]
    return [*(public_name(name) for name in ExhaustionLimitsSerializer.Meta.quantities), *own]


def _usual(name: str, unit_system: str) -> str:
    """What holds where the company says nothing, as `_limit` writes it."""
    kinds = {public_name(column): (column, kind) for column, kind in ExhaustionLimitsSerializer.Meta.quantities.items()}
    column, kind = kinds.get(name, (name, ""))
    value = getattr(HOUSE, column)
    if not kind:
        return _limit(value)
    answer = shown(value, kind, unit_system)
    # 10 psi are 0.69 bar, and nobody means the next digit
    return f"{answer['value']:.2g} {answer['unit']}"


def _limit(value: Any) -> str:
    if value is None:
        return ""
    return f"{value['value']:g} {value['unit']}" if isinstance(value, Mapping) else f"{value:g}"


def _limit_sent(text: str) -> Any:
    """A bare number as one, anything else as the text that it is, such as '3 mg/L'."""
    try:
        return float(text.replace(",", "."))
    except ValueError:
        return text


class ForecastsPage(OfficeForms):
    """How good the forecasts have been: how often what was said to be so sure came true."""

    template_name = "scheduling/office/forecasts.html"
    rights = {"get": ("forecast_score", "list"), "post": ("forecast_score", "create")}
    actions = {"judge": ("forecast_score", "create")}

    def page(self, *, status: int = 200, **context: Any) -> HttpResponse:
        scores = self.rows(ForecastScoreViewSet)
        own = [row for row in scores if row["method"] == ForecastScore.Method.LEARNED and row["observed"]]
        for row in scores:
            row["method_words"] = choice_words(ForecastScore.Method, row["method"])
            row["group_words"] = row["group"] or gettext("all positions")
        whole = next((row for row in own if row["grouping"] == ForecastScore.Grouping.ALL), None)
        return self.show(
            status=status,
            scores=scores,
            whole=whole,
            words=_in_words(whole) if whole else [],
            plot=calibration_plot(whole) if whole else None,
            computed=self.local(whole["computed_at"]) if whole else None,
            **context,
        )

    def do_judge(self, form: Any) -> HttpResponse:
        """Judge the forecasts by the past anew."""
        answer = self.ask(ForecastScoreViewSet, "create", data={})
        return self.then(answer, f"/runs/{answer.data['id']}/" if answer.is_good else "", "")


def _in_words(score: Mapping[str, Any]) -> list[str]:
    """What a score means, for somebody who draws no plots."""
    sentences = []
    for said in (50, 80, 90):
        came = score[f"coverage_{said}"]
        if came is None:
            continue
        words = gettext(
            "Of the spans of dates that were said to be {said} % sure, {came} % held the day on which the cartridge "
            "was exhausted."
        )
        sentence = words.format(said=said, came=round(100 * came))
        if came < said / 100 - 0.05:
            sentence += " " + gettext("The span was too narrow: believe it less than it says.")
        elif came > said / 100 + 0.05:
            sentence += " " + gettext("The span was wider than it had to be.")
        else:
            sentence += " " + gettext("That is as it should be.")
        sentences.append(sentence)
    if score["median_error_days"] is not None:
        words = gettext("Half of the dates were wrong by {days} days or less.")
        sentences.append(words.format(days=round(score["median_error_days"])))
    return sentences


class TrailPage(OfficePage):
    """Who did what, the newest first."""

    template_name = "scheduling/office/trail.html"
    rights = {"get": ("audit_entry", "list")}

    def page(self, *, status: int = 200, **context: Any) -> HttpResponse:
        given = {
            name: self.request.GET[name].strip()
            for name in ("about", "did", "cursor")
            if self.request.GET.get(name, "").strip()
        }
        data = self.found(AuditEntryViewSet, "list", query=given)
        for row in data["results"]:
            row["moment"] = self.local(row["at"])
        return self.show(status=status, rows=data["results"], given=given, next=_query_of(data["next"]), **context)


def _query_of(address: str | None) -> str:
    """The parameters of the interface's next page, for the page's own address."""
    return f"?{address.split('?', 1)[1]}" if address and "?" in address else ""
