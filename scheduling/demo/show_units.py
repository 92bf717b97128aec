"""What is wrong or soon will be, kind by kind as `attention/` answers it, and why, in sentences."""

from collections import defaultdict
from collections.abc import Iterator, Sequence
from datetime import date, datetime, timedelta
from typing import Final

from django.db.models import Max

from accounts.language import gettext
from accounts.models import Company
from fleet.engineering.diagnosis import TITLES
from fleet.models import Finding, Forecast, Reading, Unit
from scheduling.demo import words
from scheduling.demo.screen import Screen
from scheduling.models import Need
from scheduling.services.attention import EXPLAINS_ONLY, SOON, UNREAD, needs_attention
from scheduling.services.matters import Kind, Reason

LATER: Final = timedelta(days=42)
LONG_UNREAD: Final = timedelta(days=180)
#: Kinds of matter at units; those about visits, orders and calls come with the rounds.
_AT_UNITS: Final = ("bad_water", "bad_water_soon", "endangers_membrane", "faults")


def show_units(screen: Screen, company: Company, as_of: date, now: datetime) -> None:
    """Print what needs attention at units: kinds with their numbers, dearest to leave first, each unit in full once."""
    kinds = {kind.code: kind for kind in needs_attention(company=company, now=now)}
    last_read = _last_read(company)
    shown = _Shown(screen, company, as_of, last_read)
    screen.heading(words.needs_attention(Unit.objects.of_company(company).count()))
    screen.line(_in_numbers(company, as_of))
    for code in _AT_UNITS:
        shown.show_kind(kinds[code])
    shown.show_long_unread()
    _show_unread(screen, company, last_read, as_of, shown.units)


class _Shown:
    """Units in the order in which something of them is to be told; what is told of each, once."""

    def __init__(self, screen: Screen, company: Company, as_of: date, last_read: dict[int, date]) -> None:
        self.screen, self.company, self.as_of, self.last_read = screen, company, as_of, last_read
        self.units: set[int] = set()
        self.findings: dict[int, list[Finding]] = defaultdict(list)
        live = Finding.objects.of_company(company).filter(state__in=Finding.LIVE).exclude(cause__in=EXPLAINS_ONLY)
        for finding in live.select_related("unit__site").order_by("-confidence", "pk"):
            if finding.cause not in UNREAD or self._is_long_unread(finding):
                self.findings[finding.unit_id].append(finding)
        self.forecasts: dict[int, list[Forecast]] = defaultdict(list)
        latest = Forecast.objects.of_company(company).filter(is_latest=True).select_related("position")
        for forecast in latest.order_by("position__order"):
            due = forecast.p50 is not None and forecast.p50 <= as_of + SOON
            if forecast.state == Forecast.State.EXHAUSTED or due:
                self.forecasts[forecast.position.unit_id].append(forecast)
        needs = Need.objects.of_company(company).filter(state=Need.State.OPEN, is_urgent=True)
        self.urgent = set(needs.values_list("unit_id", flat=True))

    def _is_long_unread(self, finding: Finding) -> bool:
        last = self.last_read.get(finding.unit_id)
        return last is None or self.as_of - last >= LONG_UNREAD

    def show_kind(self, kind: Kind) -> None:
        """The matters of a kind, dearest to leave first."""
        by_unit: dict[Unit, list[Reason]] = defaultdict(list)
        for reason in (reason for matter in kind.matters for reason in matter.reasons):
            if reason.unit is not None:
                by_unit[reason.unit].append(reason)
        self.screen.heading(words.kind_of_matter(kind.title, len(kind.matters), len(by_unit)))
        again = []
        for unit, reasons in by_unit.items():
            if unit.pk in self.units:
                again.append(unit.code)
            else:
                self._show_unit(unit, reasons)
        if again:
            self.screen.subheading(words.shown_above(again))

    def show_long_unread(self) -> None:
        """Units that nobody has read for half a year and of which nothing else was shown."""
        for unit_id, findings in self.findings.items():
            if unit_id not in self.units and findings[0].cause in UNREAD:
                self._show_unit(findings[0].unit, ())

    def _show_unit(self, unit: Unit, reasons: Sequence[Reason]) -> None:
        self.units.add(unit.pk)
        screen, site = self.screen, unit.site
        screen.subheading(
            words.unit_at(unit.code, unit.name, site.name, site.address, is_urgent=unit.pk in self.urgent)
        )
        cost_of_waiting = sum(reason.cost_of_waiting or 0.0 for reason in reasons)
        if cost_of_waiting:
            screen.line(words.waiting_costs(cost_of_waiting, self.company.currency), indent=2)
        if not self.findings[unit.pk] and not self.forecasts[unit.pk]:
            for reason in reasons:
                screen.line(f"- {_ended(reason.sentence)}", indent=2)
        for finding in self.findings[unit.pk]:
            for indent, sentence in _of_finding(finding, self.last_read.get(unit.pk), self.as_of):
                screen.line(sentence, indent=indent)
        for forecast in self.forecasts[unit.pk]:
            if forecast.installer_sentence:
                screen.line(f"- {_ended(forecast.installer_sentence)}", indent=2)
        if unit.notes:
            screen.line(f"- {words.take_care_at_unit(unit.notes)}", indent=2)


def _in_numbers(company: Company, as_of: date) -> str:
    """How many cartridges are exhausted, due soon, due later."""
    latest = Forecast.objects.of_company(company).filter(is_latest=True)
    exhausted = latest.filter(state=Forecast.State.EXHAUSTED).count()
    unexhausted = latest.exclude(state=Forecast.State.EXHAUSTED)
    soon = unexhausted.filter(p50__lte=as_of + SOON).count()
    later = unexhausted.filter(p50__gt=as_of + SOON, p50__lte=as_of + LATER).count()
    return words.cartridges_in_numbers(latest.count(), exhausted, soon, SOON.days, later, LATER.days)


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
