"""Sites whose visits belong together, or must be kept apart."""

from typing import ClassVar

from django.db import models
from django.db.models import F, Q

from accounts.models import Company
from accounts.tenancy import TenantModel
from fleet.models import Site


class SitePair(TenantModel):
    """Two sites that one installer visits one straight after the other, or never in one round."""

    class Rule(models.TextChoices):
        TOGETHER = "together", "one straight after the other, by the same installer"
        APART = "apart", "not in one round"

    company = models.ForeignKey(Company, on_delete=models.CASCADE, related_name="site_pairs")
    first_site = models.ForeignKey(Site, on_delete=models.CASCADE, related_name="+")
    second_site = models.ForeignKey(Site, on_delete=models.CASCADE, related_name="+")
    rule = models.CharField(max_length=10, choices=Rule)
    note = models.CharField(max_length=200, blank=True)

    class Meta:
        ordering: ClassVar = ["first_site_id", "second_site_id", "pk"]
        constraints: ClassVar = [
            models.CheckConstraint(condition=Q(second_site__gt=F("first_site")), name="pair_in_order_of_ids"),
            models.UniqueConstraint(fields=["first_site", "second_site"], name="one_rule_for_a_pair_of_sites"),
        ]

    def __str__(self) -> str:
        return f"{self.first_site_id} and {self.second_site_id}: {self.rule}"
