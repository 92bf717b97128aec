"""Invoices, credit notes and proposals as documents: PDF for people, CSV for a program."""

from collections.abc import Sequence
from dataclasses import dataclass
from functools import singledispatch
from typing import Any

from reportlab.lib.units import mm
from reportlab.platypus import Flowable, PageBreak, Spacer

from accounts.csv_rows import csv_text
from accounts.language import gettext
from scheduling.exports import invoice_words as words
from scheduling.exports.pdf_pages import Pages
from scheduling.models import Invoice
from scheduling.planning.money.document import Totals, total_of
from scheduling.services.money.proposals import Proposal

_HEADER = (
    "document",
    "client",
    "row",
    "day",
    "site",
    "unit",
    "what",
    "quantity",
    "measure",
    "price",
    "tax rate",
    "tax rate [%]",
    "net",
    "tax",
    "gross",
    "currency",
    "free because",
)


@dataclass(frozen=True, slots=True)
class Printed:
    """A document as it is written.

    Attributes
    ----------
    number
        Year and number; empty of a proposal.
    title, head, foot
        What stands above and below its lines.
    """

    number: str
    client: str
    title: str
    head: tuple[str, ...]
    foot: tuple[str, ...]
    lines: Sequence[Any]
    totals: Totals
    currency: str


@singledispatch
def as_printed(document: Any) -> Printed:
    """What is printed of an invoice, a credit note or a proposal."""
    raise TypeError(f"{type(document).__name__} is no invoice")


@as_printed.register
def _(document: Proposal) -> Printed:
    company = document.company
    return Printed(
        number="",
        client=document.bill_to_name,
        title=words.proposal_title(document.bill_to_name),
        head=(
            *words.from_seller(company.name, company.address, company.tax_number),
            words.to_client(document.bill_to_name, document.bill_to_address),
            words.supplied(document.first_day, document.last_day),
        ),
        foot=(*map(words.still_missing, document.missing), *document.remarks),
        lines=document.lines,
        totals=document.totals,
        currency=document.currency,
    )


@as_printed.register
def _(document: Invoice) -> Printed:
    note = getattr(document, "cancelled_by", None)
    cancelled = document.cancels
    lines = list(document.lines.all())
    return Printed(
        number=document.full_number,
        client=document.bill_to_name,
        title=words.credit_note_title(document.full_number, cancelled.full_number)
        if cancelled is not None
        else words.invoice_title(document.full_number),
        head=(
            *([words.cancelled_by(note.full_number)] if note is not None else []),
            *words.from_seller(document.seller_name, document.seller_address, document.seller_tax_number),
            words.to_client(document.bill_to_name, document.bill_to_address),
            words.issued_on(document.issued_on),
            words.supplied(document.first_day, document.last_day),
        ),
        foot=(words.because(document.reason),) if document.reason else (),
        lines=lines,
        totals=total_of(lines),
        currency=document.currency,
    )


def invoice_csv(documents: Sequence[Printed]) -> str:
    """One row a line, then one a rate of tax and one for the total, of each document; a full stop in every number."""
    return csv_text(_HEADER, (row for document in documents for row in _rows(document)))


def invoice_pdf(documents: Sequence[Printed]) -> bytes:
    """Each document on pages of its own: head, lines, tax by rate and total."""
    return _InvoicePages().write(documents)


def _rows(document: Printed) -> list[list[Any]]:
    head = [document.number or "proposal", document.client]
    rows: list[list[Any]] = [
        [
            *head,
            "line",
            line.day,
            line.site_name,
            line.unit_code,
            line.label,
            _quantity(line.quantity),
            line.measure,
            f"{line.price:.2f}",
            line.vat,
            f"{line.vat_percent:.2f}",
            f"{line.net:.2f}",
            "",
            "",
            document.currency,
            line.free_because,
        ]
        for line in document.lines
    ]
    for rate in document.totals.by_rate:
        money = [f"{amount:.2f}" for amount in (rate.percent, rate.net, rate.tax)]
        rows.append([*head, "tax", *[""] * 7, rate.vat, *money, "", document.currency, ""])
    totals = document.totals
    money = [f"{amount:.2f}" for amount in (totals.net, totals.tax, totals.gross)]
    rows.append([*head, "total", *[""] * 9, *money, document.currency, ""])
    return rows


class _InvoicePages(Pages):
    def write(self, documents: Sequence[Printed]) -> bytes:
        flow: list[Flowable] = []
        for document in documents:
            flow += [PageBreak()] if flow else []
            flow += self._document(document)
        if not documents:
            return self.build([self._text(words.nothing_proposed(), self.plain)], words.nothing_proposed())
        return self.build(flow, documents[0].title if len(documents) == 1 else "")

    def _document(self, document: Printed) -> list[Flowable]:
        head = [*map(gettext, words.COLUMNS), words.amount_in(document.currency)]
        cells = [
            (
                line.day.isoformat(),
                " ".join(filter(None, [line.site_name, line.unit_code])),
                words.what(line.label, line.free_because),
                _quantity(line.quantity),
                words.measure(line.measure),
                f"{line.price:.2f}",
                f"{_quantity(line.vat_percent)} %",
                f"{line.net:.2f}",
            )
            for line in document.lines
        ]
        totals = document.totals
        sums = [
            (gettext(words.NET), totals.net),
            *((words.tax_of_rate(rate.percent, rate.net), rate.tax) for rate in totals.by_rate if rate.percent),
            (words.to_pay(document.currency), totals.gross),
        ]
        rows = [("", "", text, "", "", "", "", f"{amount:.2f}") for text, amount in sums]
        return [
            self._text(document.title, self.heading),
            *(self._text(line, self.plain) for line in document.head),
            Spacer(1, 4 * mm),
            self.priced_table(head, cells, rows, widths_mm=[20, 36, 54, 16, 10, 16, 12, 18]),
            Spacer(1, 4 * mm),
            *(self._text(line, self.plain) for line in document.foot),
        ]


def _quantity(number: Any) -> str:
    """A number without the zeros behind it: '2', '0.5833'."""
    text = f"{number:f}"
    return text.rstrip("0").rstrip(".") if "." in text else text
