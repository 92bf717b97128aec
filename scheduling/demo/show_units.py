"""The units at risk, and why, in sentences."""

from collections.abc import Iterator
from dataclasses import dataclass, field
from datetime import date, timedelta
from typing import Final

from django.db.models import Max

from accounts.language import gettext
from accounts.models import Company
from fleet.engineering.diagnosis import TITLES
from fleet.models import Finding, Forecast, Reading, Unit
from scheduling.demo import words
from scheduling.demo.screen import Screen
from scheduling.models import Need
from scheduling.services.attention import EXPLAINS_ONLY, SOON, UNREAD

LATER: Final = timedelta(days=42)
LONG_UNREAD: Final = timedelta(days=180)


@dataclass
class _AtRisk:
    unit: Unit
    findings: list[Finding] = field(default_factory=list)
    forecasts: list[Forecast] = field(default_factory=list)
    needs: list[Need] = field(default_factory=list)

    @property
    def is_urgent(self) -> bool:
        return any(need.is_urgent for need in self.needs)

    @property
    def weight(self) -> tuple[bool, float, int]:
        surest = max((finding.confidence for finding in self.findings), default=0.0)
        return (not self.is_urgent, -surest, -len(self.forecasts))


def show_units(screen: Screen, company: Company, as_of: date) -> None:
    """Print the units with a finding, an exhausted cartridge or one likely to be exhausted within two weeks."""
    last_read = _last_read(company)
    at_risk = units_at_risk(company, as_of)
    screen.heading(words.units_at_risk(len(at_risk), Unit.objects.of_company(company).count()))
    screen.line(_in_numbers(company, as_of))
    for risk in at_risk:
        unit = risk.unit
        site = unit.site
        title = words.unit_at(unit.code, unit.name, site.name, site.address, is_urgent=risk.is_urgent)
        screen.subheading(title)
        for finding in risk.findings:
            for indent, sentence in _of_finding(finding, last_read.get(unit.pk), as_of):
                screen.line(sentence, indent=indent)
        for forecast in risk.forecasts:
            if forecast.installer_sentence:
                screen.line(f"- {_ended(forecast.installer_sentence)}", indent=2)
        if unit.notes:
            screen.line(f"- {words.take_care_at_unit(unit.notes)}", indent=2)
    _show_unread(screen, company, last_read, as_of, {risk.unit.pk for risk in at_risk})


def _in_numbers(company: Company, as_of: date) -> str:
    """How many cartridges are exhausted, due soon, due later."""
    latest = Forecast.objects.of_company(company).filter(is_latest=True)
    exhausted = latest.filter(state=Forecast.State.EXHAUSTED).count()
    unexhausted = latest.exclude(state=Forecast.State.EXHAUSTED)
    soon = unexhausted.filter(p50__lte=as_of + SOON).count()
    later = unexhausted.filter(p50__gt=as_of + SOON, p50__lte=as_of + LATER).count()
    return words.cartridges_in_numbers(latest.count(), exhausted, soon, SOON.days, later, LATER.days)


def units_at_risk(company: Company, as_of: date) -> list[_AtRisk]:
    """Units with a live finding, a cartridge already exhausted, or even odds of one within two weeks; worst first.

    A finding that only explains a reading puts no unit at risk, nor does a call that is a few weeks late.
    """
    at_risk: dict[int, _AtRisk] = {}
    last_read = _last_read(company)

    def risk_of(unit: Unit) -> _AtRisk:
        return at_risk.setdefault(unit.pk, _AtRisk(unit))

    findings = Finding.objects.of_company(company).filter(state__in=Finding.LIVE).select_related("unit__site")
    for finding in findings.exclude(cause__in=EXPLAINS_ONLY).order_by("-confidence", "pk"):
        last = last_read.get(finding.unit_id)
        if finding.cause in UNREAD and last is not None and as_of - last < LONG_UNREAD:
            continue
        risk_of(finding.unit).findings.append(finding)
    forecasts = Forecast.objects.of_company(company).filter(is_latest=True).select_related("position__unit__site")
    for forecast in forecasts.order_by("position__order"):
        due = forecast.p50 is not None and forecast.p50 <= as_of + SOON
        if forecast.state == Forecast.State.EXHAUSTED or due:
            risk_of(forecast.position.unit).forecasts.append(forecast)
    for need in Need.objects.of_company(company).filter(state=Need.State.OPEN, unit__in=list(at_risk)):
        at_risk[need.unit_id].needs.append(need)
    return sorted(at_risk.values(), key=lambda risk: (risk.weight, risk.unit.code))


def _of_finding(finding: Finding, last_read: date | None, as_of: date) -> Iterator[tuple[int, str]]:
    """What is wrong, how to make sure, what to do and what to mind; each with its indent."""
    sentence = finding.installer_sentence
    if finding.cause in UNREAD:
        since = words.unread_for((as_of - last_read).days if last_read else None)
        sentence = f"{sentence.rstrip('.')}: {since}."
    yield 2, f"- {gettext(TITLES[finding.rule])}: {_ended(sentence)}"
    for worded, text in (
        (words.make_sure, finding.confirming_check),
        (words.do, finding.action),
        (words.take_care, finding.caution),
    ):
        if text:
            yield 6, worded(_ended(text))


def _show_unread(screen: Screen, company: Company, last_read: dict[int, date], as_of: date, shown: set[int]) -> None:
    """The units of which nothing was heard for weeks, in one sentence: a reading by the client saves a call."""
    findings = Finding.objects.of_company(company).filter(state__in=Finding.LIVE, cause__in=UNREAD)
    rows = findings.exclude(unit__in=shown).select_related("unit").order_by("unit__code")
    if not rows:
        return
    screen.subheading(words.ask_for_reading(len(rows)))
    days = [
        words.unread_unit(row.unit.code, (as_of - last_read[row.unit_id]).days)
        if row.unit_id in last_read
        else row.unit.code
        for row in rows
    ]
    screen.line(", ".join(days), indent=2)


def _ended(sentence: str) -> str:
    return sentence if sentence.endswith((".", "!", "?")) else f"{sentence}."


def _last_read(company: Company) -> dict[int, date]:
    measured = Reading.objects.of_company(company).current().measured()
    rows = measured.order_by().values_list("unit_id").annotate(newest=Max("taken_at"))
    return {unit: at.date() for unit, at in rows}
