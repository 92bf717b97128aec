"""When each unit was last reviewed by the nightly run, and what was known of it then."""

from typing import ClassVar

from django.db import models

from accounts.tenancy import TenantModel
from fleet.models.units import Unit


class UnitReview(TenantModel):
    """What the nightly run made its rows of one unit from, as short marks: where they are the same, nothing is news."""

    TENANT_PATH = "unit__company_id"

    unit = models.OneToOneField(Unit, on_delete=models.CASCADE, related_name="review", primary_key=True)
    indicators_of = models.CharField(max_length=40, blank=True, help_text="mark of what its indicators are made from")
    findings_of = models.CharField(max_length=40, blank=True, help_text="mark of what its findings are made from")
    findings_left = models.CharField(max_length=40, blank=True, help_text="mark of its findings as they were left")
    findings_again_at = models.DateTimeField(
        null=True, blank=True, help_text="when the passing of time alone may change its findings; empty: never"
    )

    class Meta:
        ordering: ClassVar = ["unit_id"]

    def __str__(self) -> str:
        return f"last review of {self.unit_id}"
