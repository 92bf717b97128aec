"""What comes out of the client's supply."""

from typing import ClassVar

from django.db import models
from django.db.models import Q

from accounts.day_alone import moment_in_words
from accounts.day_alone_field import DayOrMomentField, KnowsDaysAlone, day_column
from accounts.models import Membership
from fleet.models.corrections import CorrectableQuerySet, Voidable
from fleet.models.intake import IntakeBatch
from fleet.models.ownership import PassedOn
from fleet.models.sites import Site


class FeedWaterSample(KnowsDaysAlone, Voidable, PassedOn):
    """One analysis of a site's feed water; any field may be missing. A correction is a new row naming the old one."""

    TENANT_PATH = "site__company_id"
    CLIENT_PATH = "site__client_id"
    HELD_THROUGH = "site"
    PERSONAL_FIELDS = frozenset({"measured_by", "recorded_by"})

    QUANTITIES: ClassVar[tuple[str, ...]] = (
        "ph",
        "alkalinity_mg_per_l_as_caco3",
        "hardness_mg_per_l_as_caco3",
        "free_chlorine_mg_per_l",
        "total_chlorine_mg_per_l",
        "iron_mg_per_l",
        "manganese_mg_per_l",
        "silica_mg_per_l",
        "turbidity_ntu",
        "tds_mg_per_l",
        "temperature_degc",
    )

    site = models.ForeignKey(Site, on_delete=models.PROTECT, related_name="feed_water_samples")
    taken_on = day_column()
    taken_at = DayOrMomentField(day_column="taken_on")
    reference = models.CharField(max_length=80, blank=True)
    recorded_by = models.ForeignKey(Membership, on_delete=models.SET_NULL, null=True, blank=True, related_name="+")
    measured_by = models.CharField(max_length=80, blank=True)
    supply = models.CharField(max_length=80, blank=True, help_text="water works or district that fed the site then")
    method = models.CharField(max_length=80, blank=True)
    ph = models.FloatField(null=True, blank=True)
    alkalinity_mg_per_l_as_caco3 = models.FloatField(null=True, blank=True)
    hardness_mg_per_l_as_caco3 = models.FloatField(null=True, blank=True)
    free_chlorine_mg_per_l = models.FloatField(null=True, blank=True)
    total_chlorine_mg_per_l = models.FloatField(null=True, blank=True)
    iron_mg_per_l = models.FloatField(null=True, blank=True)
    manganese_mg_per_l = models.FloatField(null=True, blank=True)
    silica_mg_per_l = models.FloatField(null=True, blank=True)
    turbidity_ntu = models.FloatField(null=True, blank=True)
    tds_mg_per_l = models.FloatField(null=True, blank=True, help_text="0.5 scale")
    temperature_degc = models.FloatField(null=True, blank=True)
    as_sent = models.JSONField(default=dict, blank=True, help_text="each value with the digits and unit it was sent in")
    flags = models.JSONField(default=list, blank=True, help_text="what looked doubtful, as code and sentence")
    corrects = models.OneToOneField(
        "self", on_delete=models.PROTECT, null=True, blank=True, related_name="corrected_by"
    )
    received_at = models.DateTimeField()
    batch = models.ForeignKey(
        IntakeBatch, on_delete=models.SET_NULL, null=True, blank=True, related_name="feed_water_samples"
    )
    line = models.PositiveIntegerField(null=True, blank=True, help_text="line in that file, the header being 1")

    objects = CorrectableQuerySet.as_manager()  # type: ignore[misc]

    class Meta:
        ordering = ["-taken_at", "-pk"]
        constraints: ClassVar = [
            models.UniqueConstraint(
                fields=["site", "reference"], condition=~Q(reference=""), name="one_sample_per_reference"
            )
        ]
        indexes: ClassVar = [models.Index(fields=["site", "taken_at"], name="sample_by_site")]

    @property
    def trail_name(self) -> str:
        """The site and the day of the sample."""
        return f"{self.site.code}, {moment_in_words(self.taken_at)}"

    def __str__(self) -> str:
        return f"{self.site_id} {self.taken_at:%Y-%m-%d}"
