"""Whom the company buys from."""

from typing import Any

from rest_framework import serializers

from accounts.http.serializers import TenantModelSerializer
from accounts.http.viewsets import ReadWriteViewSet
from fleet.models import Supplier
from fleet.models.catalogue import weekend


class SupplierSerializer(TenantModelSerializer):
    """A firm the company buys from; which items come from it stands in the catalogue."""

    closed_weekdays = serializers.ListField(
        child=serializers.IntegerField(min_value=0, max_value=6),
        max_length=7,
        required=False,
        help_text="days on which it neither reads orders nor delivers, 0 Monday to 6 Sunday; empty list: none",
    )

    order_weekdays = serializers.ListField(
        child=serializers.IntegerField(min_value=0, max_value=6),
        max_length=7,
        required=False,
        help_text="days on which it takes orders, 0 Monday to 6 Sunday; empty list: every day on which it is open",
    )

    class Meta:
        model = Supplier
        fields = [
            "id",
            "name",
            "email",
            "customer_number",
            "ship_to",
            "lead_time_days",
            "lead_time_sd_days",
            "closed_weekdays",
            "order_weekdays",
            "minimum_order_value",
            "is_active",
            "notes",
        ]
        read_only_fields = ["id"]

    def validate_closed_weekdays(self, weekdays: list[int]) -> list[int]:
        closed = sorted(set(weekdays))
        if len(closed) == 7:
            raise serializers.ValidationError(
                "A supplier that is closed on all seven days delivers nothing; leave out one."
            )
        return closed

    def validate_order_weekdays(self, weekdays: list[int]) -> list[int]:
        return sorted(set(weekdays))

    def validate(self, attrs: dict[str, Any]) -> dict[str, Any]:
        """A supplier takes orders on some day on which it is open."""
        taking = attrs.get("order_weekdays", getattr(self.instance, "order_weekdays", []))
        closed = attrs.get("closed_weekdays", getattr(self.instance, "closed_weekdays", weekend()))
        if taking and not set(taking) - set(closed):
            at = "order_weekdays" if "order_weekdays" in attrs else "closed_weekdays"
            sentence = "The supplier is closed on every day on which it takes orders; name one on which it is open."
            raise serializers.ValidationError({at: sentence})
        return attrs


class SupplierViewSet(ReadWriteViewSet):
    """Suppliers. One that items come from, or that has been ordered from, is made inactive rather than deleted."""

    resource = "supplier"
    queryset = Supplier.objects.all()
    serializer_class = SupplierSerializer
    filterset_fields = {"name": ["icontains"], "is_active": ["exact"]}
    ordering_fields = ["name", "lead_time_days"]
