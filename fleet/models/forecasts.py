"""When each position will be exhausted, and how surely."""

from typing import ClassVar

from django.db import models

from accounts.tenancy import TenantModel
from fleet.models.placements import Placement
from fleet.models.units import Position


class Forecast(TenantModel):
    """A distribution of the exhaustion date for one position as of one day; a row per position and day is kept."""

    TENANT_PATH = "position__unit__company_id"
    CLIENT_PATH = "position__unit__site__client_id"

    class Driver(models.TextChoices):
        CAPACITY = "capacity", "capacity used up"
        PRESSURE = "pressure", "pressure drop"
        BREAKTHROUGH = "breakthrough", "breakthrough"
        MEMBRANE_TREND = "membrane_trend", "membrane trend"
        TIME_CAP = "time_cap", "longest service time"

    class State(models.TextChoices):
        STANDING = "standing", "in service"
        SPENT = "spent", "already exhausted"
        EMPTY = "empty", "no cartridge recorded"
        NO_CONSUMPTION = "no_consumption", "no consumption, no date"

    position = models.ForeignKey(Position, on_delete=models.CASCADE, related_name="forecasts")
    placement = models.ForeignKey(Placement, on_delete=models.CASCADE, null=True, blank=True, related_name="forecasts")
    as_of = models.DateField()
    computed_at = models.DateTimeField()
    is_latest = models.BooleanField(default=True)
    state = models.CharField(max_length=16, choices=State)
    p05 = models.DateField(null=True, blank=True)
    p10 = models.DateField(null=True, blank=True)
    p25 = models.DateField(null=True, blank=True)
    p50 = models.DateField(null=True, blank=True)
    p75 = models.DateField(null=True, blank=True)
    p90 = models.DateField(null=True, blank=True)
    p95 = models.DateField(null=True, blank=True)
    remaining_share = models.FloatField(
        null=True, blank=True, help_text="median share of the useful life that is left, 0 to 1"
    )
    daily_load = models.FloatField(null=True, blank=True)
    daily_load_unit = models.CharField(max_length=20, blank=True)
    driver = models.CharField(max_length=16, choices=Driver, blank=True)
    evidence = models.JSONField(
        default=dict, blank=True, help_text="readings used and excluded, the age of the newest, the priors"
    )
    installer_sentence = models.TextField(blank=True)
    client_sentence = models.TextField(blank=True)

    class Meta:
        ordering = ["position_id", "-as_of", "-pk"]
        constraints: ClassVar = [
            models.UniqueConstraint(fields=["position", "as_of"], name="one_forecast_per_position_and_day")
        ]
        indexes: ClassVar = [models.Index(fields=["is_latest", "p50"], name="forecast_latest_by_date")]

    def __str__(self) -> str:
        return f"{self.position_id} as of {self.as_of}"
