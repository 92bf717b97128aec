"""The company a request acts for: one, without an id in its address."""

from typing import Any

from rest_framework import serializers

from accounts.http.serializers import TenantModelSerializer
from accounts.http.viewsets import RetrieveMixin, UpdateMixin
from accounts.models import Company, Membership
from accounts.permissions import check_recent
from accounts.services.companies import update_company


class CompanySerializer(TenantModelSerializer):
    """The company you act for."""

    unit_system = serializers.ChoiceField(
        choices=Company.UnitSystem.choices,
        required=False,
        help_text="the system quantities are answered in when the caller does not choose",
    )

    installers_see = serializers.ChoiceField(
        choices=Company.InstallersSee.choices,
        required=False,
        help_text="of which clients installers read names, numbers, messages and how to get in: those of their visits "
        "and rounds, a week before and after, or all",
    )
    second_factor_roles = serializers.ListField(
        child=serializers.ChoiceField(choices=Membership.Role.choices),
        required=False,
        max_length=4,
        help_text="roles that must sign in with a code beside the password; who signed in without one can do nothing "
        "but set it up. To name your own role, sign in with a code first. A change asks for a recent password or code",
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
            "second_factor_roles",
            "installers_see",
            "created_at",
        ]
        read_only_fields = ["id", "created_at"]


class CompanyViewSet(RetrieveMixin, UpdateMixin):
    """The company you act for; its owner may change it."""

    resource = "company"
    queryset = Company.objects.all()
    serializer_class = CompanySerializer

    def perform_update(self, serializer: Any) -> Company:
        if "second_factor_roles" in serializer.validated_data:
            check_recent(self.by, self.now)
        return update_company(company=serializer.instance, by=self.by, now=self.now, **serializer.validated_data)

    def get_object(self) -> Any:
        company = self.get_queryset().get()
        self.check_object_permissions(self.request, company)
        return company
