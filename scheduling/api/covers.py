"""Service contracts and warranties: what clients do not pay for by the piece and the hour."""

from rest_framework import serializers

from accounts.http.serializers import TenantModelSerializer
from scheduling.api.prices import Entries
from scheduling.models import ServiceContract, Warranty

_COVERS = ["covers_parts", "covers_labour", "covers_travel", "starts_on", "ends_on"]


class ServiceContractSerializer(TenantModelSerializer):
    """A flat price of a client, and what it covers."""

    client_name = serializers.CharField(source="client.name", read_only=True)

    class Meta:
        model = ServiceContract
        fields = ["id", "client", "client_name", "unit", "name", "price", "per", "vat", *_COVERS]
        read_only_fields = ["id"]


class WarrantySerializer(TenantModelSerializer):
    """What of a unit or of an item is free for a while."""

    class Meta:
        model = Warranty
        fields = ["id", "unit", "item", *_COVERS]
        read_only_fields = ["id"]


class ServiceContractViewSet(Entries):
    """Contracts with a flat price. What they cover stands on invoices with price 0 and the reason; the flat price
    stands on the invoice of the month in which a period begins."""

    resource = "service_contract"
    queryset = ServiceContract.objects.select_related("client", "unit__site")
    serializer_class = ServiceContractSerializer
    filterset_fields = {"client": ["exact"], "unit": ["exact"], "starts_on": ["lte", "gte"], "ends_on": ["lte", "gte"]}
    ordering_fields = ["starts_on", "ends_on", "name"]
    search_fields = ["name", "client__name"]


class WarrantyViewSet(Entries):
    """Warranties. What they cover stands on invoices with price 0 and the reason."""

    resource = "warranty"
    queryset = Warranty.objects.select_related("unit__site", "item")
    serializer_class = WarrantySerializer
    filterset_fields = {"unit": ["exact"], "item": ["exact"], "ends_on": ["lte", "gte"]}
    ordering_fields = ["starts_on", "ends_on"]
