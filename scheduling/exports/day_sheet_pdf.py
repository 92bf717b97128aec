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

from accounts.language import gettext
from scheduling.exports import words
from scheduling.models import Need, Plan, Visit
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
            flow.append(self._text(words.letters_lost(letters), self.small))
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
            canvas.drawRightString(A4[0] - 16 * mm, 9 * mm, words.page(document.page))

        return draw

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
        rows += [
            [f"{one['code']} {one['name']}", *(str(one[key]) for key in ("quantity", "aboard", "to_load", "missing"))]
            for one in self.sheet.load
        ]
        return [self._text(gettext(words.VAN_LOAD), self.label), self._table(rows, [90, 22, 22, 22, 22])]

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
        flow += self._labelled(words.LOCKED, [stop["lock_reason"]])
        flow += self._labelled(
            words.TO_DO,
            [
                words.task(
                    task["unit_code"],
                    task["what"],
                    task["item_code"] or "",
                    task["minutes"],
                    is_done=task["state"] != Need.State.OPEN,
                    # what somebody asked for is told in their own words
                    reason=task["reason"] if task["source"] == Need.Source.PERSON else "",
                )
                for task in stop["tasks"]
            ],
        )
        flow += self._labelled(words.PARTS, [f"{p['quantity']} x {p['code']} {p['name']}" for p in stop["parts"]])
        flow += self._labelled(words.TAKE_CARE, stop["cautions"])
        for unit in stop["units"]:
            flow += self._unit(unit)
        return flow

    def _unit(self, unit: dict[str, Any]) -> list[Flowable]:
        names = dict.fromkeys(part for part in (unit["name"], unit["use"]) if part)
        flow = [self._text(words.unit_title(unit["code"], ", ".join(names)), self.label)]
        train = "; ".join(
            words.in_position(
                p["order"],
                p["place"],
                p["item_code"] or "",
                p["serial_or_lot"],
                self._local(p["placed_at"]).date() if p["placed_at"] else None,
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
        when = words.read_on(self._local(unit["read_at"]).date() if unit["read_at"] else None)
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

    def _local(self, moment: datetime) -> datetime:
        return moment.astimezone(self.zone)


def _shown(value: dict[str, Any]) -> str:
    return f"{value['value']:g} {value['unit']}".strip()


def _limits(expected: dict[str, Any] | None) -> str:
    if expected is None:
        return ""
    low, high = expected["low"], expected["high"]
    if high is None:
        return words.between(_shown(low) if low is not None else "", "")
    return words.between(f"{low['value']:g}" if low is not None else "", _shown(high))
