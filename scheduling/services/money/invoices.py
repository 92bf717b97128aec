"""Invoices that are issued: numbered without a gap, never changed, cancelled by a credit note."""

from collections.abc import Sequence
from datetime import date, datetime
from typing import Any

from django.db import transaction
from django.db.models import Max

from accounts.errors import Conflict, InvalidInput
from accounts.models import Client, Company, Membership
from accounts.services import record
from accounts.services.companies import lock_company
from scheduling.models import Invoice, InvoicedWork, InvoiceLine, ServiceRecord
from scheduling.services.money.proposals import Proposal, propose_month, propose_record


def issue_invoice(
    *,
    company: Company,
    by: Membership,
    now: datetime,
    client: Client | None = None,
    month: date | None = None,
    service_record: ServiceRecord | None = None,
    version: str = "",
    bill_to: str = "",
) -> Invoice:
    """Issue what is proposed for a client and month, or for one report of work.

    Parameters
    ----------
    client, month
        Whose work of which month; any day of it.
    service_record
        Instead of both: one report of work.
    version
        Mark of the proposal as it was read; empty: whatever is proposed now.
    bill_to
        Address that it is made out to; empty: that of the first site on it.

    Raises
    ------
    InvalidInput
        When neither or both are given.
    Conflict
        When there is nothing to invoice, a price or a rate is missing, or the proposal is another by now.
    """
    by_month = client is not None and month is not None
    if by_month == (service_record is not None) or (service_record is not None and (client or month)):
        raise InvalidInput(
            "which_work",
            "Give client and month, or service_record alone.",
            pointer="/service_record" if by_month else "",
        )
    with transaction.atomic():
        lock_company(company.pk)
        if service_record is not None:
            proposal = propose_record(service_record=service_record, now=now)
        else:
            assert month is not None
            proposal = next(iter(propose_month(company=company, month=month, client=client, now=now)), None)
        return _write(_issuable(proposal, version), by=by, bill_to=bill_to, now=now)


def cancel_invoice(*, invoice: Invoice, by: Membership, reason: str, now: datetime) -> Invoice:
    """Cancel an invoice by a credit note over the same amounts; its work can then be invoiced again.

    Returns
    -------
    The credit note.

    Raises
    ------
    Conflict
        When it is a credit note, or was cancelled already.
    """
    with transaction.atomic():
        lock_company(invoice.company_id)
        row: Invoice = Invoice.objects.select_related("company").get(pk=invoice.pk)
        if row.kind != Invoice.Kind.INVOICE:
            raise Conflict("not_an_invoice", f"{row.full_number} is a credit note; only an invoice is cancelled.")
        earlier = Invoice.objects.filter(cancels=row).first()
        if earlier is not None:
            raise Conflict(
                "cancelled_already", f"Invoice {row.full_number} was cancelled by credit note {earlier.full_number}."
            )
        kept = ("first_day", "last_day", "currency", "bill_to_name", "bill_to_address")
        note = _numbered(
            row.company,
            now,
            client_id=row.client_id,
            kind=Invoice.Kind.CREDIT_NOTE,
            issued_by=by,
            cancels=row,
            reason=reason,
            net=-row.net,
            tax=-row.tax,
            gross=-row.gross,
            **{name: getattr(row, name) for name in kept},
        )
        lines = list(row.lines.order_by("order"))
        for line in lines:
            line.pk, line.invoice, line.quantity, line.net = None, note, -line.quantity, -line.net
        InvoiceLine.objects.bulk_create(lines)
        row.work.all().delete()
        details = {"reason": reason, "credit_note": note.full_number}
        record(by=by, action="cancel invoice", subject=row, details=details, now=now)
    return note


def _issuable(proposal: Proposal | None, version: str) -> Proposal:
    if proposal is None:
        raise Conflict(
            "nothing_to_invoice",
            "There is nothing to invoice here: no work was reported, or all of it stands on an invoice already.",
        )
    if proposal.missing:
        raise Conflict("prices_missing", " ".join(proposal.missing))
    if version and version != proposal.version:
        raise Conflict(
            "proposal_changed",
            "The proposal is another by now: a report, a price or a contract has changed. Read it again, and send its "
            "version.",
            pointer="/version",
        )
    return proposal


def _write(proposal: Proposal, *, by: Membership, bill_to: str, now: datetime) -> Invoice:
    totals = proposal.totals
    invoice = _numbered(
        proposal.company,
        now,
        client_id=proposal.client.pk,
        kind=Invoice.Kind.INVOICE,
        issued_by=by,
        first_day=proposal.first_day,
        last_day=proposal.last_day,
        currency=proposal.currency,
        bill_to_name=proposal.bill_to_name,
        bill_to_address=bill_to.strip() or proposal.bill_to_address,
        net=totals.net,
        tax=totals.tax,
        gross=totals.gross,
    )
    InvoiceLine.objects.bulk_create(_line_rows(invoice, proposal.lines))
    InvoicedWork.objects.bulk_create(
        [
            *(InvoicedWork(invoice=invoice, service_record_id=pk) for pk in proposal.records),
            *(InvoicedWork(invoice=invoice, contract_id=pk, period_first_day=day) for pk, day in proposal.periods),
        ]
    )
    record(
        by=by,
        action="issue invoice",
        subject=invoice,
        details={"gross": str(totals.gross), "service_records": list(proposal.records)},
        now=now,
    )
    return invoice


def _line_rows(invoice: Invoice, lines: Sequence[Any]) -> list[InvoiceLine]:
    columns = [
        field.name for field in InvoiceLine._meta.concrete_fields if field.name not in ("id", "invoice", "order")
    ]
    return [
        InvoiceLine(invoice=invoice, order=order, **{name: getattr(line, name) for name in columns})
        for order, line in enumerate(lines, start=1)
    ]


def _numbered(company: Company, now: datetime, **facts: Any) -> Invoice:
    """Write a document under the next number of the year; the caller holds the company's lock, so none is left out."""
    today = company.day_at(now)
    last = Invoice.objects.of_company(company).filter(year=today.year).aggregate(last=Max("number"))["last"] or 0
    invoice: Invoice = Invoice.objects.create(
        company=company,
        year=today.year,
        number=last + 1,
        issued_on=today,
        issued_at=now,
        seller_name=company.name,
        seller_address=company.address,
        seller_tax_number=company.tax_number,
        **facts,
    )
    return invoice
