"""What a company counts as exhausted, where it is stricter than usual."""

from typing import ClassVar, Final

from django.core.validators import MaxValueValidator, MinValueValidator
from django.db import models

from accounts.models import Company
from accounts.tenancy import TenantModel
from fleet.engineering.limits import HOUSE
from fleet.models.units import Unit

_RANGES: Final = {
    "product_tds_mg_per_l": (0.05, 1000.0),
    "minimum_rejection_fraction": (HOUSE.minimum_rejection_fraction, 0.995),
    "prefilter_differential_pressure_kpa": (28.0, HOUSE.prefilter_differential_pressure_kpa),
    "chlorine_mg_per_l": (0.02, HOUSE.chlorine_mg_per_l),
    "lead_carbon_fraction": (0.05, HOUSE.lead_carbon_fraction),
    "carbon_maximum_service_time_days": (30.0, HOUSE.carbon_maximum_service_time_days),
    "membrane_flow_fraction": (HOUSE.membrane_flow_fraction, 0.98),
    "lead_resin_fraction": (0.2, HOUSE.lead_resin_fraction),
}


def _limit(name: str, help_text: str) -> "models.FloatField[float | None, float | None]":
    low, high = _RANGES[name]
    return models.FloatField(
        null=True, blank=True, validators=[MinValueValidator(low), MaxValueValidator(high)], help_text=help_text
    )


class ExhaustionLimits(TenantModel):
    """The company's limits for one use of the water, or for every use; what is empty keeps the usual limit.

    They only tighten: the usual limits (`fleet.engineering.limits.HOUSE`) and what a unit asks for itself stay the
    loosest there are.
    """

    TRAILED = True

    company = models.ForeignKey(Company, on_delete=models.CASCADE, related_name="exhaustion_limits")
    use = models.CharField(max_length=12, choices=Unit.Use, blank=True, help_text="empty: every use")
    product_tds_mg_per_l = _limit("product_tds_mg_per_l", "product TDS above which single or lag resin is exhausted")
    minimum_rejection_fraction = _limit("minimum_rejection_fraction", "rejection below which a membrane is exhausted")
    prefilter_differential_pressure_kpa = _limit(
        "prefilter_differential_pressure_kpa",
        "differential pressure over the prefilters at the design flow and 25 degC",
    )
    chlorine_mg_per_l = _limit("chlorine_mg_per_l", "chlorine after the last carbon")
    lead_carbon_fraction = _limit("lead_carbon_fraction", "share of its feed chlorine that a lead carbon may pass")
    carbon_maximum_service_time_days = _limit(
        "carbon_maximum_service_time_days", "days after which carbon is replaced, whatever it shows"
    )
    membrane_flow_fraction = _limit("membrane_flow_fraction", "permeate flow over its own run-in value")
    lead_resin_fraction = _limit("lead_resin_fraction", "outlet over permeate TDS at which a lead resin is exhausted")

    FOR_ANY_USE: ClassVar = ("product_tds_mg_per_l", "minimum_rejection_fraction")
    """Limits that may differ between uses; the others hold for every use alike."""

    RANGES: ClassVar = _RANGES
    """From the strictest that can be met to the usual limit; a loose product TDS is that of a unit itself."""

    class Meta:
        ordering = ["use", "pk"]
        verbose_name_plural = "exhaustion limits"
        constraints: ClassVar = [
            models.UniqueConstraint(fields=["company", "use"], name="one_row_of_limits_per_use"),
        ]

    def __str__(self) -> str:
        return f"limits of {self.company_id} for {self.use or 'every use'}"
