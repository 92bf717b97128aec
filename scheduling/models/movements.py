"""The ledger of stock: every piece that came, went or was counted, in rows that are never changed."""

from typing import Any, ClassVar

from django.db import models
from django.db.models import F, Q

from accounts.day_alone_field import DayOrMomentField, KnowsDaysAlone, day_column
from accounts.models import Company, Membership
from accounts.tenancy import TenantModel
from fleet.models import CatalogueItem
from scheduling.models.installers import Installer
from scheduling.models.orders import Delivery
from scheduling.models.visits import ServiceRecord


class StockMovement(KnowsDaysAlone, TenantModel):
    """Pieces of one item that went from a place to another, or a count.

    A row is written once. What was wrong is put right by its reversal, a row of its own that names it. The pieces on
    hand at a place are the sum of `put` there less the sum of `taken` there; `StockLevel` keeps that sum at hand.
    """

    class Kind(models.TextChoices):
        OPENING = "opening", "on hand when the ledger began"
        COUNT = "count", "counted"
        RECEIPT = "receipt", "received from a supplier"
        WORK = "work", "used at work"
        LEFTOVER = "leftover", "left over from work"
        TRANSFER = "transfer", "moved between store and van"
        RETURN = "return", "brought back from a site"
        SUPPLIER_RETURN = "supplier_return", "sent back to the supplier"
        SCRAP = "scrap", "scrapped"
        NOT_STOCKED = "not_stocked", "no longer kept there"

    class Place(models.TextChoices):
        OUTSIDE = "outside", "outside"
        STORE = "store", "store"
        VAN = "van", "van"

    #: Kinds that say how many pieces there are, and not how many moved.
    COUNTS = (Kind.OPENING, Kind.COUNT, Kind.NOT_STOCKED)

    company = models.ForeignKey(Company, on_delete=models.CASCADE, related_name="stock_movements")
    item = models.ForeignKey(CatalogueItem, on_delete=models.RESTRICT, related_name="stock_movements")
    kind = models.CharField(max_length=15, choices=Kind)
    from_place = models.CharField(max_length=7, choices=Place)
    from_installer = models.ForeignKey(Installer, on_delete=models.RESTRICT, null=True, blank=True, related_name="+")
    to_place = models.CharField(max_length=7, choices=Place)
    to_installer = models.ForeignKey(Installer, on_delete=models.RESTRICT, null=True, blank=True, related_name="+")
    pieces = models.PositiveIntegerField(help_text="pieces that moved; of a count, by how many it differs")
    taken = models.PositiveIntegerField(
        default=0, help_text="pieces by which it lowered what is on hand where they came from"
    )
    put = models.PositiveIntegerField(default=0, help_text="pieces by which it raised what is on hand where they went")
    uncounted = models.PositiveIntegerField(
        default=0, help_text="pieces that moved although no count knew of them, which says that a count is wrong"
    )
    counted = models.PositiveIntegerField(null=True, blank=True, help_text="of a count: pieces that were there")
    happened_on = day_column()
    happened_at = DayOrMomentField(day_column="happened_on")
    recorded_at = models.DateTimeField()
    by = models.ForeignKey(Membership, on_delete=models.SET_NULL, null=True, blank=True, related_name="+")
    reason = models.CharField(max_length=400, blank=True)
    lots = models.JSONField(
        default=list, blank=True, help_text="of the pieces, those of which somebody said the lot, or when they expire"
    )
    delivery = models.ForeignKey(Delivery, on_delete=models.RESTRICT, null=True, blank=True, related_name="movements")
    service_record = models.ForeignKey(
        ServiceRecord, on_delete=models.RESTRICT, null=True, blank=True, related_name="movements"
    )
    reversal_of = models.OneToOneField(
        "self",
        on_delete=models.RESTRICT,
        null=True,
        blank=True,
        related_name="reversal",
        help_text="id of the movement that this one takes back",
    )

    class Meta:
        ordering: ClassVar = ["-recorded_at", "-pk"]
        indexes: ClassVar = [models.Index(fields=["company", "item", "happened_at"], name="movements_of_an_item")]
        constraints: ClassVar = [
            models.CheckConstraint(
                condition=Q(from_place="van", from_installer__isnull=False)
                | (~Q(from_place="van") & Q(from_installer__isnull=True)),
                name="taken_from_a_van_of_somebody",
            ),
            models.CheckConstraint(
                condition=Q(to_place="van", to_installer__isnull=False)
                | (~Q(to_place="van") & Q(to_installer__isnull=True)),
                name="put_into_a_van_of_somebody",
            ),
            models.CheckConstraint(
                condition=(~Q(from_place="outside") | Q(taken=0)) & (~Q(to_place="outside") | Q(put=0)),
                name="nothing_is_on_hand_outside",
            ),
            models.CheckConstraint(
                condition=Q(taken__lte=F("pieces")) & Q(put__lte=F("pieces")) & Q(uncounted__lte=F("pieces")),
                name="no_more_is_booked_than_moved",
            ),
        ]

    @property
    def trail_name(self) -> str:
        """The item, and what became of how many."""
        return f"{self.item.code}, {self.kind}: {self.pieces} from {self.from_place} to {self.to_place}"

    def __str__(self) -> str:
        return f"{self.kind}: {self.pieces} x {self.item_id} from {self.from_place} to {self.to_place}"

    def save(self, *args: Any, **kwargs: Any) -> None:
        """Write the row; one that is written already is never changed."""
        if not self._state.adding:
            raise TypeError("a movement of stock is never changed; write its reversal")
        super().save(*args, **kwargs)
