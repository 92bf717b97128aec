"""The company a request acts for: one, without an id in its address."""

from typing import Any

from accounts.http.fields import OneOfField
from accounts.http.serializers import TenantModelSerializer
from accounts.http.viewsets import RetrieveMixin, UpdateMixin
from accounts.models import Company
from accounts.services.companies import update_company


class CompanySerializer(TenantModelSerializer):
    """The company you act for."""

    unit_system = OneOfField(
        choices=Company.UnitSystem.choices,
        required=False,
        help_text="the system quantities are answered in when the caller does not choose",
    )

    class Meta:
        model = Company
        fields = [
            "id",
            "name",
            "currency",
            "time_zone",
            "unit_system",
            "phone",
            "email",
            "address",
            "tax_number",
            "created_at",
        ]
        read_only_fields = ["id", "created_at"]


class CompanyViewSet(RetrieveMixin, UpdateMixin):
    """The company you act for; its owner may change it."""

    resource = "company"
    queryset = Company.objects.all()
    serializer_class = CompanySerializer

    def perform_update(self, serializer: Any) -> Company:
        return update_company(company=serializer.instance, by=self.by, now=self.now, **serializer.validated_data)

    def get_object(self) -> Any:
        company = self.get_queryset().get()
        self.check_object_permissions(self.request, company)
        return company
