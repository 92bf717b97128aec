"""Which cartridge stood where, from when to when, and why it left."""

from typing import ClassVar

from django.db import models
from django.db.models import F, Q

from accounts.day_alone_field import DayOrMomentField, KnowsDaysAlone, day_column
from accounts.models import Membership
from accounts.tenancy import TenantQuerySet
from fleet.engineering.positions import position_name
from fleet.models.catalogue import CatalogueItem
from fleet.models.corrections import InForceManager, Voidable
from fleet.models.ownership import PassedOn
from fleet.models.units import Position


class Placement(KnowsDaysAlone, Voidable, PassedOn):
    """One cartridge in one position from a day to a day.

    A cartridge moved from lag to lead ends one stay ('rotated') and begins another that names it in `continues`: its
    used capacity and its age go with it.

    What was entered wrongly is voided, and what was true instead is a new row that names it in `corrects`. `objects`
    holds what is in force; whoever wants to read what was taken back asks `with_voided`.
    """

    TENANT_PATH = "position__unit__company_id"
    CLIENT_PATH = "position__unit__site__client_id"
    HELD_THROUGH = "position__unit"
    HAPPENED_AT = "placed_at"
    ENDED_AT = "removed_at"
    LATER_FIELDS = frozenset({"removed_at", "removal"})

    class Removal(models.TextChoices):
        EXHAUSTED = "exhausted", "seen to be exhausted"
        EARLY = "early", "found good, changed early"
        ROTATED = "rotated", "moved to another position"
        DAMAGED = "damaged", "damaged"
        ROUTINE = "routine", "changed in routine, not looked at"
        UNKNOWN = "unknown", "not known"

    position = models.ForeignKey(Position, on_delete=models.CASCADE, related_name="placements")
    item = models.ForeignKey(CatalogueItem, on_delete=models.PROTECT, related_name="placements")
    serial_or_lot = models.CharField(max_length=60, blank=True)
    placed_on = day_column()
    placed_at = DayOrMomentField(day_column="placed_on")
    removed_on = day_column()
    removed_at = DayOrMomentField(day_column="removed_on", null=True, blank=True)
    removal = models.CharField(max_length=10, choices=Removal, blank=True)
    first_installed_on = day_column()
    first_installed_at = DayOrMomentField(
        day_column="first_installed_on", help_text="when this cartridge first went into service in the unit"
    )
    continues = models.OneToOneField(
        "self", on_delete=models.SET_NULL, null=True, blank=True, related_name="continued_by"
    )
    corrects = models.OneToOneField(
        "self", on_delete=models.PROTECT, null=True, blank=True, related_name="corrected_by"
    )
    entered_by = models.ForeignKey(Membership, on_delete=models.SET_NULL, null=True, blank=True, related_name="+")
    entered_at = models.DateTimeField(
        null=True, blank=True, help_text="when it was entered; empty of before we noted it"
    )

    objects = InForceManager()  # type: ignore[misc]
    with_voided = TenantQuerySet.as_manager()

    class Meta:
        ordering = ["position_id", "placed_at", "pk"]
        constraints: ClassVar = [
            models.UniqueConstraint(
                fields=["position"],
                condition=Q(removed_at__isnull=True, voided_at__isnull=True),
                name="one_cartridge_stands_in_a_position",
            ),
            models.CheckConstraint(
                condition=Q(removed_at__isnull=True) | Q(removed_at__gte=F("placed_at")), name="removed_after_placed"
            ),
            models.CheckConstraint(
                condition=(Q(removed_at__isnull=True) & Q(removal="")) | (Q(removed_at__isnull=False) & ~Q(removal="")),
                name="a_removal_has_a_reason",
            ),
        ]
        indexes: ClassVar = [models.Index(fields=["position", "placed_at"], name="placement_by_position")]

    @property
    def trail_name(self) -> str:
        """The unit, the place in it, what stood there and from when."""
        place = position_name(self.position.stage, self.position.role)
        return f"{self.position.unit.code}, {place}: {self.item.code} from {self.placed_at:%Y-%m-%d}"

    def __str__(self) -> str:
        return f"{self.item_id} in {self.position_id} from {self.placed_at:%Y-%m-%d}"
