"""A purchase order as a document: CSV for a program, plain text for the printer or an e-mail."""

import csv
import io
import textwrap

from accounts.language import gettext
from scheduling.exports import words
from scheduling.models import PurchaseOrder, PurchaseOrderLine

CSV_MEDIA_TYPE = "text/csv"
TEXT_MEDIA_TYPE = "text/plain"
_WIDTH = 100
_HEADER = (
    "order",
    "line",
    "supplier part number",
    "our code",
    "name",
    "packs",
    "pieces in a pack",
    "pieces",
    "price of a piece",
    "cost",
    "currency",
    "expected on",
)


def order_csv(order: PurchaseOrder) -> str:
    """One row a line, under a header, with a full stop in every number."""
    stream = io.StringIO()
    writer = csv.writer(stream, lineterminator="\r\n")
    writer.writerow(_HEADER)
    for number, line in enumerate(_lines(order), start=1):
        writer.writerow(
            [
                order.number,
                number,
                _as_text(line.supplier_part_number),
                _as_text(line.item.code),
                _as_text(line.item.name),
                line.packs,
                line.pack_size,
                line.quantity,
                f"{line.price:.2f}",
                f"{line.cost:.2f}",
                order.company.currency,
                line.expected_on or "",
            ]
        )
    return stream.getvalue()


def order_text(order: PurchaseOrder) -> str:
    """A page to print: who orders what of whom, line by line, with the sum."""
    supplier, company = order.supplier, order.company
    page = [
        words.order_title(order.number),
        "",
        *words.order_head(company.name, supplier.name, order.placed_on, order.updated_at.date()),
    ]
    if order.state == PurchaseOrder.State.CANCELLED:
        page.append(gettext(words.CANCELLED))
    if order.supplier_reference:
        page.append(words.your_reference(order.supplier_reference))
    page.append("")
    rows: list[tuple[str, ...]] = [("", *map(gettext, words.ORDER_COLUMNS), words.cost_in(company.currency))]
    lines = _lines(order)
    for number, line in enumerate(lines, start=1):
        article = line.supplier_part_number or line.item.code
        cost = f"{line.cost:.2f}"
        rows.append(
            (
                str(number),
                article,
                _one_line(line.item.name),
                str(line.packs),
                str(line.pack_size),
                str(line.quantity),
                f"{line.price:.2f}",
                cost,
            )
        )
    total = sum(line.cost for line in lines)
    rows.append(("", "", gettext(words.SUM), "", "", "", "", f"{total:.2f}"))
    page += _table(rows)
    expected = sorted({line.expected_on for line in lines if line.expected_on is not None})
    if expected:
        page += ["", words.expected_on(expected)]
    if order.note.strip():
        page += ["", *textwrap.wrap(_one_line(order.note), _WIDTH)]
    return "\n".join(row.rstrip() for row in page) + "\n"


def _lines(order: PurchaseOrder) -> list[PurchaseOrderLine]:
    return sorted(order.lines.all(), key=lambda line: line.item.code)


def _table(rows: list[tuple[str, ...]]) -> list[str]:
    """Columns side by side; the first three to the left, numbers to the right, a long name folded."""
    widths = [max(len(row[k]) for row in rows) for k in range(len(rows[0]))]
    other_width = sum(widths) - widths[2] + 2 * (len(widths) - 1)
    widths[2] = max(20, min(widths[2], _WIDTH - other_width))
    out = []
    for row in rows:
        folded = textwrap.wrap(row[2], widths[2]) or [""]
        for number, part in enumerate(folded):
            cells = [*row[:2], part, *row[3:]] if number == 0 else ["", "", part, *[""] * (len(row) - 3)]
            out.append(
                "  ".join(
                    c.ljust(w) if k < 3 else c.rjust(w) for k, (c, w) in enumerate(zip(cells, widths, strict=True))
                )
            )
    return out


def _one_line(text: str) -> str:
    return " ".join(text.split())


def _as_text(cell: str) -> str:
    """A cell that no spreadsheet takes for a formula."""
    return f"'{cell}" if cell[:1] in {"=", "+", "-", "@", "\t", "\r"} else cell
