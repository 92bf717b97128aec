"""The page of a unit as documents: its readings as CSV, all of it as PDF."""

from collections.abc import Mapping, Sequence
from datetime import date
from typing import Any, Final

from reportlab.lib.units import mm
from reportlab.platypus import Flowable, Spacer

from accounts.csv_rows import csv_text
from accounts.dates import calendar_day, long_day
from accounts.language import gettext
from fleet.intake.names import READING_COLUMNS, spoken
from fleet.pages.days import day_of
from fleet.pages.plot import QUANTITIES
from scheduling.exports.pdf_pages import Pages
from scheduling.pages.my_water.unit_facts import ExpectedChange, UnitFacts

_MOST_ROWS: Final = 60


def readings_csv(readings: Sequence[Mapping[str, Any]]) -> str:
    """One row a reading, newest first; each quantity that was ever read is a column with its unit in the header."""
    units = {
        name: value["unit"]
        for name in READING_COLUMNS
        for value in (row.get(name) for row in readings)
        if isinstance(value, Mapping)
    }
    head = ["taken at", "person", "source", *(f"{spoken(name)} [{unit}]" for name, unit in units.items())]
    rows = [
        [row["taken_at"], row["person"], row["source"], *(_number(row.get(name)) for name in units)] for row in readings
    ]
    return csv_text(head, rows)


def water_pdf(facts: UnitFacts) -> bytes:
    """What the page says, on paper."""
    return _WaterPages(facts).write()


def verdict(water: str) -> str:
    """Whether the water is good, in a few words."""
    match water:
        case "good":
            return gettext("Your water is good.")
        case "not_good":
            return gettext("Your water is not good.")
    return gettext("It is not known whether your water is good.")


def expected_words(change: ExpectedChange) -> str:
    """When a cartridge is expected to be changed: a band of days."""
    if change.is_now:
        return gettext("due now")
    if change.middle is None:
        return gettext("no date yet")
    if change.is_one_day or change.first is None or change.last is None:
        return gettext("around {day}").format(day=calendar_day(change.middle))
    return gettext("between {first} and {last}, most likely around {middle}").format(
        first=calendar_day(change.first), last=calendar_day(change.last), middle=calendar_day(change.middle)
    )


class _WaterPages(Pages):
    def __init__(self, facts: UnitFacts) -> None:
        super().__init__()
        self.facts = facts

    def write(self) -> bytes:
        facts = self.facts
        title = gettext("Water of {unit}, {site}").format(unit=facts.unit["code"], site=facts.site["name"])
        flow: list[Flowable] = [
            self._text(title, self.heading),
            self._text(f"{facts.company['name']}, {long_day(facts.today, year=True)}", self.plain),
            *self._part(gettext("Is the water good now?"), [verdict(facts.status["water"]), *self._status()]),
            *self._part(gettext("What happens next"), self._next() or [gettext("No visit is planned.")]),
            *self._part(
                gettext("What is expected to be changed"),
                [f"{change.name}: {expected_words(change)}" for change in facts.changes],
            ),
            *self._part(gettext("What is left"), [f"{vessel.name}: {vessel.words}" for vessel in facts.train.vessels]),
            *self._part(gettext("What was done"), self._done()),
            *self._part(gettext("Readings"), self._readings()),
            *self._part(gettext("Take care"), list(facts.status["cautions"])),
        ]
        return self.build(flow, title)

    def _part(self, title: str, lines: Sequence[str]) -> list[Flowable]:
        if not lines:
            return []
        return [Spacer(1, 3 * mm), self._text(title, self.label), *(self._text(line, self.plain) for line in lines)]

    def _status(self) -> list[str]:
        status, read_on = self.facts.status, self.facts.read_on
        read = [gettext("Read on {day}.").format(day=long_day(read_on, year=True))] if read_on is not None else []
        asked = [status["please_read"]] if status["please_read"] else []
        return [status["sentence"], *read, *status["findings"], *asked]

    def _next(self) -> list[str]:
        return [
            line
            for visit in self.facts.visits
            for line in (visit["client_sentence"], visit["client_work"], *(text for _, text in visit["windows"]))
            if line
        ]

    def _done(self) -> list[str]:
        return [f"{_day(work.day)}: {line}" for work in self.facts.work for line in work.lines]

    def _readings(self) -> list[str]:
        rows = self.facts.readings[:_MOST_ROWS]
        return [line for row in rows if (line := _reading_line(row, self.facts.zone))]


def _reading_line(row: Mapping[str, Any], zone: str) -> str:
    values = [
        f"{gettext(title)} {row[name]['value']:g} {row[name]['unit']}"
        for name, title in QUANTITIES
        if row.get(name) is not None
    ]
    return f"{_day(day_of(row['taken_at'], zone))}: {', '.join(values)}" if values else ""


def _day(day: date | None) -> str:
    return calendar_day(day) if day is not None else ""


def _number(value: Any) -> Any:
    return value["value"] if isinstance(value, Mapping) else ("" if value is None else value)
