"""When the work at each unit was last worked out by the nightly run, and what was known then."""

from typing import ClassVar

from django.db import models

from accounts.tenancy import TenantModel
from fleet.models import Unit


class WorkReview(TenantModel):
    """What the needs of one unit and the visit to its site were last made from, as short marks, and until when they
    hold: where the marks are the same and that moment has not come, the nightly run leaves them as they are."""

    TENANT_PATH = "unit__company_id"

    unit = models.OneToOneField(Unit, on_delete=models.CASCADE, related_name="work_review", primary_key=True)
    made_of = models.CharField(max_length=40, help_text="mark of what its needs and visits are made from")
    left = models.CharField(max_length=40, help_text="mark of its needs and visits as they were left")
    reviewed_on = models.DateField(help_text="day on which they were last worked out")
    again_at = models.DateTimeField(help_text="when they are looked at again, whatever is new")

    class Meta:
        ordering: ClassVar = ["unit_id"]

    def __str__(self) -> str:
        return f"last review of the work at {self.unit_id}"
