"""What time, road, risk and bad water are worth to a company."""

from django.db import models

from accounts.models import Company
from accounts.tenancy import TenantModel


class CompanyPolicy(TenantModel):
    """The company's departures from the default policy of `scheduling.planning.policy.Policy`, field by field."""

    company = models.OneToOneField(Company, on_delete=models.CASCADE, related_name="policy")
    settings = models.JSONField(
        default=dict, blank=True, help_text="policy field to value; a missing field has its default"
    )
    updated_at = models.DateTimeField(auto_now=True)

    class Meta:
        ordering = ["company_id"]
        verbose_name_plural = "company policies"

    def __str__(self) -> str:
        return f"policy of {self.company_id}"
