"""A purchase order as a document: PDF for people, CSV for a program, plain text for a printer."""

import textwrap

from reportlab.lib.units import mm
from reportlab.platypus import Flowable, Spacer, Table

from accounts.csv_rows import MEDIA_TYPE as CSV_MEDIA_TYPE
from accounts.csv_rows import csv_text
from accounts.language import gettext
from scheduling.exports import words
from scheduling.exports.pdf_pages import MEDIA_TYPE as PDF_MEDIA_TYPE
from scheduling.exports.pdf_pages import Pages
from scheduling.models import PurchaseOrder, PurchaseOrderLine
from scheduling.services.people.messages import Document

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
    return csv_text(
        _HEADER,
        (
            [
                order.number,
                number,
                line.supplier_part_number,
                line.item.code,
                line.item.name,
                line.packs,
                line.pack_size,
                line.quantity,
                f"{line.price:.2f}",
                f"{line.cost:.2f}",
                order.company.currency,
                line.expected_on or "",
            ]
            for number, line in enumerate(_lines(order), start=1)
        ),
    )


def order_text(order: PurchaseOrder) -> str:
    """A page to print: who orders what of whom, line by line, with the sum."""
    lines = _lines(order)
    head = ("", *map(gettext, words.ORDER_COLUMNS), words.cost_in(order.company.currency))
    total = sum(line.cost for line in lines)
    rows = [head, *_cells(lines), ("", "", gettext(words.SUM), "", "", "", "", f"{total:.2f}")]
    page = [words.order_title(order.number), "", *_head(order), "", *_table(rows)]
    for line in _foot(order):
        page += ["", *textwrap.wrap(line, _WIDTH)]
    return "\n".join(row.rstrip() for row in page) + "\n"


def order_pdf(order: PurchaseOrder) -> bytes:
    """The order as a PDF: head, where to deliver, its lines and the sum."""
    return _OrderPages(order).write()


def order_documents(order: PurchaseOrder) -> list[Document]:
    """What goes to the supplier: the PDF for people, the CSV for their program."""
    return [
        Document(f"order-{order.number}.pdf", PDF_MEDIA_TYPE, order_pdf(order)),
        Document(f"order-{order.number}.csv", CSV_MEDIA_TYPE, order_csv(order).encode()),
    ]


class _OrderPages(Pages):
    def __init__(self, order: PurchaseOrder) -> None:
        super().__init__()
        self.order = order

    def write(self) -> bytes:
        title = words.order_title(self.order.number)
        flow: list[Flowable] = [self._text(title, self.heading)]
        flow += [self._text(line, self.plain) for line in _head(self.order)]
        flow += [Spacer(1, 4 * mm), self._table()]
        flow += [self._text(line, self.plain) for line in _foot(self.order)]
        return self.build(flow, f"{title}, {self.order.company.name}")

    def _table(self) -> Table:
        lines = _lines(self.order)
        head = ["", *map(gettext, words.ORDER_COLUMNS), words.cost_in(self.order.company.currency)]
        total = sum(line.cost for line in lines)
        sums = [("", "", gettext(words.SUM), "", "", "", "", f"{total:.2f}")]
        return self.priced_table(head, _cells(lines), sums, widths_mm=[8, 32, 58, 14, 14, 14, 18, 20])


def _head(order: PurchaseOrder) -> list[str]:
    """Who orders what of whom, on which terms, and where to deliver."""
    supplier, company = order.supplier, order.company
    head = words.order_head(company.name, supplier.name, order.placed_on, order.updated_at.date())
    if order.state == PurchaseOrder.State.CANCELLED:
        head.append(gettext(words.CANCELLED))
    if supplier.customer_number:
        head.append(words.our_customer_number(supplier.customer_number))
    if order.supplier_reference:
        head.append(words.your_reference(order.supplier_reference))
    address = supplier.ship_to or company.address
    if address.strip():
        head.append(words.deliver_to(_one_line(address)))
    return head


def _foot(order: PurchaseOrder) -> list[str]:
    """When it should come, and the remark."""
    foot = []
    expected = sorted({line.expected_on for line in order.lines.all() if line.expected_on is not None})
    if expected:
        foot.append(words.expected_on(expected))
    if order.note.strip():
        foot.append(_one_line(order.note))
    return foot


def _cells(lines: list[PurchaseOrderLine]) -> list[tuple[str, ...]]:
    """The columns of each line, as printed."""
    return [
        (
            str(number),
            line.supplier_part_number or line.item.code,
            _one_line(line.item.name),
            str(line.packs),
            str(line.pack_size),
            str(line.quantity),
            f"{line.price:.2f}",
            f"{line.cost:.2f}",
        )
        for number, line in enumerate(lines, start=1)
    ]


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
