"""When each position will be exhausted, and how surely."""

from typing import ClassVar, Final

from django.db import models

from accounts.models import Company
from accounts.tenancy import TenantModel
from fleet.models.ownership import PassedOn
from fleet.models.placements import Placement
from fleet.models.units import Position

FRESH_HELP: Final = "days within which a fresh cartridge at this position would be exhausted with {} probability"


class Forecast(PassedOn):
    """A distribution of the exhaustion date for one position as of one day; a row per position and day is kept."""

    TENANT_PATH = "position__unit__company_id"
    CLIENT_PATH = "position__unit__site__client_id"
    HELD_THROUGH = "position__unit"
    HAPPENED_AT = "computed_at"

    class Driver(models.TextChoices):
        CAPACITY = "capacity", "capacity exhausted"
        PRESSURE = "pressure", "differential pressure"
        BREAKTHROUGH = "breakthrough", "breakthrough"
        MEMBRANE_TREND = "membrane_trend", "membrane trend"
        MAXIMUM_SERVICE_TIME = "maximum_service_time", "maximum service time"

    class State(models.TextChoices):
        INSTALLED = "installed", "installed"
        EXHAUSTED = "exhausted", "exhausted"
        EMPTY = "empty", "no cartridge recorded"
        NO_CONSUMPTION = "no_consumption", "no consumption, no date"

    position = models.ForeignKey(Position, on_delete=models.CASCADE, related_name="forecasts")
    placement = models.ForeignKey(Placement, on_delete=models.CASCADE, null=True, blank=True, related_name="forecasts")
    as_of = models.DateField()
    computed_at = models.DateTimeField()
    is_latest = models.BooleanField(default=True)
    state = models.CharField(max_length=16, choices=State)
    date_grid = models.JSONField(
        default=list,
        blank=True,
        help_text="the whole distribution: tenths of a day from the start of the day `as_of` to the exhaustion date, "
        "one for each of the levels of `fleet.forecasting.GRID_LEVELS`; empty where there is no date",
    )
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
    fresh_life_p10_days = models.FloatField(null=True, blank=True, help_text=FRESH_HELP.format("10 %"))
    fresh_life_p50_days = models.FloatField(null=True, blank=True, help_text=FRESH_HELP.format("50 %"))
    fresh_life_p90_days = models.FloatField(null=True, blank=True, help_text=FRESH_HELP.format("90 %"))
    daily_load = models.FloatField(null=True, blank=True)
    daily_load_unit = models.CharField(max_length=20, blank=True)
    driver = models.CharField(max_length=24, choices=Driver, blank=True)
    made_from = models.CharField(
        max_length=20, blank=True, help_text="mark of the records it was made from; another mark: it is out of date"
    )
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


class FleetLesson(TenantModel):
    """What the fleet of a company has taught its forecasts: kept, so that a few units can be forecast alone."""

    TENANT_PATH = "company_id"

    company = models.OneToOneField(Company, on_delete=models.CASCADE, related_name="fleet_lesson")
    as_of = models.DateField()
    computed_at = models.DateTimeField()
    unit_count = models.PositiveIntegerField(help_text="units that taught")
    fleet_units = models.PositiveIntegerField(default=0, help_text="units the company had in service then")
    learned = models.JSONField(help_text="parameters by stage, means by name")

    class Meta:
        ordering = ["company_id"]

    def __str__(self) -> str:
        return f"lesson of {self.company_id} as of {self.as_of}"


class ForecastScore(TenantModel):
    """How good one method of forecasting was for one kind of position, replayed over a span of the company's past."""

    TENANT_PATH = "company_id"

    class Method(models.TextChoices):
        LEARNED = "learned", "the forecasts of this service"
        FIXED_INTERVAL = "fixed_interval", "a fixed interval by stage"
        LABEL_OVER_LOAD = "label_over_load", "label capacity over mean load"
        STRAIGHT_LINE = "straight_line", "a straight line through the last readings"

    class Grouping(models.TextChoices):
        ALL = "all", "all positions"
        KIND = "kind", "by stage and role"
        RICHNESS = "richness", "by readings of the cartridge that stood"

    company = models.ForeignKey(Company, on_delete=models.CASCADE, related_name="forecast_scores")
    computed_at = models.DateTimeField()
    is_latest = models.BooleanField(default=True)
    first_cut = models.DateField()
    last_cut = models.DateField()
    known_until = models.DateField(help_text="day until which it is known what became of the cartridges")
    grouping = models.CharField(max_length=10, choices=Grouping)
    group = models.CharField(max_length=20)
    method = models.CharField(max_length=16, choices=Method)
    forecasts = models.PositiveIntegerField()
    observed = models.PositiveIntegerField(
        help_text="of these, whose cartridge was seen to be exhausted; others are known to have lasted so long only"
    )
    pinball_share = models.FloatField(
        null=True, blank=True, help_text="mean pinball loss of the dates as a share of the life by the label; 0 is best"
    )
    median_error_share = models.FloatField(
        null=True,
        blank=True,
        help_text="median absolute error of the median date as a share of the life by the label; seen ends only",
    )
    median_error_days = models.FloatField(null=True, blank=True)
    coverage_50 = models.FloatField(
        null=True,
        blank=True,
        help_text="share of the lives that ended within the 50 % interval, lives that go on included; 0.5 is right",
    )
    coverage_80 = models.FloatField(null=True, blank=True)
    coverage_90 = models.FloatField(null=True, blank=True)
    driver_named = models.FloatField(
        null=True,
        blank=True,
        help_text="share of the lives seen to end whose cause, wear or maximum service time, was foretold",
    )

    class Meta:
        ordering = ["-computed_at", "grouping", "group", "method", "pk"]
        constraints: ClassVar = [
            models.UniqueConstraint(
                fields=["company", "first_cut", "last_cut", "known_until", "grouping", "group", "method"],
                name="one_score_per_replay_group_and_method",
            )
        ]

    def __str__(self) -> str:
        return f"{self.method} of {self.group}, {self.first_cut} to {self.last_cut}"
