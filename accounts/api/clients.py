"""The company's customers."""

from accounts.http.retiring import RETIRED_FIELDS, RetireMixin
from accounts.http.serializers import TenantModelSerializer
from accounts.http.viewsets import ReadWriteViewSet
from accounts.models import Client


class ClientSerializer(TenantModelSerializer):
    """A customer of the company."""

    class Meta:
        model = Client
        fields = ["id", "name", "email", "phone", "notes", *RETIRED_FIELDS, "created_at"]
        read_only_fields = ["id", *RETIRED_FIELDS, "created_at"]


class ClientViewSet(RetireMixin, ReadWriteViewSet):
    """The company's customers."""

    resource = "client"
    queryset = Client.objects.all()
    serializer_class = ClientSerializer
    filterset_fields = {"name": ["exact", "icontains"], "email": ["exact"]}
    ordering_fields = ["name", "created_at"]
    search_fields = ["name", "phone", "email"]
