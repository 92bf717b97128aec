"""A day sheet to print."""

from collections.abc import Sequence
from datetime import datetime
from typing import Any, Final
from zoneinfo import ZoneInfo

from reportlab.lib import colors
from reportlab.lib.styles import ParagraphStyle
from reportlab.lib.units import mm
from reportlab.platypus import (
    CondPageBreak,
    Flowable,
    HRFlowable,
    Spacer,
    Table,
    TableStyle,
)

from accounts.day_alone import local_day
from accounts.language import gettext
from scheduling.exports import words
from scheduling.exports.pdf_pages import MEDIA_TYPE, Pages
from scheduling.models import Need, Plan, Visit
from scheduling.services.rounds.day_sheets import DaySheet

__all__ = ["MEDIA_TYPE", "day_sheet_pdf"]


def day_sheet_pdf(sheet: DaySheet) -> bytes:
    """Write a sheet as a PDF."""
    return _Sheet(sheet).write()


_LOAD_NUMBERS: Final = ("quantity", "aboard", "reserved_elsewhere", "to_load", "missing")


class TickBox(Flowable):
    """A square to tick; what is done already is crossed."""

    def __init__(self, *, is_ticked: bool) -> None:
        super().__init__()
        self.is_ticked, self.width, self.height = is_ticked, 8.0, 8.0

    def draw(self) -> None:
        """Draw the square on the page."""
        self.canv.rect(0, 0, 8, 8)
        if self.is_ticked:
            self.canv.line(1, 1, 7, 7)
            self.canv.line(1, 7, 7, 1)


class _Sheet(Pages):
    def __init__(self, sheet: DaySheet) -> None:
        super().__init__()
        self.sheet, self.zone = sheet, ZoneInfo(sheet.zone)
        self.stop = ParagraphStyle(
            "stop", parent=self.plain, fontName=self.bold, fontSize=11, leading=14, spaceBefore=4
        )

    def write(self) -> bytes:
        day, flow = self.sheet.round, [*self._head(), *self._van()]
        for stop in self.sheet.stops:
            flow += self._stop(stop)
        return self.build(flow, f"{day.installer.name}, {day.day.isoformat()}")

    def _head(self) -> list[Flowable]:
        day = self.sheet.round
        lunch = day.lunch_on_the_way
        summary = words.whole_round(
            leaves=self._local(day.leaves_at),
            returns=self._local(day.returns_at),
            lunch=self._local(lunch) if lunch is not None else None,
            stops=len(self.sheet.stops),
            km=day.driving_km,
            minutes=day.driving_minutes,
            zone=self.sheet.zone,
        )
        if day.plan.state != Plan.State.PUBLISHED:
            summary = f"{summary} {words.not_published()}"
        return [
            self._text(words.sheet_title(day.day, day.installer.name, day.installer.van), self.heading),
            self._text(summary, self.plain),
        ]

    def _van(self) -> list[Flowable]:
        if not self.sheet.load:
            return []
        rows = [["", *map(gettext, words.LOAD_COLUMNS)]]
        rows += [[f"{one['code']} {one['name']}", *(str(one[key]) for key in _LOAD_NUMBERS)] for one in self.sheet.load]
        return [self._text(gettext(words.VAN_LOAD), self.label), self._table(rows, [73, 21, 21, 21, 21, 21])]

    def _stop(self, stop: dict[str, Any]) -> list[Flowable]:
        state = Visit.State(stop["state"])
        marks = [
            *([gettext(words.URGENT)] if stop["is_urgent"] else []),
            *([words.confirmed_for(self._local(stop["appointment_at"]))] if stop["appointment_at"] else []),
            *([gettext(str(state.label))] if state not in Visit.AHEAD else []),
        ]
        flow: list[Flowable] = [
            Spacer(1, 6),
            CondPageBreak(45 * mm),
            HRFlowable(width="100%", color=colors.grey),
            self._text(
                words.stop_title(
                    stop["order"],
                    self._local(stop["starts_at"]),
                    self._local(stop["leaves_at"]),
                    f"{stop['site_code']} {stop['site_name']}",
                    ", ".join(marks),
                ),
                self.stop,
            ),
            self._text(
                words.way_to_stop(
                    stop["address"], stop["driving_km"], stop["driving_minutes"], ", ".join(stop["hours"])
                ),
                self.plain,
            ),
        ]
        contact = ", ".join(part for part in (stop["client_name"], stop["phone"], stop["email"]) if part)
        flow += self._labelled(words.CONTACT, [contact])
        flow += self._labelled(words.GETTING_IN, [stop["access_notes"]])
        flow += self._labelled(words.WHY, [stop["why"]])
        flow += self._tasks(stop["tasks"])
        flow += self._labelled(words.PARTS, [f"{p['quantity']} x {p['code']} {p['name']}" for p in stop["parts"]])
        flow += self._labelled(words.TAKE_CARE, stop["cautions"])
        for unit in stop["units"]:
            flow += self._unit(unit)
        return [*flow, self._to_fill_in()]

    def _tasks(self, tasks: Sequence[dict[str, Any]]) -> list[Flowable]:
        """What is to be done and why, each with a box to tick."""
        if not tasks:
            return []
        rows = []
        for task in tasks:
            is_done = task["state"] != Need.State.OPEN
            line = words.task(task["unit_code"], task["what"], _items(task), task["minutes"], is_done=is_done)
            why = [self._text(task["why"], self.small)] if task["why"] else []
            rows.append([TickBox(is_ticked=is_done), [self._text(line, self.plain), *why]])
        table = Table(rows, colWidths=[6 * mm, 172 * mm])
        table.setStyle(
            TableStyle(
                [
                    ("VALIGN", (0, 0), (-1, -1), "TOP"),
                    ("TOPPADDING", (0, 0), (-1, -1), 1),
                    ("BOTTOMPADDING", (0, 0), (-1, -1), 1),
                    ("TOPPADDING", (0, 0), (0, -1), 4),
                ]
            )
        )
        return [self._text(gettext(words.TO_DO), self.label), table]

    def _to_fill_in(self) -> Table:
        """Lines for notes, and for who was there."""
        cells = [[self._text(gettext(words.NOTES), self.small), ""], ["", ""], ["", ""]]
        cells.append([self._text(gettext(label), self.small) for label in (words.DONE_AT, words.SIGNED_BY)])
        table = Table(cells, colWidths=[60 * mm, 118 * mm], rowHeights=[12, 16, 16, 22], spaceBefore=6)
        ruled = [("LINEBELOW", (0, row), (-1, row), 0.3, colors.grey) for row in (1, 2, 3)]
        table.setStyle(
            TableStyle([*ruled, ("VALIGN", (0, 0), (-1, -1), "BOTTOM"), ("LEFTPADDING", (0, 0), (-1, -1), 0)])
        )
        return table

    def _unit(self, unit: dict[str, Any]) -> list[Flowable]:
        names = dict.fromkeys(part for part in (unit["name"], unit["use"]) if part)
        flow = [self._text(words.unit_title(unit["code"], ", ".join(names)), self.label)]
        train = "; ".join(
            words.in_position(
                p["order"],
                p["place"],
                p["item_code"] or "",
                p["serial_or_lot"],
                local_day(p["placed_at"], self.zone) if p["placed_at"] else None,
            )
            for p in unit["train"]
        )
        flow.append(self._text(train or gettext(words.NO_POSITIONS), self.small))
        for finding in unit["findings"]:
            sentence = finding["sentence"] or finding["title"]
            text = words.open_finding(sentence, finding["make_sure"], finding["do"])
            flow.append(self._text(text, self.item, bullet="!"))
        last = {row["quantity"]: row for row in unit["last_readings"]}
        expected = {row["quantity"]: row for row in unit["expected_readings"]}
        if not last and not expected:
            flow.append(self._text(gettext(words.NEVER_READ), self.small))
            return flow
        when = words.read_on(local_day(unit["read_at"], self.zone) if unit["read_at"] else None)
        rows = [["", when, *map(gettext, words.READING_COLUMNS)]]
        for name_ in [*expected, *(quantity for quantity in last if quantity not in expected)]:
            row = last.get(name_) or expected[name_]
            rows.append(
                [
                    row["spoken"],
                    _shown(last[name_]["value"]) if name_ in last else "",
                    _limits(expected.get(name_)),
                    "",
                    "",
                ]
            )
        flow.append(self._table(rows, [58, 32, 48, 20, 20]))
        return flow

    def _labelled(self, heading: str, lines: Sequence[str]) -> list[Flowable]:
        filled_lines, label = [line for line in lines if line], gettext(heading)
        if not filled_lines:
            return []
        if len(filled_lines) == 1:
            return [self._text(f"{label}: {filled_lines[0]}", self.plain, head=len(label) + 1)]
        return [self._text(label, self.label), *(self._text(line, self.item, bullet="-") for line in filled_lines)]

    def _table(self, rows: Sequence[Sequence[str]], widths_mm: Sequence[float]) -> Table:
        table = Table(
            [[self._text(text, self.cell) for text in row] for row in rows],
            colWidths=[width * mm for width in widths_mm],
            repeatRows=1,
        )
        table.setStyle(
            TableStyle(
                [
                    ("GRID", (0, 0), (-1, -1), 0.3, colors.grey),
                    ("BACKGROUND", (0, 0), (-1, 0), colors.whitesmoke),
                    ("VALIGN", (0, 0), (-1, -1), "TOP"),
                    ("TOPPADDING", (0, 0), (-1, -1), 1),
                    ("BOTTOMPADDING", (0, 0), (-1, -1), 2),
                ]
            )
        )
        return table

    def _local(self, moment: datetime) -> datetime:
        return moment.astimezone(self.zone)


def _items(task: dict[str, Any]) -> str:
    """What a task takes, with what can stand in for it."""
    item, others = task["item_code"] or "", ", ".join(task["substitutes"])
    return words.item_or(item, others) if others else item


def _shown(value: dict[str, Any]) -> str:
    return f"{value['value']:g} {value['unit']}".strip()


def _limits(expected: dict[str, Any] | None) -> str:
    if expected is None:
        return ""
    low, high = expected["low"], expected["high"]
    if high is None:
        return words.between(_shown(low) if low is not None else "", "")
    return words.between(f"{low['value']:g}" if low is not None else "", _shown(high))
