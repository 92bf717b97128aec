"""How a company's vans really drive."""

from django.db import models

from accounts.models import Company
from accounts.tenancy import TenantModel


class RoadCalibration(TenantModel):
    """The road model of a company, fitted to its own past trips; refreshed every night."""

    company = models.OneToOneField(Company, on_delete=models.CASCADE, related_name="road_calibration")
    road = models.JSONField(
        default=dict, blank=True, help_text="settings of the fitted model; empty while the default one is in use"
    )
    trips = models.PositiveIntegerField(help_text="usable trips")
    error_before = models.FloatField(
        null=True,
        blank=True,
        help_text="median error of a trip's time as a share of it, by the default model, on trips not fitted to",
    )
    error_after = models.FloatField(null=True, blank=True, help_text="the same by the model in use")
    sentence = models.TextField()
    calibrated_at = models.DateTimeField()

    class Meta:
        ordering = ["company_id"]

    def __str__(self) -> str:
        return f"road model of {self.company_id}"
