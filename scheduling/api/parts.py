"""Parts: what visits, vans and weeks need, and what is in stock."""

from typing import Any

from django.db.models import Prefetch, Q
from drf_spectacular.utils import extend_schema
from rest_framework import serializers
from rest_framework.decorators import action
from rest_framework.request import Request
from rest_framework.response import Response

from accounts.http.fields import DayOrMomentField, TenantRelatedField
from accounts.http.pagination import WorkedOutPagination
from accounts.http.serializers import StrictSerializer, TenantModelSerializer
from accounts.http.viewsets import ReadOnlyViewSet, ReadWriteViewSet
from accounts.models import Membership
from fleet.models import CatalogueItem
from scheduling.models import Installer, PartsLine, PartsList, StockLevel
from scheduling.services.stock.availability import available
from scheduling.services.stock.ledger import MOST_PIECES
from scheduling.services.stock.lots import expired_pieces
from scheduling.services.stock.stock import count_stock, forget_level


class TakenBySerializer(StrictSerializer):
    """How many pieces a visit takes, when and where."""

    visit = serializers.IntegerField()
    site = serializers.IntegerField()
    site_code = serializers.CharField()
    site_name = serializers.CharField()
    day = serializers.DateField(help_text="day of the visit: planned, confirmed, or the cheapest")
    quantity = serializers.IntegerField()
    missing = serializers.IntegerField(help_text="pieces of them that neither stock nor an order brings in time")


class PartsLineSerializer(TenantModelSerializer):
    """One item of a parts list: for a van, what must be loaded; for a period, what must be ordered by when.

    Every piece in stock and on order is allocated once: to visits confirmed first, then to those in the
    plan, then to the others, each by date.
    """

    item_code = serializers.CharField(source="item.code", read_only=True)
    item_name = serializers.CharField(source="item.name", read_only=True)
    taken_by = TakenBySerializer(source="reasons", many=True, read_only=True)

    class Meta:
        model = PartsLine
        fields = [
            "item",
            "item_code",
            "item_name",
            "quantity",
            "spare",
            "in_stock",
            "reserved_elsewhere",
            "from_store",
            "on_order",
            "late",
            "short",
            "packs_to_order",
            "packs_now",
            "chance_of_running_out",
            "needed_by",
            "order_by",
            "sentence",
            "taken_by",
        ]
        read_only_fields = fields


class PartsListSerializer(TenantModelSerializer):
    """The parts for a visit, for a van's round, or for a period."""

    lines = PartsLineSerializer(many=True, read_only=True)

    class Meta:
        model = PartsList
        fields = ["id", "scope", "plan", "visit", "round", "first_day", "last_day", "written_at", "lines"]
        read_only_fields = fields


class PartsListViewSet(ReadOnlyViewSet):
    """Parts lists, with their lines. Short is what a van lacks for a round, what a visit has not got in time, and what
    must be ordered for a period."""

    resource = "parts_list"
    company_first = True
    queryset = PartsList.objects.prefetch_related(
        Prefetch("lines", queryset=PartsLine.objects.select_related("item").order_by("item__code", "pk"))
    )
    serializer_class = PartsListSerializer
    filterset_fields = {
        "scope": ["exact"],
        "plan": ["exact"],
        "visit": ["exact"],
        "round": ["exact"],
        "round__installer": ["exact"],
        "first_day": ["exact", "gte", "lte"],
        "last_day": ["exact", "gte", "lte"],
    }
    ordering_fields = ["first_day", "written_at"]


class LotSerializer(StrictSerializer):
    """Pieces of one lot."""

    lot = serializers.CharField(
        max_length=80, required=False, allow_blank=True, default="", help_text="code of the lot, as printed on them"
    )
    expires_on = serializers.DateField(
        required=False, allow_null=True, default=None, help_text="last day on which they may be used; empty: not known"
    )
    quantity = serializers.IntegerField(min_value=1, max_value=MOST_PIECES, help_text="pieces of it")


class StockLevelSerializer(TenantModelSerializer):
    """Pieces of an item in the store, or in an installer's van, as last counted less what was used since."""

    item_code = serializers.CharField(source="item.code", read_only=True)
    lots = LotSerializer(
        many=True,
        read_only=True,
        help_text="of them, those whose lot or last day is known; first to expire first, which is how they are used",
    )
    expired = serializers.SerializerMethodField(help_text="pieces of them that may not be used any more")

    class Meta:
        model = StockLevel
        fields = ["id", "item", "item_code", "installer", "quantity", "lots", "expired", "shelf", "counted_at"]
        read_only_fields = fields

    def get_expired(self, level: StockLevel) -> int:
        return expired_pieces(level, self.acting_member.company.day_at(self.now))


_WHERE = "where it lies there, in your own words; left out: as it is"
_COUNTED_LOTS = "of them, those whose lot or last day was read; empty: the lots stay as they were known"


class StockCountSerializer(StrictSerializer):
    """What was counted."""

    item = TenantRelatedField(queryset=CatalogueItem.objects.all())
    installer = TenantRelatedField(
        queryset=Installer.objects.all(),
        required=False,
        allow_null=True,
        default=None,
        help_text="id of the installer whose van it is in; empty: the store",
    )
    quantity = serializers.IntegerField(min_value=0, max_value=MOST_PIECES)
    counted_at = DayOrMomentField(
        required=False, allow_null=True, default=None, help_text="when it was counted; empty: now"
    )
    lots = LotSerializer(many=True, required=False, max_length=100, help_text=_COUNTED_LOTS)  # type: ignore[call-arg]
    shelf = serializers.CharField(max_length=40, required=False, allow_blank=True, help_text=_WHERE)


class StockRecountSerializer(StrictSerializer):
    """What was counted of a level that is known."""

    quantity = serializers.IntegerField(min_value=0, max_value=MOST_PIECES)
    counted_at = DayOrMomentField(required=False, allow_null=True, help_text="when it was counted; empty: now")
    lots = LotSerializer(many=True, required=False, max_length=100, help_text=_COUNTED_LOTS)  # type: ignore[call-arg]
    shelf = serializers.CharField(max_length=40, required=False, allow_blank=True, help_text=_WHERE)


class AvailabilitySerializer(StrictSerializer):
    """What is there of one item, in pieces, and what of it is free."""

    item = serializers.IntegerField(source="item.pk")
    item_code = serializers.CharField(source="item.code")
    item_name = serializers.CharField(source="item.name")
    on_hand = serializers.IntegerField(help_text="pieces in the store and in the vans that can be used")
    store = serializers.IntegerField(help_text="pieces of them in the store")
    vans = serializers.IntegerField(help_text="pieces of them in the vans")
    expired = serializers.IntegerField(help_text="pieces beside them that may not be used any more")
    reserved = serializers.IntegerField(help_text="pieces on hand that confirmed visits take")
    free = serializers.IntegerField(help_text="pieces on hand that no confirmed visit takes")
    on_order = serializers.IntegerField(help_text="pieces that were ordered and have not come")


class StockLevelViewSet(ReadWriteViewSet):
    """What is in the store and in the vans. A count that is sent again takes the place of the one before.

    Installers read what is in the store and in their own van, and count their own van.
    """

    resource = "stock_level"
    company_first = True
    queryset = StockLevel.objects.select_related("item")
    serializer_class = StockLevelSerializer
    input_serializer_class = StockCountSerializer
    filterset_fields = {"item": ["exact"], "installer": ["exact", "isnull"]}
    ordering_fields = ["quantity", "counted_at"]

    def get_queryset(self) -> Any:
        levels = super().get_queryset()
        if getattr(self, "swagger_fake_view", False) or self.by.role != Membership.Role.INSTALLER:
            return levels
        return levels.filter(Q(installer__isnull=True) | Q(installer__membership=self.by))

    def get_input_serializer(self, *args: Any, **kwargs: Any) -> Any:
        if self.action == "partial_update":
            kwargs.setdefault("context", self.get_serializer_context())
            return StockRecountSerializer(*args, **kwargs)
        return super().get_input_serializer(*args, **kwargs)

    @extend_schema(request=StockRecountSerializer)
    def partial_update(self, request: Request, *args: Any, **kwargs: Any) -> Response:
        """Count a level again."""
        return super().partial_update(request, *args, **kwargs)

    def perform_create(self, serializer: Any) -> StockLevel:
        return count_stock(by=self.by, now=self.now, **serializer.validated_data)

    def perform_update(self, serializer: Any) -> StockLevel:
        level = serializer.instance
        sent = serializer.validated_data
        return count_stock(
            by=self.by,
            item=level.item,
            installer=level.installer,
            quantity=sent.get("quantity", level.quantity),
            counted_at=sent.get("counted_at"),
            lots=sent.get("lots", ()),
            shelf=sent.get("shelf"),
            now=self.now,
        )

    @extend_schema(responses=AvailabilitySerializer(many=True))
    @action(detail=False, methods=["get"], url_path="by-item", pagination_class=WorkedOutPagination, filter_backends=[])
    def list_by_item(self, request: Request) -> Response:
        """List what is on hand of each item, what of it is reserved for confirmed visits, what is free and on order."""
        return self.page_of(available(company=self.by.company, now=self.now), AvailabilitySerializer)

    def perform_destroy(self, instance: StockLevel) -> None:
        forget_level(level=instance, by=self.by, now=self.now)
