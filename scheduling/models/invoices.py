"""Invoices as they were issued, and the credit notes that cancel them: rows that are never changed."""

from typing import Any, ClassVar

from django.db import models
from django.db.models import Q

from accounts.models import Client, Company, Membership
from accounts.tenancy import TenantModel
from scheduling.models.covers import ServiceContract
from scheduling.models.prices import Vat
from scheduling.models.visits import ServiceRecord


class Invoice(TenantModel):
    """A numbered document to a client, with all that stood on it when it was issued.

    Numbers count up in a company and a year without a gap, credit notes among them. A row is written once; an invoice
    that was wrong is cancelled by a credit note, a row of its own that names it.
    """

    CLIENT_PATH = "client_id"

    class Kind(models.TextChoices):
        INVOICE = "invoice", "invoice"
        CREDIT_NOTE = "credit_note", "credit note"

    company = models.ForeignKey(Company, on_delete=models.CASCADE, related_name="invoices")
    client = models.ForeignKey(Client, on_delete=models.RESTRICT, related_name="invoices")
    kind = models.CharField(max_length=11, choices=Kind, default=Kind.INVOICE, help_text="which kind of document")
    year = models.PositiveSmallIntegerField(help_text="year in which it was issued")
    number = models.PositiveIntegerField(help_text="counted up in the year, from 1, without a gap")
    issued_on = models.DateField(help_text="its date, on the calendar of the office")
    issued_at = models.DateTimeField(help_text="when it was issued")
    issued_by = models.ForeignKey(
        Membership,
        on_delete=models.SET_NULL,
        null=True,
        blank=True,
        related_name="+",
        help_text="id of the membership that issued it; null when it is gone",
    )
    first_day = models.DateField(help_text="first day of what it is for")
    last_day = models.DateField(help_text="last day of what it is for")
    currency = models.CharField(max_length=3)
    seller_name = models.CharField(max_length=120, help_text="name of the company then")
    seller_address = models.CharField(max_length=300, blank=True, help_text="address of the company then")
    seller_tax_number = models.CharField(max_length=40, blank=True, help_text="tax number of the company then")
    bill_to_name = models.CharField(max_length=120, help_text="whom it is made out to")
    bill_to_address = models.CharField(max_length=400, blank=True, help_text="address it is made out to")
    net = models.DecimalField(max_digits=14, decimal_places=2, help_text="sum of its lines")
    tax = models.DecimalField(max_digits=14, decimal_places=2, help_text="sum of the tax of all rates")
    gross = models.DecimalField(max_digits=14, decimal_places=2, help_text="net and tax together")
    cancels = models.OneToOneField(
        "self",
        on_delete=models.RESTRICT,
        null=True,
        blank=True,
        related_name="cancelled_by",
        help_text="of a credit note: id of the invoice that it cancels",
    )
    reason = models.CharField(max_length=300, blank=True, help_text="of a credit note: why")

    class Meta:
        ordering: ClassVar = ["-year", "-number", "pk"]
        constraints: ClassVar = [
            models.UniqueConstraint(fields=["company", "year", "number"], name="one_invoice_of_a_number"),
            models.CheckConstraint(
                condition=Q(kind="invoice", cancels=None) | (Q(kind="credit_note") & ~Q(reason="")),
                name="only_a_credit_note_cancels_for_a_reason",
            ),
        ]

    @property
    def full_number(self) -> str:
        """Year and number, as it is printed: '2026-0007'."""
        return f"{self.year}-{self.number:04d}"

    @property
    def spoken_name(self) -> str:
        """What people call it."""
        return self.full_number

    def __str__(self) -> str:
        return self.full_number

    def save(self, *args: Any, **kwargs: Any) -> None:
        """Write the row; one that is written already is never changed."""
        if not self._state.adding:
            raise TypeError("an invoice is never changed; cancel it by a credit note")
        super().save(*args, **kwargs)


class InvoiceLine(TenantModel):
    """One line of an invoice."""

    TENANT_PATH = "invoice__company_id"
    CLIENT_PATH = "invoice__client_id"

    class Kind(models.TextChoices):
        CALL_OUT = "call_out", "coming to the site"
        LABOUR = "labour", "work"
        PART = "part", "pieces used"
        CONTRACT = "contract", "flat price"

    class Measure(models.TextChoices):
        VISIT = "visit", "visit"
        HOUR = "hour", "hour"
        PIECE = "piece", "piece"
        MONTH = "month", "month"
        YEAR = "year", "year"

    invoice = models.ForeignKey(Invoice, on_delete=models.CASCADE, related_name="lines")
    order = models.PositiveSmallIntegerField()
    kind = models.CharField(max_length=8, choices=Kind, help_text="what is asked for")
    day = models.DateField(help_text="day of the work, or first day of the period")
    site_name = models.CharField(max_length=120, blank=True)
    unit_code = models.CharField(max_length=40, blank=True)
    label = models.CharField(max_length=200, help_text="what is asked for, in words")
    quantity = models.DecimalField(max_digits=12, decimal_places=4, help_text="how much, in its measure")
    measure = models.CharField(max_length=5, choices=Measure)
    price = models.DecimalField(max_digits=10, decimal_places=2, help_text="net price of one; 0.00 where it is free")
    net = models.DecimalField(max_digits=14, decimal_places=2, help_text="quantity times price, rounded half up")
    vat = models.CharField(max_length=8, choices=Vat)
    vat_percent = models.DecimalField(max_digits=5, decimal_places=2, help_text="the rate, of the net amount")
    free_because = models.CharField(max_length=200, blank=True, help_text="why it is free; empty where it is not")

    class Meta:
        ordering: ClassVar = ["invoice_id", "order", "pk"]
        constraints: ClassVar = [
            models.UniqueConstraint(fields=["invoice", "order"], name="one_line_per_place_in_invoice")
        ]

    def __str__(self) -> str:
        return f"line {self.order} of {self.invoice_id}"


class InvoicedWork(TenantModel):
    """A report of work, or a period of a contract, that stands on an invoice in force: neither is asked for twice.

    Rows go when their invoice is cancelled; then it can be asked for again.
    """

    TENANT_PATH = "invoice__company_id"

    invoice = models.ForeignKey(Invoice, on_delete=models.CASCADE, related_name="work")
    service_record = models.OneToOneField(
        ServiceRecord, on_delete=models.RESTRICT, null=True, blank=True, related_name="invoiced"
    )
    contract = models.ForeignKey(
        ServiceContract, on_delete=models.RESTRICT, null=True, blank=True, related_name="invoiced"
    )
    period_first_day = models.DateField(null=True, blank=True)

    class Meta:
        ordering: ClassVar = ["invoice_id", "pk"]
        verbose_name_plural = "invoiced work"
        constraints: ClassVar = [
            models.UniqueConstraint(fields=["contract", "period_first_day"], name="a_period_is_invoiced_once"),
            models.CheckConstraint(
                condition=Q(service_record__isnull=False, contract=None, period_first_day=None)
                | Q(service_record=None, contract__isnull=False, period_first_day__isnull=False),
                name="invoiced_is_a_report_or_a_period",
            ),
        ]

    def __str__(self) -> str:
        return f"invoiced on {self.invoice_id}"
