"""Whom the company buys from."""

from rest_framework import serializers

from accounts.http.serializers import TenantModelSerializer
from accounts.http.viewsets import ReadWriteViewSet
from fleet.models import Supplier


class SupplierSerializer(TenantModelSerializer):
    """A firm the company buys from; which items come from it stands in the catalogue."""

    closed_weekdays = serializers.ListField(
        child=serializers.IntegerField(min_value=0, max_value=6),
        max_length=7,
        required=False,
        help_text="days on which it neither reads orders nor delivers, 0 Monday to 6 Sunday; empty list: none",
    )

    class Meta:
        model = Supplier
        fields = ["id", "name", "lead_time_days", "closed_weekdays", "minimum_order_value", "is_active", "notes"]
        read_only_fields = ["id"]

    def validate_closed_weekdays(self, weekdays: list[int]) -> list[int]:
        closed = sorted(set(weekdays))
        if len(closed) == 7:
            raise serializers.ValidationError(
                "A supplier that is closed on all seven days delivers nothing; leave out one."
            )
        return closed


class SupplierViewSet(ReadWriteViewSet):
    """Suppliers. One that items come from, or that has been ordered from, is made inactive rather than deleted."""

    resource = "supplier"
    queryset = Supplier.objects.all()
    serializer_class = SupplierSerializer
    filterset_fields = {"name": ["icontains"], "is_active": ["exact"]}
    ordering_fields = ["name", "lead_time_days"]
