"""A day sheet to print.

Letters come from the font named by the setting `PDF_FONT`, else from DejaVu Sans where the system has it (Latin,
Greek, Cyrillic and more), else from the Vera that comes with the PDF library (Latin only). A letter the font lacks is
printed without its marks where that gives one it has, and as `?` where not; the sheet then says so in its last line.
Scripts that join letters or run from right to left are set letter by letter.
"""

import io
import unicodedata
from collections.abc import Iterable, Sequence
from datetime import datetime
from functools import lru_cache
from pathlib import Path
from typing import Any
from xml.sax.saxutils import escape
from zoneinfo import ZoneInfo

import reportlab
from django.conf import settings
from reportlab.lib import colors
from reportlab.lib.pagesizes import A4
from reportlab.lib.styles import ParagraphStyle
from reportlab.lib.units import mm
from reportlab.pdfbase import pdfmetrics
from reportlab.pdfbase.ttfonts import TTFError, TTFont
from reportlab.platypus import (
    CondPageBreak,
    Flowable,
    HRFlowable,
    Paragraph,
    SimpleDocTemplate,
    Spacer,
    Table,
    TableStyle,
)

from scheduling.models import Need
from scheduling.services.rounds.day_sheets import DaySheet

MEDIA_TYPE = "application/pdf"

_BUNDLED = Path(reportlab.__file__).parent / "fonts"
_SYSTEM = Path("/usr/share/fonts/truetype/dejavu")
_PAIRS = (
    (_SYSTEM / "DejaVuSans.ttf", _SYSTEM / "DejaVuSans-Bold.ttf"),
    (_BUNDLED / "Vera.ttf", _BUNDLED / "VeraBd.ttf"),
)
# A word longer than a line breaks anywhere; nothing on a sheet needs more than this.
_LONGEST = 2_000


def day_sheet_pdf(sheet: DaySheet) -> bytes:
    """Write a sheet as a PDF."""
    return _Sheet(sheet).write()


@lru_cache(maxsize=4)
def _fonts(chosen_path: str) -> tuple[str, str, frozenset[int]]:
    """Names of the regular and the bold font, and the letters both have."""
    pairs = [(Path(chosen_path), Path(chosen_path)), *_PAIRS] if chosen_path else list(_PAIRS)
    for number, (regular, bold) in enumerate(pairs):
        try:
            faces = [TTFont(f"sheet-{chosen_path}-{number}-{k}", str(path)) for k, path in enumerate((regular, bold))]
        except (TTFError, OSError):
            continue
        for face in faces:
            pdfmetrics.registerFont(face)
        shared_letters = frozenset.intersection(*(frozenset(face.face.charToGlyph) for face in faces))
        return faces[0].fontName, faces[1].fontName, shared_letters
    raise RuntimeError("The PDF library has lost its own fonts; install it again.")


class _Sheet:
    def __init__(self, sheet: DaySheet) -> None:
        self.sheet, self.zone = sheet, ZoneInfo(sheet.zone)
        regular, bold, self.letters = _fonts(settings.PDF_FONT)
        self.bold = bold
        base = {"fontName": regular, "fontSize": 9, "leading": 12, "splitLongWords": 1}
        self.plain = ParagraphStyle("plain", **base)
        self.item = ParagraphStyle("item", parent=self.plain, leftIndent=10, bulletIndent=2, bulletFontName=regular)
        self.small = ParagraphStyle("small", parent=self.plain, fontSize=8, leading=10)
        self.cell = ParagraphStyle("cell", parent=self.small)
        self.heading = ParagraphStyle("heading", parent=self.plain, fontName=bold, fontSize=14, leading=18)
        self.stop = ParagraphStyle("stop", parent=self.plain, fontName=bold, fontSize=11, leading=14, spaceBefore=4)
        self.label = ParagraphStyle("label", parent=self.plain, fontName=bold, spaceBefore=4)
        self.lost: set[str] = set()

    def write(self) -> bytes:
        day, flow = self.sheet.round, [*self._head(), *self._van()]
        for stop in self.sheet.stops:
            flow += self._stop(stop)
        if self.lost:
            letters = ", ".join(f"U+{ord(c):04X}" for c in sorted(self.lost)[:12])
            note = f"? or a plain letter stands for letters that the font of this sheet lacks: {letters}."
            flow.append(self._text(note, self.small))
        out = io.BytesIO()
        title = self._clean(f"{day.installer.name}, {day.day.isoformat()}")
        SimpleDocTemplate(
            out,
            pagesize=A4,
            leftMargin=16 * mm,
            rightMargin=16 * mm,
            topMargin=14 * mm,
            bottomMargin=16 * mm,
            title=title,
            author="RO fleet",
            # the same sheet is the same file to the byte
            invariant=1,
        ).build(flow, onFirstPage=self._foot(title), onLaterPages=self._foot(title))
        return out.getvalue()

    def _foot(self, title: str) -> Any:
        def draw(canvas: Any, document: Any) -> None:
            canvas.setFont(self.plain.fontName, 8)
            canvas.drawString(16 * mm, 9 * mm, title[:90])
            canvas.drawRightString(A4[0] - 16 * mm, 9 * mm, f"page {document.page}")

        return draw

    def _head(self) -> list[Flowable]:
        day = self.sheet.round
        eaten = day.lunch_on_the_way
        lunch = f", lunch at {self._clock(eaten)}" if eaten is not None else ""
        van = f", {day.installer.van}" if day.installer.van else ""
        draft = "" if day.plan.state == "published" else " This plan is not published and may change."
        return [
            self._text(f"{day.day:%A} {day.day.day} {day.day:%B %Y}: {day.installer.name}{van}", self.heading),
            self._text(
                f"Leave at {self._clock(day.leaves_at)}, back at {self._clock(day.returns_at)}{lunch}; "
                f"{len(self.sheet.stops)} stops, {day.driving_km:.0f} km, {day.driving_minutes:.0f} minutes at the "
                f"wheel. Times are those of {self.sheet.zone}.{draft}",
                self.plain,
            ),
        ]

    def _van(self) -> list[Flowable]:
        if not self.sheet.load:
            return []
        rows = [["", "take along", "aboard", "load", "missing"]]
        rows += [
            [f"{one['code']} {one['name']}", *(str(one[key]) for key in ("quantity", "aboard", "to_load", "missing"))]
            for one in self.sheet.load
        ]
        return [self._text("The van's load", self.label), self._table(rows, [90, 22, 22, 22, 22])]

    def _stop(self, stop: dict[str, Any]) -> list[Flowable]:
        marks = [
            *(["urgent"] if stop["is_urgent"] else []),
            *([f"agreed for {self._clock(stop['appointment_at'])}"] if stop["appointment_at"] else []),
            *([stop["state"].replace("_", " ")] if stop["state"] not in ("proposed", "confirmed", "offered") else []),
        ]
        mark = f" ({', '.join(marks)})" if marks else ""
        hours = ", ".join(stop["hours"]) or "not on this day: ask first"
        flow: list[Flowable] = [
            Spacer(1, 6),
            CondPageBreak(45 * mm),
            HRFlowable(width="100%", color=colors.grey),
            self._text(
                f"{stop['order']}. {self._clock(stop['starts_at'])} to {self._clock(stop['leaves_at'])}: "
                f"{stop['site_code']} {stop['site_name']}{mark}",
                self.stop,
            ),
            self._text(
                f"{stop['address'] or 'no address'}; {stop['driving_km']:.0f} km, "
                f"{stop['driving_minutes']:.0f} minutes on the road. Open {hours}.",
                self.plain,
            ),
        ]
        contact = ", ".join(part for part in (stop["client_name"], stop["phone"], stop["email"]) if part)
        flow += self._labelled("Contact", [contact])
        flow += self._labelled("Getting in", [stop["access_notes"]])
        flow += self._labelled("Kept here", [stop["lock_reason"]])
        flow += self._labelled(
            "To do, in order",
            [
                f"{task['unit_code']}: {task['what']}"
                + (f", with {task['item_code']}" if task["item_code"] else "")
                + f" ({task['minutes']} min)"
                + (" - done already" if task["state"] != "open" else "")
                # what somebody asked for is told in their own words
                + (f": {task['reason']}" if task["source"] == Need.Source.PERSON and task["reason"] else "")
                for task in stop["tasks"]
            ],
        )
        flow += self._labelled("Parts", [f"{p['quantity']} x {p['code']} {p['name']}" for p in stop["parts"]])
        flow += self._labelled("Take care", stop["cautions"])
        for unit in stop["units"]:
            flow += self._unit(unit)
        return flow

    def _unit(self, unit: dict[str, Any]) -> list[Flowable]:
        names = dict.fromkeys(part for part in (unit["name"], unit["use"]) if part)
        flow = [self._text(f"Unit {unit['code']}: {', '.join(names)}", self.label)]
        train = "; ".join(
            f"{p['order']} {p['place']}: {p['item_code'] or 'empty'}"
            + (f" {p['serial_or_lot']}" if p["serial_or_lot"] else "")
            + (f" since {p['placed_at'].astimezone(self.zone):%Y-%m-%d}" if p["placed_at"] else "")
            for p in unit["train"]
        )
        flow.append(self._text(train or "no positions", self.small))
        for finding in unit["findings"]:
            sentences = [finding["sentence"] or finding["title"]]
            sentences += [f"Make sure: {finding['make_sure']}"] if finding["make_sure"] else []
            sentences += [f"Do: {finding['do']}"] if finding["do"] else []
            flow.append(self._text("Open finding: " + " ".join(sentences), self.item, bullet="!"))
        last = {row["quantity"]: row for row in unit["last_readings"]}
        expected = {row["quantity"]: row for row in unit["expected_readings"]}
        if not last and not expected:
            flow.append(self._text("Never read yet.", self.small))
            return flow
        when = f"read {unit['read_at'].astimezone(self.zone):%Y-%m-%d}" if unit["read_at"] else "read last"
        rows = [["", when, "expect after the work", "before", "after"]]
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

    def _labelled(self, label: str, lines: Sequence[str]) -> list[Flowable]:
        filled_lines = [line for line in lines if line]
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

    def _text(self, text: str, style: ParagraphStyle, *, bullet: str | None = None, head: int = 0) -> Paragraph:
        clean = self._clean(text)
        markup = escape(clean)
        if head:
            markup = f'<font name="{self.bold}">{escape(clean[:head])}</font>{escape(clean[head:])}'
        return Paragraph(markup.replace("\n", "<br/>"), style, bulletText=bullet)

    def _clean(self, text: str) -> str:
        """The text in letters the font has."""
        if len(text) > _LONGEST:
            text = text[:_LONGEST] + "..."
        return "".join(self._letters(text.replace("\r\n", "\n").replace("\t", " ")))

    def _letters(self, text: str) -> Iterable[str]:
        for letter in text:
            if letter == "\n" or (ord(letter) in self.letters and letter.isprintable()):
                yield letter
                continue
            if unicodedata.category(letter) in ("Cc", "Cf", "Mn"):
                continue
            plain = "".join(c for c in unicodedata.normalize("NFKD", letter) if ord(c) in self.letters)
            if not plain.strip():
                plain = " " if letter.isspace() else "?"
            if not letter.isspace():
                self.lost.add(letter)
            yield plain

    def _clock(self, moment: datetime) -> str:
        return f"{moment.astimezone(self.zone):%H:%M}"


def _shown(value: dict[str, Any]) -> str:
    return f"{value['value']:g} {value['unit']}".strip()


def _limits(expected: dict[str, Any] | None) -> str:
    if expected is None:
        return ""
    low, high = expected["low"], expected["high"]
    if low is not None and high is not None:
        return f"{low['value']:g} to {_shown(high)}"
    return f"at most {_shown(high)}" if high is not None else f"at least {_shown(low)}" if low is not None else ""
