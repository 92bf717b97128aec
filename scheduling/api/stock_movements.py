"""The ledger of stock over the API: what moved, entered by people, and how it is taken back."""

from typing import Any, ClassVar

import django_filters
from django.db.models import Q
from drf_spectacular.utils import extend_schema
from rest_framework import serializers
from rest_framework.decorators import action
from rest_framework.request import Request
from rest_framework.response import Response

from accounts.http.fields import DayOrMomentField, TenantRelatedField
from accounts.http.filters import RowFilter, TenantFilterSet
from accounts.http.serializers import StrictSerializer, TenantModelSerializer
from accounts.http.viewsets import ReadCreateViewSet
from accounts.models import Membership
from fleet.models import CatalogueItem
from scheduling.api.notes import SentSerializer
from scheduling.api.parts import LotSerializer
from scheduling.models import Installer, StockMovement
from scheduling.services.stock.ledger import MOST_PIECES
from scheduling.services.stock.movements import ENTERED, move_stock, void_movement


class StockMovementSerializer(TenantModelSerializer):
    """Pieces of one item that went from a place to another, or a count. A row is never changed: what was wrong is taken
    back by a row of its own."""

    item_code = serializers.CharField(source="item.code", read_only=True)
    lots = LotSerializer(
        many=True,
        read_only=True,
        help_text="of the pieces, those of which somebody said the lot, or on which day they expire",
    )
    reversed_by = serializers.SerializerMethodField(
        help_text="id of the movement that takes this one back; null while it holds"
    )

    class Meta:
        model = StockMovement
        fields = [
            "id",
            "item",
            "item_code",
            "kind",
            "from_place",
            "from_installer",
            "to_place",
            "to_installer",
            "pieces",
            "taken",
            "put",
            "uncounted",
            "counted",
            "happened_at",
            "recorded_at",
            "by",
            "reason",
            "lots",
            "delivery",
            "service_record",
            "reversal_of",
            "reversed_by",
        ]
        read_only_fields = fields

    def get_reversed_by(self, movement: StockMovement) -> int | None:
        reversal = getattr(movement, "reversal", None)
        return reversal.pk if reversal is not None else None


class NewStockMovementSerializer(StrictSerializer):
    """What was moved between store and van, brought back from a site, sent back or scrapped."""

    item = TenantRelatedField(queryset=CatalogueItem.objects.all())
    kind = serializers.ChoiceField(choices=[StockMovement.Kind(kind) for kind in ENTERED])
    pieces = serializers.IntegerField(min_value=1, max_value=MOST_PIECES, help_text="how many pieces moved")
    from_installer = TenantRelatedField(
        queryset=Installer.objects.all(),
        required=False,
        allow_null=True,
        default=None,
        help_text="id of the installer whose van they left; empty: the store",
    )
    to_installer = TenantRelatedField(
        queryset=Installer.objects.all(),
        required=False,
        allow_null=True,
        default=None,
        help_text="id of the installer whose van they came to; empty: the store",
    )
    lot = serializers.CharField(
        max_length=80,
        required=False,
        allow_blank=True,
        default="",
        help_text="code of the lot they are of; empty: those that expire first, where the kind takes them away",
    )
    reason = serializers.CharField(max_length=400)
    happened_at = DayOrMomentField(
        required=False, allow_null=True, default=None, help_text="when it happened; empty: now"
    )


class MovementVoidSerializer(SentSerializer):
    """Why a movement is taken back."""

    reason = serializers.CharField(max_length=400)


class VanFilter(RowFilter):
    """Narrow to movements out of an installer's van or into it."""

    def filter(self, queryset: Any, value: str) -> Any:
        if not value:
            return queryset
        left = super().filter(queryset, value)
        # each filterset has filters of its own, so that nobody else sees the other field
        self.field_name = "to_installer"
        return left | super().filter(queryset, value)


class StockMovementFilterSet(TenantFilterSet):
    """Filters of movements."""

    installer = VanFilter(
        field_name="from_installer", label="id or name of the installer whose van the pieces left or came to"
    )
    before = django_filters.IsoDateTimeFilter(
        field_name="happened_at", lookup_expr="lt", help_text="happened before this moment"
    )

    class Meta(TenantFilterSet.Meta):
        model = StockMovement
        fields: ClassVar[list[str]] = ["item", "kind", "delivery", "service_record"]


# "from" is a word of the language, so that it cannot be declared in the class above.
StockMovementFilterSet.base_filters["from"] = django_filters.IsoDateTimeFilter(
    field_name="happened_at", lookup_expr="gte", help_text="happened at this moment or later"
)


class StockMovementViewSet(ReadCreateViewSet):
    """The ledger of stock: every piece that came, went or was counted, newest first. What is on hand is its sum.

    POST enters a transfer, a return from a site, a return to the supplier or scrap. Counts are entered as stock
    levels, receipts as deliveries of an order, and what work used with its report. Installers read and enter what
    moved in the store and the own van.
    """

    resource = "stock_movement"
    company_first = True
    queryset = StockMovement.objects.select_related("item", "reversal")
    serializer_class = StockMovementSerializer
    input_serializer_class = NewStockMovementSerializer
    filterset_class = StockMovementFilterSet
    ordering_fields = ["happened_at", "recorded_at"]

    def get_queryset(self) -> Any:
        rows = super().get_queryset()
        if getattr(self, "swagger_fake_view", False) or self.by.role != Membership.Role.INSTALLER:
            return rows
        own = Q(from_installer=None) | Q(from_installer__membership=self.by)
        return rows.filter(own, Q(to_installer=None) | Q(to_installer__membership=self.by))

    def perform_create(self, serializer: Any) -> StockMovement:
        return move_stock(by=self.by, now=self.now, **serializer.validated_data)

    @extend_schema(request=MovementVoidSerializer, responses=StockMovementSerializer)
    @action(detail=True, methods=["post"])
    def void(self, request: Request, pk: str) -> Response:
        """Take a count or an entered movement back; the answer is the movement that does so."""
        with self.transaction():
            movement = self.locked_object()
            stated = MovementVoidSerializer.read(self)
            reversal = void_movement(movement=movement, by=self.by, now=self.now, **stated)
            return self.answer(self.reread(reversal))
