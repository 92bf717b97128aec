"""Pages of a PDF: fonts, styles, text in letters the font has, and the foot of every page.

Letters come from the font named by the setting `PDF_FONT`, else from DejaVu Sans where the system has it (Latin,
Greek, Cyrillic and more), else from the Vera that comes with the PDF library (Latin only). A letter the font lacks is
printed without its marks where that gives one it has, and as `?` where not; the document then says so in its last line.
Scripts that join letters or run from right to left are set letter by letter.
"""

import io
import unicodedata
from collections.abc import Iterable, Sequence
from functools import lru_cache
from pathlib import Path
from typing import Any
from xml.sax.saxutils import escape

import reportlab
from django.conf import settings
from reportlab.lib import colors
from reportlab.lib.enums import TA_RIGHT
from reportlab.lib.pagesizes import A4
from reportlab.lib.styles import ParagraphStyle
from reportlab.lib.units import mm
from reportlab.pdfbase import pdfmetrics
from reportlab.pdfbase.ttfonts import TTFError, TTFont
from reportlab.platypus import Flowable, Paragraph, SimpleDocTemplate, Table, TableStyle

from scheduling.exports import words

MEDIA_TYPE = "application/pdf"

_BUNDLED = Path(reportlab.__file__).parent / "fonts"
_SYSTEM = Path("/usr/share/fonts/truetype/dejavu")
_PAIRS = (
    (_SYSTEM / "DejaVuSans.ttf", _SYSTEM / "DejaVuSans-Bold.ttf"),
    (_BUNDLED / "Vera.ttf", _BUNDLED / "VeraBd.ttf"),
)
# A word longer than a line breaks anywhere; nothing on a page needs more than this.
_LONGEST = 2_000


@lru_cache(maxsize=4)
def fonts(chosen_path: str) -> tuple[str, str, frozenset[int]]:
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


class Pages:
    """What every printed document is set with."""

    def __init__(self) -> None:
        regular, bold, self.letters = fonts(settings.PDF_FONT)
        self.bold = bold
        base = {"fontName": regular, "fontSize": 9, "leading": 12, "splitLongWords": 1}
        self.plain = ParagraphStyle("plain", **base)
        self.item = ParagraphStyle("item", parent=self.plain, leftIndent=10, bulletIndent=2, bulletFontName=regular)
        self.small = ParagraphStyle("small", parent=self.plain, fontSize=8, leading=10)
        self.cell = ParagraphStyle("cell", parent=self.small)
        self.heading = ParagraphStyle("heading", parent=self.plain, fontName=bold, fontSize=14, leading=18)
        self.label = ParagraphStyle("label", parent=self.plain, fontName=bold, spaceBefore=4)
        self.number = ParagraphStyle("number", parent=self.cell, alignment=TA_RIGHT)
        self.sum = ParagraphStyle("sum", parent=self.number, fontName=bold)
        self.lost: set[str] = set()

    def priced_table(
        self,
        head: Sequence[str],
        rows: Iterable[Sequence[str]],
        sums: Sequence[Sequence[str]],
        *,
        widths_mm: Sequence[int],
    ) -> Table:
        """Lines with their money under a heading that comes again on every page, and the sums below them.

        The first three columns hold texts and stand to the left, the others numbers to the right.
        """
        table = [[self._text(text, self.label if k < 3 else self.number) for k, text in enumerate(head)]]
        table += [[self._text(text, self.cell if k < 3 else self.number) for k, text in enumerate(row)] for row in rows]
        table += [[self._text(text, self.sum) for text in row] for row in sums]
        flowable = Table(table, colWidths=[width * mm for width in widths_mm], repeatRows=1)
        flowable.setStyle(
            TableStyle(
                [
                    ("LINEBELOW", (0, 0), (-1, 0), 0.6, colors.black),
                    ("LINEABOVE", (0, -len(sums)), (-1, -len(sums)), 0.6, colors.black),
                    ("VALIGN", (0, 0), (-1, -1), "TOP"),
                    ("LEFTPADDING", (0, 0), (-1, -1), 2),
                    ("RIGHTPADDING", (0, 0), (-1, -1), 2),
                ]
            )
        )
        return flowable

    def build(self, flow: list[Flowable], title: str) -> bytes:
        """The document of what flows over its pages, with its title at the foot of each."""
        if self.lost:
            letters = ", ".join(f"U+{ord(c):04X}" for c in sorted(self.lost)[:12])
            flow.append(self._text(words.letters_lost(letters), self.small))
        out = io.BytesIO()
        title = self._clean(title)
        SimpleDocTemplate(
            out,
            pagesize=A4,
            leftMargin=16 * mm,
            rightMargin=16 * mm,
            topMargin=14 * mm,
            bottomMargin=16 * mm,
            title=title,
            author="RO fleet",
            # the same document is the same file to the byte
            invariant=1,
        ).build(flow, onFirstPage=self._foot(title), onLaterPages=self._foot(title))
        return out.getvalue()

    def _foot(self, title: str) -> Any:
        def draw(canvas: Any, document: Any) -> None:
            canvas.setFont(self.plain.fontName, 8)
            canvas.drawString(16 * mm, 9 * mm, title[:90])
            canvas.drawRightString(A4[0] - 16 * mm, 9 * mm, words.page(document.page))

        return draw

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
