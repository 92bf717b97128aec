"""What engineering makes of one reading; derived, and recomputed whenever its inputs change."""

from django.db import models

from fleet.models.ownership import PassedOn
from fleet.models.readings import Reading


class ReadingIndicators(PassedOn):
    """Indicators of one reading; a missing one has its reason in `reasons`."""

    TENANT_PATH = "reading__unit__company_id"
    CLIENT_PATH = "reading__unit__site__client_id"
    HELD_THROUGH = "reading__unit"
    HAPPENED_AT = "reading__taken_at"

    reading = models.OneToOneField(Reading, on_delete=models.CASCADE, related_name="indicators", primary_key=True)
    values = models.JSONField(default=dict, help_text="indicator name to number, units in the names")
    uncertainties = models.JSONField(
        default=dict, help_text="indicator name to its standard uncertainty from the meters, in the same unit"
    )
    reasons = models.JSONField(default=dict, help_text="indicator name to why it cannot be had")
    valid_for_trend = models.BooleanField(default=False)
    computed_at = models.DateTimeField()

    class Meta:
        ordering = ["reading_id"]
        verbose_name_plural = "reading indicators"

    def __str__(self) -> str:
        return f"indicators of {self.reading_id}"
