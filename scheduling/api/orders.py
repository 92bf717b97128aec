"""Purchase orders: drafted from a parts list or by hand, placed, received, cancelled."""

from decimal import Decimal
from functools import partial
from typing import Any

from django.db.models import Prefetch
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
from accounts.http.serializers import StrictSerializer, TenantModelSerializer
from accounts.http.viewsets import CreateMixin, ReadOnlyViewSet, UpdateMixin
from fleet.models import CatalogueItem, Supplier
from scheduling.api.notes import NoteSerializer, SentSerializer
from scheduling.api.renderers import OrderTextRenderer, PDFRenderer
from scheduling.exports.order_documents import (
    CSV_MEDIA_TYPE,
    PDF_MEDIA_TYPE,
    TEXT_MEDIA_TYPE,
    order_csv,
    order_documents,
    order_pdf,
    order_text,
)
from scheduling.models import Delivery, PartsList, PurchaseOrder, PurchaseOrderLine, Visit
from scheduling.services.orders.deliveries import DeliveredPieces, receive_order, void_delivery
from scheduling.services.orders.drafts import draft_orders
from scheduling.services.orders.late import late_deliveries
from scheduling.services.orders.orders import (
    LineRequest,
    cancel_order,
    create_order,
    edit_order,
    expect_order,
    place_order,
    send_order,
)
from scheduling.services.stock.substitutes import bought_before

_MOST_PACKS = 10_000


class WantedForSerializer(StrictSerializer):
    """A visit that lacks pieces of an item."""

    visit = serializers.IntegerField()
    site = serializers.IntegerField()
    site_code = serializers.CharField()
    site_name = serializers.CharField()
    day = serializers.DateField(help_text="day of the visit: planned, confirmed, or the cheapest")
    pieces = serializers.IntegerField(help_text="pieces that neither stock nor an order brings in time")


def _money(source: str | None = None, **kwargs: Any) -> serializers.DecimalField:
    return serializers.DecimalField(source=source, max_digits=20, decimal_places=2, read_only=True, **kwargs)


class PurchaseOrderLineSerializer(TenantModelSerializer):
    """Whole packs of one item, with the reason; pieces are packs times the size of a pack."""

    item_code = serializers.CharField(source="item.code", read_only=True)
    item_name = serializers.CharField(source="item.name", read_only=True)
    quantity = serializers.IntegerField(read_only=True, help_text="pieces ordered")
    outstanding = serializers.IntegerField(read_only=True, help_text="pieces that have not come")
    cost = _money(help_text="what the line costs, in the company's currency")
    wanted_for = WantedForSerializer(many=True, read_only=True, help_text="visits that lack it")
    substitutes = serializers.SerializerMethodField(
        help_text="codes of cartridges that were bought before and do the same, cheapest first"
    )

    class Meta:
        model = PurchaseOrderLine
        fields = [
            "id",
            "item",
            "item_code",
            "item_name",
            "supplier_part_number",
            "packs",
            "suggested_packs",
            "pack_size",
            "quantity",
            "price",
            "cost",
            "received",
            "outstanding",
            "needed_by",
            "order_by",
            "expected_on",
            "sentence",
            "wanted_for",
            "substitutes",
        ]
        read_only_fields = fields

    def get_substitutes(self, line: PurchaseOrderLine) -> list[str]:
        # Read once for all lines of an answer.
        shared: dict[str, Any] = self.context  # type: ignore[assignment]
        if "bought" not in shared:
            shared["bought"] = bought_before(company=line.order.company)
        names: list[str] = shared["bought"].to_order_for(line.item)
        return names


class CamePieceSerializer(StrictSerializer):
    """Pieces of one lot that came."""

    line = serializers.IntegerField()
    item = serializers.IntegerField()
    item_code = serializers.CharField()
    quantity = serializers.IntegerField()
    lot = serializers.CharField(allow_blank=True)
    expires_on = serializers.DateField(required=False, allow_null=True, help_text="last day on which they may be used")


class DeliverySerializer(TenantModelSerializer):
    """What came of an order on one day."""

    pieces = CamePieceSerializer(many=True, read_only=True)

    class Meta:
        model = Delivery
        fields = [
            "id",
            "reference",
            "received_on",
            "received_by",
            "pieces",
            "note",
            "recorded_at",
            "voided_at",
            "voided_by",
            "void_reason",
        ]
        read_only_fields = fields


class PurchaseOrderSerializer(TenantModelSerializer):
    """An order to one supplier. While it is a draft its lines can be changed; then it is placed and received."""

    supplier_name = serializers.CharField(source="supplier.name", read_only=True)
    currency = serializers.CharField(source="company.currency", read_only=True)
    value = serializers.SerializerMethodField(
        "get_worth", help_text="what all lines cost together, in the company's currency"
    )
    below_minimum_order_value = serializers.SerializerMethodField(help_text="whether the supplier asks for more")
    order_by = serializers.SerializerMethodField(help_text="last day on which every line still comes in time")
    expected_on = serializers.SerializerMethodField(help_text="when the last of what is still to come is expected")
    lines = PurchaseOrderLineSerializer(many=True, read_only=True)
    deliveries = DeliverySerializer(many=True, read_only=True)

    class Meta:
        model = PurchaseOrder
        fields = [
            "id",
            "number",
            "supplier",
            "supplier_name",
            "state",
            "parts_list",
            "order_by",
            "value",
            "currency",
            "below_minimum_order_value",
            "placed_on",
            "expected_on",
            "supplier_reference",
            "note",
            "created_at",
            "updated_at",
            "closed_at",
            "lines",
            "deliveries",
        ]
        read_only_fields = fields

    @extend_schema_field(serializers.DecimalField(max_digits=14, decimal_places=2))
    def get_worth(self, order: PurchaseOrder) -> str:
        return f"{_value(order):.2f}"

    def get_below_minimum_order_value(self, order: PurchaseOrder) -> bool:
        return _value(order) < order.supplier.minimum_order_value

    @extend_schema_field(serializers.DateField(allow_null=True))
    def get_order_by(self, order: PurchaseOrder) -> str | None:
        days = [line.order_by for line in order.lines.all() if line.order_by is not None]
        return min(days).isoformat() if days else None

    @extend_schema_field(serializers.DateField(allow_null=True))
    def get_expected_on(self, order: PurchaseOrder) -> str | None:
        days = [line.expected_on for line in order.lines.all() if line.expected_on is not None and line.outstanding]
        return max(days).isoformat() if days else None


def _value(order: PurchaseOrder) -> Decimal:
    return sum((line.cost for line in order.lines.all()), Decimal(0))


class AskedLineSerializer(StrictSerializer):
    """One line as a person writes it."""

    item = TenantRelatedField(queryset=CatalogueItem.objects.all())
    packs = serializers.IntegerField(min_value=1, max_value=_MOST_PACKS)
    price = serializers.DecimalField(
        max_digits=10,
        decimal_places=2,
        min_value=Decimal(0),
        required=False,
        allow_null=True,
        default=None,
        help_text="price of one piece, in the company's currency; empty: that of the draft, else of the catalogue",
    )


class OrderEditSerializer(StrictSerializer):
    """What to change of a draft; lines take the place of those there are."""

    lines = AskedLineSerializer(many=True, required=False, max_length=500)  # type: ignore[call-arg]
    note = serializers.CharField(max_length=1000, required=False, allow_blank=True, help_text="printed on the order")

    def validate_lines(self, lines: list[dict[str, Any]]) -> list[LineRequest]:
        return [LineRequest(**line) for line in lines]


class NewOrderSerializer(OrderEditSerializer):
    """An order drafted by hand."""

    supplier = TenantRelatedField(queryset=Supplier.objects.all())
    lines = AskedLineSerializer(many=True, max_length=500)  # type: ignore[call-arg]


class DraftSerializer(SentSerializer):
    """Which list to draft from, and how much of it."""

    parts_list = TenantRelatedField(
        queryset=PartsList.objects.all(),
        required=False,
        allow_null=True,
        default=None,
        help_text="id of a list for a period; empty: the newest list that reaches farthest",
    )
    until = serializers.DateField(
        required=False,
        allow_null=True,
        default=None,
        help_text="draft only what must be ordered by this day, and what is needed beside it to reach the minimum "
        "order; empty: all that is short",
    )
    only_now = serializers.BooleanField(
        required=False,
        default=False,
        help_text="draft only what cannot wait for the next look, `order_review_days` of the policy from now",
    )


class PlacingSerializer(SentSerializer):
    """How the order went out."""

    placed_on = serializers.DateField(
        required=False, allow_null=True, default=None, help_text="day on which it goes out; empty: today"
    )
    expected_on = serializers.DateField(
        required=False,
        allow_null=True,
        default=None,
        help_text="when all is to arrive, as the supplier says; empty: by lead time and closed days",
    )
    supplier_reference = serializers.CharField(max_length=80, required=False, allow_blank=True, default="")
    below_minimum_order_value = serializers.BooleanField(
        required=False, default=False, help_text="place it although the supplier asks for more"
    )


class SendingSerializer(SentSerializer):
    """How the order is placed that is sent."""

    expected_on = serializers.DateField(
        required=False,
        allow_null=True,
        default=None,
        help_text="when all is to arrive, as the supplier says; empty: by lead time and closed days",
    )
    below_minimum_order_value = serializers.BooleanField(
        required=False, default=False, help_text="send it although the supplier asks for more"
    )


class ExpectingSerializer(SentSerializer):
    """Another day for what is still to come."""

    expected_on = serializers.DateField()
    lines = serializers.ListField(
        child=serializers.IntegerField(min_value=1, max_value=2**63 - 1),
        required=False,
        allow_null=True,
        default=None,
        min_length=1,
        max_length=500,
        help_text="ids of the lines it holds for; empty: all that is still to come",
    )


class CameSerializer(StrictSerializer):
    """Pieces of one line that came; a line that came in several lots stands several times."""

    line = serializers.IntegerField(min_value=1, max_value=2**63 - 1, help_text="id of the order's line")
    quantity = serializers.IntegerField(min_value=1, max_value=1_000_000, help_text="how many pieces came, not packs")
    lot = serializers.CharField(max_length=80, required=False, allow_blank=True, default="")
    expires_on = serializers.DateField(
        required=False, allow_null=True, default=None, help_text="last day on which they may be used; empty: not known"
    )


class ReceivingSerializer(SentSerializer):
    """What came. The same reference again, with the same pieces, changes nothing."""

    reference = serializers.CharField(max_length=80, help_text="number of the delivery note, or a name of your own")
    received_on = serializers.DateField(
        required=False, allow_null=True, default=None, help_text="day on which it came; empty: today"
    )
    pieces = CameSerializer(many=True, max_length=500)  # type: ignore[call-arg]
    note = serializers.CharField(max_length=1000, required=False, allow_blank=True, default="")

    def validate_pieces(self, pieces: list[dict[str, Any]]) -> list[DeliveredPieces]:
        return [DeliveredPieces(**piece) for piece in pieces]


class DeliveryVoidSerializer(SentSerializer):
    """Which delivery was booked wrongly, and why it is taken back."""

    delivery = TenantRelatedField(queryset=Delivery.objects.all(), help_text="id of the delivery")
    reason = serializers.CharField(max_length=400)


class WithoutSupplierSerializer(StrictSerializer):
    """An item that is short and that no active supplier is named for."""

    item = serializers.IntegerField(source="item_id")
    item_code = serializers.CharField(source="item.code")
    item_name = serializers.CharField(source="item.name")
    short = serializers.IntegerField()
    packs_to_order = serializers.IntegerField()
    order_by = serializers.DateField(allow_null=True)
    sentence = serializers.SerializerMethodField()

    def get_sentence(self, line: Any) -> str:
        if line.item.supplier is not None:
            why = f"{line.item.supplier.name} is inactive"
        else:
            why = "the catalogue names no supplier for it"
        return f"{line.item.code} cannot be put into an order: {why}. Name one, and draft again."


class DraftedSerializer(StrictSerializer):
    """The drafts as they stand, and what could not be put into any."""

    parts_list = serializers.IntegerField(
        source="parts_list.pk", help_text="id of the parts list that the drafts follow, recomputed for them"
    )
    orders = PurchaseOrderSerializer(many=True)
    without_supplier = WithoutSupplierSerializer(many=True)


class EndangeredSerializer(StrictSerializer):
    """A visit that counts on pieces which come late."""

    visit = serializers.IntegerField(source="visit.pk")
    state = serializers.ChoiceField(choices=Visit.State.choices, source="visit.state")
    site = serializers.IntegerField(source="visit.site_id")
    site_code = serializers.CharField(source="visit.site_code")
    site_name = serializers.CharField(source="visit.site_name")
    day = serializers.DateField()
    pieces = serializers.IntegerField()


class LateLineSerializer(StrictSerializer):
    """A line that is overdue, or comes after a visit that counts on it."""

    order = serializers.IntegerField(source="line.order_id")
    number = serializers.IntegerField(source="line.order.number")
    supplier_name = serializers.CharField(source="line.order.supplier.name")
    line = serializers.IntegerField(source="line.pk")
    item_code = serializers.CharField(source="line.item.code")
    outstanding = serializers.IntegerField(source="line.outstanding")
    expected_on = serializers.DateField(source="line.expected_on")
    days_overdue = serializers.IntegerField(
        help_text="days since it was expected; 0: it is not overdue, but comes too late for a visit"
    )
    visits = EndangeredSerializer(many=True)
    sentence = serializers.CharField()


class PurchaseOrderViewSet(CreateMixin, UpdateMixin, ReadOnlyViewSet):
    """Purchase orders: a draft is changed, placed, received in one or more deliveries, or cancelled.

    What is placed counts as coming from the day after it is expected, in parts lists and for visits that wait for
    parts, so that nothing is ordered twice.
    """

    resource = "purchase_order"
    company_first = True
    queryset = PurchaseOrder.objects.select_related("supplier", "company").prefetch_related(
        Prefetch("lines", queryset=PurchaseOrderLine.objects.select_related("item").order_by("item__code", "pk")),
        "deliveries",
    )
    serializer_class = PurchaseOrderSerializer
    audited = False  # the services leave the entries
    filterset_fields = {
        "state": ["exact"],
        "supplier": ["exact"],
        "number": ["exact"],
        "lines__item": ["exact"],
        "placed_on": ["exact", "gte", "lte"],
    }
    ordering_fields = ["number", "placed_on", "updated_at"]
    search_fields = ["number", "supplier_reference", "supplier__name", "lines__item__code", "lines__item__name"]

    def get_input_serializer(self, *args: Any, **kwargs: Any) -> Any:
        kwargs.setdefault("context", self.get_serializer_context())
        chosen = NewOrderSerializer if self.action == "create" else OrderEditSerializer
        return chosen(*args, **kwargs)

    @extend_schema(request=NewOrderSerializer, responses={201: PurchaseOrderSerializer})
    def create(self, request: Request, *args: Any, **kwargs: Any) -> Response:
        """Draft an order by hand."""
        return super().create(request, *args, **kwargs)

    @extend_schema(request=OrderEditSerializer, responses=PurchaseOrderSerializer)
    def partial_update(self, request: Request, *args: Any, **kwargs: Any) -> Response:
        """Change a draft."""
        return super().partial_update(request, *args, **kwargs)

    def perform_create(self, serializer: Any) -> PurchaseOrder:
        return create_order(by=self.by, now=self.now, **serializer.validated_data)

    def perform_update(self, serializer: Any) -> PurchaseOrder:
        return edit_order(order=serializer.instance, by=self.by, now=self.now, **serializer.validated_data)

    @extend_schema(request=DraftSerializer, responses=DraftedSerializer)
    @action(detail=False, methods=["post"])
    def draft(self, request: Request) -> Response:
        """Put what a period's parts list is short of into drafts, one for each supplier.

        Twice the same call changes nothing; lines a person changed keep their packs.
        """
        with self.transaction():
            drafted = draft_orders(company=self.by.company, by=self.by, now=self.now, **DraftSerializer.read(self))
            rows = self.get_queryset().filter(pk__in=[order.pk for order in drafted.orders])
            answer = {
                "parts_list": drafted.parts_list,
                "orders": rows.order_by("supplier__name", "pk"),
                "without_supplier": drafted.without_supplier,
            }
            return Response(DraftedSerializer(answer, context=self.get_serializer_context()).data)

    @extend_schema(request=PlacingSerializer, responses=PurchaseOrderSerializer)
    @action(detail=True, methods=["post"])
    def place(self, request: Request, pk: str) -> Response:
        """Note that a draft has gone out to the supplier."""
        return self._move(place_order, PlacingSerializer)

    @extend_schema(request=SendingSerializer, responses=PurchaseOrderSerializer)
    @action(detail=True, methods=["post"])
    def send(self, request: Request, pk: str) -> Response:
        """Place a draft and send it to its supplier by e-mail, with the order as PDF and CSV.

        Once placed it is sent again only where the mail server refused it; `messages/?order=` says how it stands.
        """
        return self._move(partial(send_order, documents=order_documents), SendingSerializer)

    @extend_schema(request=ExpectingSerializer, responses=PurchaseOrderSerializer)
    @action(detail=True, methods=["post"])
    def expect(self, request: Request, pk: str) -> Response:
        """Note another day for what is still to come, as the supplier says."""
        return self._move(expect_order, ExpectingSerializer)

    @extend_schema(request=ReceivingSerializer, responses=PurchaseOrderSerializer)
    @action(detail=True, methods=["post"])
    def receive(self, request: Request, pk: str) -> Response:
        """Book what came into the store."""
        return self._move(receive_order, ReceivingSerializer)

    @extend_schema(request=DeliveryVoidSerializer, responses=PurchaseOrderSerializer)
    @action(detail=True, methods=["post"], url_path="void-delivery")
    def void_delivery(self, request: Request, pk: str) -> Response:
        """Take back a delivery that was booked wrongly: its pieces leave the store and are still to come."""
        return self._move(void_delivery, DeliveryVoidSerializer)

    @extend_schema(request=NoteSerializer, responses=PurchaseOrderSerializer)
    @action(detail=True, methods=["post"])
    def cancel(self, request: Request, pk: str) -> Response:
        """Call an order off; what has come stays in stock."""
        return self._move(cancel_order, NoteSerializer)

    def _move(self, service: Any, body: type[SentSerializer]) -> Response:
        with self.transaction():
            order = self.locked_object()
            service(order=order, by=self.by, now=self.now, **body.read(self))
            return self.answer(self.reread(order))

    @extend_schema(responses=LateLineSerializer(many=True))
    @action(detail=False, methods=["get"], url_path="late", pagination_class=WorkedOutPagination, filter_backends=[])
    def list_late(self, request: Request) -> Response:
        """List what is overdue, or comes too late for a visit, with the visits it endangers."""
        return self.page_of(late_deliveries(company=self.by.company, now=self.now), LateLineSerializer)

    @extend_schema(responses={(200, CSV_MEDIA_TYPE): OpenApiTypes.STR})
    @action(detail=True, methods=["get"], renderer_classes=[CSVRenderer, JSONRenderer])
    def csv(self, request: Request, pk: str) -> HttpResponse:
        """Give the order as CSV, one row a line."""
        order = self.get_object()
        return inline_file(order_csv(order), CSV_MEDIA_TYPE, f"order-{order.number}.csv")

    @extend_schema(responses={(200, PDF_MEDIA_TYPE): OpenApiTypes.BINARY})
    @action(detail=True, methods=["get"], renderer_classes=[PDFRenderer, JSONRenderer])
    def pdf(self, request: Request, pk: str) -> HttpResponse:
        """Give the order as a PDF, as it goes to the supplier."""
        order = self.get_object()
        return inline_file(order_pdf(order), PDF_MEDIA_TYPE, f"order-{order.number}.pdf")

    @extend_schema(responses={(200, TEXT_MEDIA_TYPE): OpenApiTypes.STR})
    @action(detail=True, methods=["get"], renderer_classes=[OrderTextRenderer, JSONRenderer])
    def text(self, request: Request, pk: str) -> HttpResponse:
        """Give the order as a page of plain text, to print or to send."""
        order = self.get_object()
        return inline_file(order_text(order), TEXT_MEDIA_TYPE, f"order-{order.number}.txt")
