"""What must be in the van and on the shelf."""

from typing import ClassVar

from django.db import models
from django.db.models import Q

from accounts.day_alone_field import DayOrMomentField, KnowsDaysAlone, day_column
from accounts.models import Company
from accounts.tenancy import TenantModel
from fleet.models import CatalogueItem
from scheduling.models.installers import Installer
from scheduling.models.rounds import Plan, Round
from scheduling.models.visits import Visit


class StockLevel(KnowsDaysAlone, TenantModel):
    """Pieces of an item in the store (no installer) or in an installer's van."""

    company = models.ForeignKey(Company, on_delete=models.CASCADE, related_name="stock_levels")
    item = models.ForeignKey(CatalogueItem, on_delete=models.CASCADE, related_name="stock_levels")
    installer = models.ForeignKey(Installer, on_delete=models.CASCADE, null=True, blank=True, related_name="van_stock")
    quantity = models.PositiveIntegerField(default=0)
    lots = models.JSONField(
        default=list, blank=True, help_text="of the pieces, those whose lot or last day is known; first to expire first"
    )
    shelf = models.CharField(max_length=40, blank=True, help_text="where it lies there, in the company's own words")
    counted_on = day_column()
    counted_at = DayOrMomentField(day_column="counted_on")

    class Meta:
        ordering = ["company_id", "item_id", "pk"]
        constraints: ClassVar = [
            models.UniqueConstraint(fields=["item", "installer"], name="one_level_per_item_and_van"),
            models.UniqueConstraint(
                fields=["item"], condition=Q(installer__isnull=True), name="one_level_per_item_in_store"
            ),
        ]

    @property
    def trail_name(self) -> str:
        """The item, how many there are, and in whose van or in the store."""
        where = f"the van of {self.installer.name}" if self.installer is not None else "the store"
        return f"{self.item.code}, {self.quantity} in {where}"

    def __str__(self) -> str:
        return f"{self.quantity} x {self.item_id}"


class PartsList(TenantModel):
    """The parts for a visit, for a van's round, or for a period."""

    class Scope(models.TextChoices):
        VISIT = "visit", "visit"
        ROUND = "round", "round"
        PERIOD = "period", "period"

    company = models.ForeignKey(Company, on_delete=models.CASCADE, related_name="parts_lists")
    scope = models.CharField(max_length=6, choices=Scope)
    plan = models.ForeignKey(Plan, on_delete=models.CASCADE, null=True, blank=True, related_name="parts_lists")
    visit = models.ForeignKey(Visit, on_delete=models.CASCADE, null=True, blank=True, related_name="parts_lists")
    round = models.ForeignKey(Round, on_delete=models.CASCADE, null=True, blank=True, related_name="parts_lists")
    first_day = models.DateField()
    last_day = models.DateField()
    written_at = models.DateTimeField()

    class Meta:
        ordering = ["first_day", "pk"]
        constraints: ClassVar = [
            models.UniqueConstraint(fields=["round"], condition=Q(scope="round"), name="one_list_per_round"),
            models.UniqueConstraint(fields=["visit"], condition=Q(scope="visit"), name="one_list_per_visit"),
            models.UniqueConstraint(
                fields=["company", "first_day", "last_day"], condition=Q(scope="period"), name="one_list_per_period"
            ),
        ]

    def __str__(self) -> str:
        return f"parts for {self.scope} from {self.first_day}"


class PartsLine(TenantModel):
    """One item on a parts list; for a period also what is short and when it must be ordered."""

    TENANT_PATH = "parts_list__company_id"

    parts_list = models.ForeignKey(PartsList, on_delete=models.CASCADE, related_name="lines")
    item = models.ForeignKey(CatalogueItem, on_delete=models.PROTECT, related_name="+")
    quantity = models.PositiveIntegerField(help_text="pieces the visits take")
    spare = models.PositiveIntegerField(
        default=0,
        help_text="for a period: pieces beyond the visits, for what may be exhausted sooner than it is planned",
    )
    in_stock = models.PositiveIntegerField(
        default=0,
        help_text="pieces that are there: for a round in its van, for a visit in stock for it, for a period in stock",
    )
    reserved_elsewhere = models.PositiveIntegerField(
        default=0, help_text="for a round: pieces in its van, of those that are there, that other visits count on"
    )
    from_store = models.PositiveIntegerField(
        default=0, help_text="for a round: pieces that its van lacks and that the store has"
    )
    on_order = models.PositiveIntegerField(
        default=0, help_text="pieces on order; for a round and a visit only those that come in time"
    )
    late = models.PositiveIntegerField(
        default=0, help_text="pieces on order that come after the day of the visit that counts on them"
    )
    short = models.PositiveIntegerField(
        default=0,
        help_text="pieces that are lacking: for a round in its van, for a visit in time, for a period to be ordered",
    )
    packs_to_order = models.PositiveIntegerField(default=0)
    packs_now = models.PositiveIntegerField(
        default=0,
        help_text="for the weeks to order for: packs that cannot wait for the next look at what is to be ordered, so "
        "that the share of pieces that the policy asks for is there when it is wanted",
    )
    chance_of_running_out = models.FloatField(
        null=True,
        blank=True,
        help_text="for the weeks to order for: probability, 0 to 1, that a piece is missing before an order of the "
        "next look could be here, if none is ordered now",
    )
    needed_by = models.DateField(null=True, blank=True, help_text="day from which what is there may no longer suffice")
    order_by = models.DateField(null=True, blank=True, help_text="last day on which an order still comes in time")
    reasons = models.JSONField(default=list, blank=True, help_text="visits that take it: site, day, pieces, missing")
    sentence = models.TextField(blank=True, help_text="where the pieces come from, or why so many are to be ordered")

    class Meta:
        ordering: ClassVar = ["parts_list_id", "item_id", "pk"]
        constraints: ClassVar = [models.UniqueConstraint(fields=["parts_list", "item"], name="one_line_per_item")]

    def __str__(self) -> str:
        return f"{self.quantity} x {self.item_id}"
