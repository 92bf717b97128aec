"""Invoices: proposed from reports of work, issued, cancelled by a credit note; as JSON, CSV and PDF."""

from typing import Any

from django.http import HttpResponse
from drf_spectacular.types import OpenApiTypes
from drf_spectacular.utils import extend_schema, extend_schema_field
from rest_framework import serializers
from rest_framework.decorators import action
from rest_framework.renderers import JSONRenderer
from rest_framework.request import Request
from rest_framework.response import Response

from accounts.http.fields import TenantRelatedField
from accounts.http.pagination import WorkedOutPagination
from accounts.http.renderers import CSVRenderer, inline_file
from accounts.http.serializers import AnswerSerializer, StrictSerializer, TenantModelSerializer
from accounts.http.viewsets import CreateMixin, ReadOnlyViewSet
from accounts.models import Client
from scheduling.api.notes import SentSerializer
from scheduling.api.parameters import MonthField, ParametersSerializer
from scheduling.api.renderers import PDFRenderer
from scheduling.exports.invoice_documents import as_printed, invoice_csv, invoice_pdf
from scheduling.exports.order_documents import CSV_MEDIA_TYPE, PDF_MEDIA_TYPE
from scheduling.models import Invoice, InvoiceLine, ServiceRecord, Vat
from scheduling.planning.money.document import total_of
from scheduling.planning.money.periods import month_before
from scheduling.services.money.invoices import cancel_invoice, issue_invoice
from scheduling.services.money.proposals import Proposal, propose_month, propose_record


def _amount(help_text: str, **kwargs: Any) -> serializers.DecimalField:
    return serializers.DecimalField(max_digits=14, decimal_places=2, read_only=True, help_text=help_text, **kwargs)


class TaxOfRateSerializer(AnswerSerializer):
    """The tax on all lines of one rate, rounded half up once."""

    vat = serializers.ChoiceField(choices=Vat.choices, help_text="name of the rate")
    percent = serializers.DecimalField(max_digits=5, decimal_places=2, help_text="the rate, of the net amount")
    net = _amount("net amount of its lines")
    tax = _amount("tax on that amount")


class InvoiceLineSerializer(TenantModelSerializer):
    """One line: what, how much of it, its net price and amount, and why it is free where it is."""

    class Meta:
        model = InvoiceLine
        fields = [
            "order",
            "kind",
            "day",
            "site_name",
            "unit_code",
            "label",
            "quantity",
            "measure",
            "price",
            "net",
            "vat",
            "vat_percent",
            "free_because",
        ]
        read_only_fields = fields


class InvoiceSerializer(TenantModelSerializer):
    """An invoice or a credit note as it was issued."""

    number = serializers.CharField(source="full_number", read_only=True, help_text="year and number, such as 2026-0007")
    cancelled_by = serializers.SerializerMethodField(help_text="id of the credit note that cancels it; null: it holds")
    by_rate = serializers.SerializerMethodField(help_text="net and tax by rate of tax, the highest first")
    lines = InvoiceLineSerializer(many=True, read_only=True)

    class Meta:
        model = Invoice
        fields = [
            "id",
            "kind",
            "number",
            "year",
            "client",
            "issued_on",
            "issued_at",
            "issued_by",
            "first_day",
            "last_day",
            "currency",
            "seller_name",
            "seller_address",
            "seller_tax_number",
            "bill_to_name",
            "bill_to_address",
            "net",
            "tax",
            "gross",
            "by_rate",
            "cancels",
            "cancelled_by",
            "reason",
            "lines",
        ]
        read_only_fields = fields

    @extend_schema_field(serializers.IntegerField(allow_null=True))
    def get_cancelled_by(self, invoice: Invoice) -> int | None:
        note = getattr(invoice, "cancelled_by", None)
        return note.pk if note is not None else None

    @extend_schema_field(TaxOfRateSerializer(many=True))
    def get_by_rate(self, invoice: Invoice) -> Any:
        return TaxOfRateSerializer(total_of(invoice.lines.all()).by_rate, many=True, context=self.context).data


class ProposedLineSerializer(AnswerSerializer):
    """One line of a proposal."""

    kind = serializers.ChoiceField(choices=InvoiceLine.Kind.choices, help_text="what is asked for")
    day = serializers.DateField(help_text="day of the work, or first day of the period")
    site_name = serializers.CharField(help_text="name of the site; empty of a flat price")
    unit_code = serializers.CharField(help_text="code of the unit; empty where it is for the visit as a whole")
    label = serializers.CharField(help_text="what it is called on the invoice")  # type: ignore[assignment]
    quantity = serializers.DecimalField(max_digits=12, decimal_places=4, help_text="how much, in its measure")
    measure = serializers.ChoiceField(choices=InvoiceLine.Measure.choices, help_text="of the quantity")
    price = _amount("net price of one; 0.00 where it is free")
    net = _amount("quantity times price, rounded half up")
    vat = serializers.ChoiceField(choices=Vat.choices, help_text="name of the rate of its tax")
    vat_percent = serializers.DecimalField(max_digits=5, decimal_places=2, help_text="the rate, of the net amount")
    free_because = serializers.CharField(help_text="why it is free; empty where it is not")


class ProposalSerializer(AnswerSerializer):
    """What an invoice would say, for one client."""

    client = serializers.IntegerField(source="client.pk", help_text="id of the client")
    bill_to_name = serializers.CharField(help_text="whom it would be made out to")
    bill_to_address = serializers.CharField(help_text="address of the first site on it; empty where none is known")
    first_day = serializers.DateField(help_text="first day of what it is for")
    last_day = serializers.DateField(help_text="last day of what it is for")
    currency = serializers.CharField()
    lines = ProposedLineSerializer(many=True, help_text="in the order of the work; then flat prices")
    net = _amount("sum of the lines", source="totals.net")
    tax = _amount("sum of the tax of all rates", source="totals.tax")
    gross = _amount("net and tax together", source="totals.gross")
    by_rate = TaxOfRateSerializer(
        source="totals.by_rate", many=True, help_text="net and tax by rate of tax, the highest first"
    )
    service_records = serializers.ListField(
        source="records", child=serializers.IntegerField(), help_text="ids of the reports of work on it"
    )
    missing = serializers.ListField(
        child=serializers.CharField(), help_text="what must be entered before it can be issued; empty: nothing"
    )
    remarks = serializers.ListField(child=serializers.CharField(), help_text="what to know of it, in sentences")
    version = serializers.CharField(help_text="mark of what it says; sent back when it is issued")


class ProposalParameters(ParametersSerializer):
    """Whose work is to be proposed."""

    month = MonthField(required=False, help_text="month of the work, such as 2026-03; left out: last month")
    client = TenantRelatedField(
        queryset=Client.objects.all(), required=False, help_text="id or name of the only client; with a month alone"
    )
    service_record = TenantRelatedField(
        queryset=ServiceRecord.objects.all(), required=False, help_text="id of one report of work, instead of a month"
    )

    def validate(self, attrs: dict[str, Any]) -> dict[str, Any]:
        """Take a month or a report, not both."""
        if "service_record" in attrs and len(attrs) > 1:
            raise serializers.ValidationError({"service_record": "Give it alone, or a month instead."})
        return attrs


class IssuingSerializer(StrictSerializer):
    """Which proposal is issued."""

    client = TenantRelatedField(
        queryset=Client.objects.all(), required=False, allow_null=True, default=None, help_text="whose, with a month"
    )
    month = MonthField(required=False, default=None, help_text="month of the work, such as 2026-03")
    service_record = TenantRelatedField(
        queryset=ServiceRecord.objects.all(),
        required=False,
        allow_null=True,
        default=None,
        help_text="one report of work, instead of client and month",
    )
    version = serializers.CharField(
        max_length=64,
        required=False,
        allow_blank=True,
        default="",
        help_text="version of the proposal as it was read; empty: whatever is proposed now",
    )
    bill_to = serializers.CharField(
        max_length=400,
        required=False,
        allow_blank=True,
        default="",
        help_text="address that it is made out to; empty: that of the first site on it",
    )


class CancellingSerializer(SentSerializer):
    """Why an invoice is cancelled."""

    reason = serializers.CharField(max_length=300, help_text="what was wrong; printed on the credit note")


class InvoiceViewSet(CreateMixin, ReadOnlyViewSet):
    """Invoices and credit notes. Numbers count up in a year without a gap; what was issued is never changed, only
    cancelled by a credit note. Work that stands on an invoice is not proposed again. A client reads their own.

    Whether rates, exemptions and wording are right is for the company and its tax adviser to confirm.
    """

    resource = "invoice"
    company_first = True
    queryset = Invoice.objects.select_related("cancelled_by").prefetch_related("lines")
    serializer_class = InvoiceSerializer
    input_serializer_class = IssuingSerializer
    audited = False  # the services leave the entries
    filterset_fields = {
        "client": ["exact"],
        "kind": ["exact"],
        "year": ["exact"],
        "issued_on": ["exact", "gte", "lte"],
        "cancels": ["isnull"],
    }
    ordering_fields = ["issued_on", "gross"]
    search_fields = ["number", "bill_to_name"]

    def known_parameters(self) -> dict[str, bool]:
        known = super().known_parameters()
        return known | dict.fromkeys(ProposalParameters.names(), False) if "proposed" in (self.action or "") else known

    @extend_schema(request=IssuingSerializer, responses={201: InvoiceSerializer})
    def create(self, request: Request, *args: Any, **kwargs: Any) -> Response:
        """Issue what is proposed for a client and month, or for one report of work."""
        return super().create(request, *args, **kwargs)

    def perform_create(self, serializer: Any) -> Invoice:
        return issue_invoice(company=self.by.company, by=self.by, now=self.now, **serializer.validated_data)

    @extend_schema(request=CancellingSerializer, responses=InvoiceSerializer)
    @action(detail=True, methods=["post"])
    def cancel(self, request: Request, pk: str) -> Response:
        """Cancel an invoice by a credit note, which is answered; its work can be invoiced again."""
        with self.transaction():
            invoice = self.locked_object()
            note = cancel_invoice(invoice=invoice, by=self.by, now=self.now, **CancellingSerializer.read(self))
            return self.answer(self.reread(note))

    @extend_schema(responses={(200, CSV_MEDIA_TYPE): OpenApiTypes.STR})
    @action(detail=True, methods=["get"], renderer_classes=[CSVRenderer, JSONRenderer])
    def csv(self, request: Request, pk: str) -> HttpResponse:
        """Give it as CSV, one row a line."""
        invoice = self.get_object()
        return inline_file(invoice_csv([as_printed(invoice)]), CSV_MEDIA_TYPE, f"invoice-{invoice.full_number}.csv")

    @extend_schema(responses={(200, PDF_MEDIA_TYPE): OpenApiTypes.BINARY})
    @action(detail=True, methods=["get"], renderer_classes=[PDFRenderer, JSONRenderer])
    def pdf(self, request: Request, pk: str) -> HttpResponse:
        """Give it as a PDF."""
        invoice = self.get_object()
        return inline_file(invoice_pdf([as_printed(invoice)]), PDF_MEDIA_TYPE, f"invoice-{invoice.full_number}.pdf")

    @extend_schema(parameters=[ProposalParameters], responses=ProposalSerializer(many=True), filters=False)
    @action(
        detail=False, methods=["get"], url_path="proposals", pagination_class=WorkedOutPagination, filter_backends=[]
    )
    def list_proposed(self, request: Request) -> Response:
        """Propose invoices for a month, one for each client by name, or for one report of work; nothing is stored."""
        return self.page_of(self._proposed(), ProposalSerializer)

    @extend_schema(parameters=[ProposalParameters], responses={(200, CSV_MEDIA_TYPE): OpenApiTypes.STR}, filters=False)
    @action(
        detail=False,
        methods=["get"],
        url_path="proposals/csv",
        pagination_class=None,
        filter_backends=[],
        renderer_classes=[CSVRenderer, JSONRenderer],
    )
    def proposed_csv(self, request: Request) -> HttpResponse:
        """Give the proposals as CSV, one row a line, those of all clients below one another."""
        return inline_file(
            invoice_csv([as_printed(proposal) for proposal in self._proposed()]),
            CSV_MEDIA_TYPE,
            "invoice-proposals.csv",
        )

    @extend_schema(
        parameters=[ProposalParameters], responses={(200, PDF_MEDIA_TYPE): OpenApiTypes.BINARY}, filters=False
    )
    @action(
        detail=False,
        methods=["get"],
        url_path="proposals/pdf",
        pagination_class=None,
        filter_backends=[],
        renderer_classes=[PDFRenderer, JSONRenderer],
    )
    def proposed_pdf(self, request: Request) -> HttpResponse:
        """Give the proposals as one PDF, each on pages of its own."""
        return inline_file(
            invoice_pdf([as_printed(proposal) for proposal in self._proposed()]),
            PDF_MEDIA_TYPE,
            "invoice-proposals.pdf",
        )

    def _proposed(self) -> list[Proposal]:
        asked = ProposalParameters.read(self)
        if "service_record" in asked:
            proposal = propose_record(service_record=asked["service_record"], now=self.now)
            return [proposal] if proposal is not None else []
        asked.setdefault("month", month_before(self.by.company.day_at(self.now)))
        return propose_month(company=self.by.company, now=self.now, **asked)
