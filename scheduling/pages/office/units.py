"""Units: the list, and one unit with everything its client sees and the evidence behind it."""

from collections.abc import Iterator, Mapping, Sequence
from typing import Any, Final

from django.http import HttpResponse

from accounts.api.clients import ClientViewSet
from accounts.language import gettext
from fleet.api.findings import FindingViewSet
from fleet.api.forecasts import ForecastViewSet
from fleet.api.placements import PlacementViewSet
from fleet.api.readings import ReadingViewSet
from fleet.api.sites import SiteViewSet
from fleet.api.units import UnitViewSet
from fleet.engineering.positions import position_name
from fleet.intake.names import spoken
from fleet.models import Finding, Placement, Site, Unit
from fleet.pages.train import train_of
from scheduling.api.costs import CostViewSet
from scheduling.api.needs import NeedViewSet
from scheduling.api.visits import VisitViewSet
from scheduling.models import Need, Visit
from scheduling.pages.my_water.unit_facts import plot_of_unit
from scheduling.pages.office.base import OfficeForms, OfficePage, choice_words
from scheduling.pages.office.filled import named_row
from scheduling.pages.office.said import said_by_client
from scheduling.pages.office.week import state_words

#: Readings that are shown at once; the newest come first.
SHOWN_READINGS: Final = 40
#: What is asked for in the form of a reading, in the order of the water; whatever else was read is entered as a log.
ENTERED: Final = (
    "inlet_pressure",
    "temperature",
    "feed_tds",
    "permeate_tds",
    "interstage_tds",
    "product_tds",
    "permeate_flow",
    "concentrate_flow",
    "feed_total_chlorine",
    "carbon_outlet_total_chlorine",
)


class UnitsPage(OfficePage):
    """The units, page by page, by words of their code, their site or their client."""

    template_name = "scheduling/office/units.html"
    rights = {"get": ("unit", "update")}

    def page(self, *, status: int = 200, **context: Any) -> HttpResponse:
        listed = self.listed(UnitViewSet, "search", "use", "ordering")
        sites = Site.objects.visible_to(self.by).filter(pk__in={row["site"] for row in listed["rows"]})
        by_id = {site.pk: site for site in sites.select_related("client")}
        for row in listed["rows"]:
            row["at"] = by_id.get(row["site"])
            row["use_words"] = choice_words(Unit.Use, row["use"])
        return self.show(
            status=status, list=listed, uses=[(use.value, gettext(use.label)) for use in Unit.Use], **context
        )


class UnitPage(OfficeForms):
    """One unit."""

    template_name = "scheduling/office/unit.html"
    rights = {"get": ("unit", "update"), "post": ("unit", "update")}
    actions = {
        "confirm": ("finding", "confirm"),
        "dismiss": ("finding", "dismiss"),
        "read": ("unit", "add_reading"),
        "void_reading": ("reading", "void"),
        "correct_placement": ("placement", "correct"),
        "void_placement": ("placement", "void"),
        "need": ("need", "create"),
    }

    def page(self, *, status: int = 200, pk: int, **context: Any) -> HttpResponse:
        unit = self.found(UnitViewSet, "retrieve", pk=pk)
        site = self.found(SiteViewSet, "retrieve", pk=unit["site"])
        client = self.found(ClientViewSet, "retrieve", pk=site["client"]) if site["client"] else None
        train = [self._position(position) for position in unit["positions"]]
        left_out = _left_out(train)
        costs = self.ask(CostViewSet, "report", query={"unit": unit["code"], "sized": "true"})
        needs = self.rows(NeedViewSet, unit=pk, state="open")
        for need in needs:
            need["kind_words"] = choice_words(Need.Kind, need["kind"])
        findings = self.rows(FindingViewSet, unit=pk, ordering="-last_seen_at", page_size=30)
        for finding in findings:
            finding["percent"] = round(100 * finding["confidence"])
        visits = self.rows(VisitViewSet, site=unit["site"], page_size=20, ordering="-created_at")
        for visit in visits:
            visit["words"], visit["at"] = state_words(visit["state"]), self.local(visit["appointment_at"])
        return self.show(
            status=status,
            unit=unit,
            use_words=choice_words(Unit.Use, unit["use"]),
            site=site,
            client=client,
            water=self.found(UnitViewSet, "status", pk=pk),
            # what is open first: the newest of those that are over would hide that nothing is
            findings=sorted(findings, key=lambda finding: finding["state"] not in Finding.LIVE),
            open_count=sum(finding["state"] in Finding.LIVE for finding in findings),
            train=train,
            left_out=left_out,
            picture=train_of(unit["positions"], time_zone=str(site["time_zone"]), for_client=False),
            plot=plot_of_unit(self, unit),
            readings=self._readings(pk, left_out),
            entered=_fields(self.request.POST),
            placements=list(self._placements(pk, train)),
            costs=(costs.data["rows"] or [None])[0] if costs.is_good else None,
            currency=self.by.company.currency,
            needs=needs,
            visits=[
                {**visit, "said": said_by_client(self, visit["id"])} for visit in visits if visit["state"] in Visit.LIVE
            ],
            kinds=[(kind.value, gettext(kind.label)) for kind in Need.Kind],
            **{"filled": {}, **context},
        )

    def _position(self, position: dict[str, Any]) -> dict[str, Any]:
        """A position with what stands in it, what is left of it and how its date has moved."""
        forecast = position["forecast"]
        change = None
        if forecast is not None:
            change = self.found(ForecastViewSet, "change", pk=forecast["id"])
            forecast["percent_left"] = (
                round(100 * forecast["remaining_share"]) if forecast["remaining_share"] is not None else None
            )
            forecast["left_out_count"] = len((forecast["evidence"] or {}).get("left_out") or [])
        return {**position, "name": position_name(position["stage"], position["role"]), "change": change}

    def _readings(self, pk: int, left_out: Mapping[int, list[str]]) -> list[dict[str, Any]]:
        answer = self.found(ReadingViewSet, "list", query={"unit": pk, "page_size": SHOWN_READINGS})
        return [
            {
                **row,
                "at": self.local(row["taken_at"]),
                "values": [
                    f"{spoken(name)} {sent['value']} {sent['unit']}".strip() for name, sent in row["as_sent"].items()
                ],
                "left_out": left_out.get(row["id"], []),
                "counts": not (row["voided_at"] or row["corrected_by"]),
            }
            for row in answer["results"]
        ]

    def _placements(self, pk: int, train: Sequence[Mapping[str, Any]]) -> Iterator[dict[str, Any]]:
        """What stood where, those taken back and corrected too, the newest first."""
        names = {position["id"]: position["name"] for position in train}
        in_force = self.rows(PlacementViewSet, position__unit=pk, ordering="-placed_at")
        taken_back = self.rows(PlacementViewSet, position__unit=pk, ordering="-placed_at", voided="true")
        known = {row["id"] for row in in_force}
        for row in sorted(
            [*in_force, *(row for row in taken_back if row["id"] not in known)],
            key=lambda row: str(row["placed_at"]),
            reverse=True,
        ):
            yield {
                **row,
                "place": names.get(row["position"], ""),
                "placed": self.local(row["placed_at"]),
                "removed": self.local(row["removed_at"]),
                "removal_words": choice_words(Placement.Removal, row["removal"]) if row["removal"] else "",
            }

    # what is done here

    def do_confirm(self, form: Any, pk: int) -> HttpResponse:
        """Say that a finding is true."""
        return self._decide("confirm", form, gettext("The finding is confirmed."), pk)

    def do_dismiss(self, form: Any, pk: int) -> HttpResponse:
        """Say that a finding is not true."""
        return self._decide("dismiss", form, gettext("The finding is dismissed."), pk)

    def _decide(self, action: str, form: Any, said: str, pk: int) -> HttpResponse:
        answer = self.ask(FindingViewSet, action, pk=named_row(form, "finding"), data={"note": form.get("note", "")})
        return self.then(answer, f"/units/{pk}/#findings", said, pk=pk)

    def do_read(self, form: Any, pk: int) -> HttpResponse:
        """Store a reading."""
        body: dict[str, Any] = {}
        if form.get("day"):
            body["taken_at"] = self.moment_of(form) if form.get("hour") else form["day"]
        for name in ENTERED:
            number = form.get(name, "").strip().replace(",", ".")
            if number:
                body[name] = f"{number} {form.get(f'{name}_unit', '')}".strip()
        if form.get("note", "").strip():
            body["note"] = form["note"].strip()
        answer = self.ask(UnitViewSet, "add_reading", pk=pk, data=body)
        return self.then(answer, f"/units/{pk}/#readings", gettext("The reading is stored."), pk=pk)

    def do_void_reading(self, form: Any, pk: int) -> HttpResponse:
        """Take a reading back."""
        body = {"reason": form.get("reason", "")}
        answer = self.ask(ReadingViewSet, "void", pk=named_row(form, "reading"), data=body)
        return self.then(answer, f"/units/{pk}/#readings", gettext("The reading is taken back."), pk=pk)

    def do_correct_placement(self, form: Any, pk: int) -> HttpResponse:
        """Say what was entered wrongly of a cartridge."""
        names = ("placed_at", "removed_at", "removal", "serial_or_lot")
        body = {name: form[name] for name in names if form.get(name, "").strip()}
        body["reason"] = form.get("reason", "")
        answer = self.ask(PlacementViewSet, "correct", pk=named_row(form, "placement"), data=body)
        return self.then(answer, f"/units/{pk}/#placements", gettext("The entry is corrected."), pk=pk)

    def do_void_placement(self, form: Any, pk: int) -> HttpResponse:
        """Take back a cartridge that never was there."""
        body = {"reason": form.get("reason", "")}
        answer = self.ask(PlacementViewSet, "void", pk=named_row(form, "placement"), data=body)
        return self.then(answer, f"/units/{pk}/#placements", gettext("The entry is taken back."), pk=pk)

    def do_need(self, form: Any, pk: int) -> HttpResponse:
        """Ask for something to be done at the unit."""
        body = {"unit": pk, "kind": form.get("kind", ""), "reason": form.get("reason", "")}
        answer = self.ask(NeedViewSet, "create", data=body)
        return self.then(answer, f"/units/{pk}/#needs", gettext("It is noted, and put into a visit."), pk=pk)


def _left_out(train: Sequence[Mapping[str, Any]]) -> dict[int, list[str]]:
    """Of each reading, which of its values no forecast rests on, and why."""
    found: dict[int, list[str]] = {}
    for position in train:
        evidence = (position["forecast"] or {}).get("evidence") or {}
        for row in evidence.get("left_out") or []:
            sentences = found.setdefault(row["reading"], [])
            if row["sentence"] not in sentences:
                sentences.append(row["sentence"])
    return found


def _fields(filled: Mapping[str, Any]) -> list[dict[str, Any]]:
    """The fields of the form of a reading, with what was filled in."""
    return [
        {
            "name": name,
            "label": spoken(name),
            "value": filled.get(name, ""),
            "unit": filled.get(f"{name}_unit", ""),
            "units": _UNITS[name],
        }
        for name in ENTERED
    ]


_PRESSURES: Final = ("bar", "psi", "kPa")
_FLOWS: Final = ("L/day", "gpd", "mL/min")
_UNITS: Final[Mapping[str, Sequence[str]]] = {
    name: _PRESSURES
    if name.endswith("pressure")
    else _FLOWS
    if name.endswith("flow")
    else ("degC", "degF")
    if name == "temperature"
    else ("mg/L",)
    if name.endswith("chlorine")
    else ("ppm", "uS/cm", "mg/L")
    for name in ENTERED
}
