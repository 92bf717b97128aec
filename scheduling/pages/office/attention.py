"""What needs attention: matter by matter, with what settles it."""

from collections.abc import Iterator, Mapping
from typing import Any, Final

from django.http import HttpResponse

from accounts.dates import short_day
from accounts.language import gettext
from scheduling.api.attention import AttentionViewSet
from scheduling.api.messages import MessageViewSet
from scheduling.api.visits import VisitViewSet
from scheduling.pages.office.base import OfficeForms
from scheduling.pages.office.filled import named_row
from scheduling.pages.office.plans import published_and_draft, visits_in
from scheduling.pages.office.settling import Control, body_of, call_of, control_for, done_words, draft_control
from scheduling.services.words.attention import TITLES_OF_KINDS, title

_TO_PLAN = "/api/v1/plans/"
#: Matters of one kind on one page.
_MATTERS: Final = 50


class AttentionPage(OfficeForms):
    """The list of what cannot wait, the dearest to leave first."""

    template_name = "scheduling/office/attention.html"
    rights = {"get": ("attention", "retrieve"), "post": ("attention", "retrieve")}
    actions = {"settle": ("attention", "retrieve")}

    def page(self, *, status: int = 200, **context: Any) -> HttpResponse:
        data, pages = self._asked()
        by_kind = [kind for kind in data["by_kind"] if kind["count"]]
        windows, letters = self._windows(by_kind), self._letters(by_kind)
        planned = self._in_the_draft(by_kind)
        for kind in by_kind:
            for matter in kind["matters"]:
                matter["units"] = list(
                    {row["unit_code"]: row["unit"] for row in matter["reasons"] if row["unit"]}.items()
                )
                matter["deeds"] = self._deeds(matter, windows, planned, letters)
        quiet = [kind for kind in data["by_kind"] if not kind["count"]]
        count = sum(kind["count"] for kind in by_kind)
        return self.show(
            status=status,
            by_kind=by_kind,
            quiet=quiet,
            count=count,
            as_of=self.local(data["as_of"]),
            currency=self.by.company.currency,
            pages=pages,
            **context,
        )

    def _asked(self) -> tuple[dict[str, Any], dict[str, Any] | None]:
        """All kinds with the first of their matters; or all of the kind that the address names, page by page."""
        code = self.request.GET.get("kind", "")
        if code not in TITLES_OF_KINDS:
            return self.found(AttentionViewSet, "retrieve"), None
        pages = self.paged(AttentionViewSet, "list_matters", page_size=_MATTERS, given={"kind": code})
        kind = {"kind": code, "title": title(code), "count": pages["count"], "matters": pages["rows"]}
        return {"as_of": self.now.isoformat(), "by_kind": [kind]}, pages

    def _in_the_draft(self, by_kind: list[Any]) -> dict[int, int]:
        """The visits that stand in the draft already, with that plan: to plan them once more settles nothing."""
        if _TO_PLAN not in _paths(by_kind):
            return {}
        _, draft = published_and_draft(self.by)
        return dict.fromkeys(visits_in(self.by, draft["pk"]), draft["pk"]) if draft is not None else {}

    def _deeds(
        self,
        matter: Mapping[str, Any],
        windows: Mapping[int, Any],
        planned: Mapping[int, int],
        letters: Mapping[str, str],
    ) -> list[dict[str, Any]]:
        """What settles a matter: each call once, with the reasons that it settles."""
        deeds: dict[tuple[str, str], dict[str, Any]] = {}
        for reason in matter["reasons"]:
            settle = reason["settle"]
            if (settle["path"], str(settle["body"])) not in deeds:
                deeds[settle["path"], str(settle["body"])] = {
                    "reasons": [],
                    "control": self._control(settle, matter["visit"], windows, planned),
                    "say": letters.get(settle["path"], ""),
                }
            deeds[settle["path"], str(settle["body"])]["reasons"].append(reason)
        return list(deeds.values())

    @staticmethod
    def _control(
        settle: Mapping[str, Any], visit: int | None, windows: Mapping[int, Any], planned: Mapping[int, int]
    ) -> Control:
        plan = planned.get(visit or 0) if settle["path"] == _TO_PLAN else None
        return draft_control(plan) if plan is not None else control_for(settle, windows.get(visit or 0, ()))

    def _windows(self, by_kind: list[Any]) -> dict[int, tuple[tuple[str, str], ...]]:
        """The windows that were offered, of the visits whose answer is to be noted."""
        if not any(path.endswith("/accept/") for path in _paths(by_kind)):
            return {}
        return {row["id"]: tuple(self._offers(row["offers"])) for row in self.rows(VisitViewSet, state="offered")}

    def _offers(self, offers: list[Mapping[str, str]]) -> Iterator[tuple[str, str]]:
        for offer in offers:
            opens, closes = self.local(offer["opens_at"]), self.local(offer["closes_at"])
            if opens is not None and closes is not None:
                yield offer["opens_at"], f"{short_day(opens.date())}, {opens:%H:%M} - {closes:%H:%M}"

    def _letters(self, by_kind: list[Any]) -> dict[str, str]:
        """What is to be said on the telephone, by the address of the call that notes it."""
        if not any(path.endswith("/called/") for path in _paths(by_kind)):
            return {}
        rows = self.rows(MessageViewSet, state="to_call")
        return {f"/api/v1/messages/{row['id']}/called/": row["body"] for row in rows}

    def do_settle(self, form: Any) -> HttpResponse:
        """Make the call that settles a matter."""
        path, method = form.get("path", ""), form.get("method", "")
        if form.get("dismiss"):
            path = path.replace("/confirm/", "/dismiss/")
        call = call_of(path, method)
        body = body_of(form, "note", "opens_at", "email")
        if form.get("day"):
            body["appointment_at"] = self.moment_of(form)
        answer = self.ask(call.viewset, call.action, pk=call.pk, data=body)
        address, said = f"/attention/#{form.get('kind', '')}", done_words(path)
        if form.get("plan"):
            # pressed beside the week, where the next step is
            address = f"/week/?plan={named_row(form, 'plan')}"
        if answer.is_good and call.action in ("create", "replan") and path.startswith("/api/v1/plans/"):
            plan = answer.data.get("id") if call.action == "replan" else None
            said = gettext("Look at the rounds, then publish and offer them.")
            address = f"/week/?plan={plan}" if plan else f"/runs/{answer.data['id']}/"
        if answer.is_good and call.action == "draft":
            address = "/orders/"
        return self.then(answer, address, said)


def _paths(by_kind: list[Any]) -> Iterator[str]:
    rows = (reason for kind in by_kind for matter in kind["matters"] for reason in matter["reasons"])
    return (reason["settle"]["path"] for reason in rows)
