"""The company's price list and its rates of value added tax."""

from typing import Any

from rest_framework import serializers

from accounts.http.serializers import TenantModelSerializer
from accounts.http.viewsets import ReadWriteViewSet
from scheduling.models import SalesPrice, VatRate
from scheduling.services.money.entries import change_entry, delete_entry, enter


class VatRateSerializer(TenantModelSerializer):
    """How high a rate of value added tax is, from a day on."""

    class Meta:
        model = VatRate
        fields = ["id", "vat", "percent", "valid_from"]
        read_only_fields = ["id"]


class SalesPriceSerializer(TenantModelSerializer):
    """A net price of an item, of a call-out or of an hour of work, from a day on."""

    item_code = serializers.SerializerMethodField(help_text="code of the item; empty where it is of work")

    class Meta:
        model = SalesPrice
        fields = ["id", "kind", "item", "item_code", "price", "vat", "valid_from"]
        read_only_fields = ["id"]

    def get_item_code(self, price: SalesPrice) -> str:
        return price.item.code if price.item is not None else ""

    def validate(self, attrs: dict[str, Any]) -> dict[str, Any]:
        """Ask for the item of an item's price, and for none of work."""
        kind = attrs.get("kind", getattr(self.instance, "kind", SalesPrice.Kind.ITEM))
        item = attrs.get("item", getattr(self.instance, "item", None))
        if kind == SalesPrice.Kind.ITEM and item is None:
            raise serializers.ValidationError({"item": "The price of an item needs its item."})
        if kind != SalesPrice.Kind.ITEM and item is not None:
            raise serializers.ValidationError({"item": f"A price of kind '{kind}' is of no item; leave it out."})
        return attrs


class Entries(ReadWriteViewSet, abstract=True):
    """Rows that people enter, change and delete as they like: what was issued keeps what it said."""

    audited = False  # the services leave the entries
    company_first = True

    def perform_create(self, serializer: Any) -> Any:
        return enter(model=serializer.Meta.model, by=self.by, now=self.now, **serializer.validated_data)

    def perform_update(self, serializer: Any) -> Any:
        return change_entry(row=serializer.instance, by=self.by, now=self.now, **serializer.validated_data)

    def perform_destroy(self, instance: Any) -> None:
        delete_entry(row=instance, by=self.by, now=self.now)


class VatRateViewSet(Entries):
    """Rates of value added tax by name; work is taxed by the newest that holds on its day. 'none' is 0 % always."""

    resource = "vat_rate"
    queryset = VatRate.objects.all()
    serializer_class = VatRateSerializer
    filterset_fields = {"vat": ["exact"], "valid_from": ["exact", "lte", "gte"]}
    ordering_fields = ["vat", "valid_from"]


class SalesPriceViewSet(Entries):
    """The price list: what clients are asked for, by the newest price that holds on the day of the work."""

    resource = "sales_price"
    queryset = SalesPrice.objects.select_related("item")
    serializer_class = SalesPriceSerializer
    filterset_fields = {"kind": ["exact"], "item": ["exact"], "valid_from": ["exact", "lte", "gte"]}
    ordering_fields = ["kind", "item", "valid_from"]
