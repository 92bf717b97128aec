"""Purchase orders: what was asked of which supplier, what came of it."""

from decimal import Decimal
from typing import ClassVar

from django.db import models
from django.db.models import F, Q

from accounts.models import Company, Membership
from accounts.tenancy import TenantModel
from fleet.models import CatalogueItem, Supplier
from scheduling.models.parts import PartsList


class PurchaseOrder(TenantModel):
    """An order to one supplier, in packs; a draft until it is placed."""

    class State(models.TextChoices):
        DRAFT = "draft", "draft"
        PLACED = "placed", "placed"
        PARTLY_RECEIVED = "partly_received", "partly received"
        RECEIVED = "received", "received"
        CANCELLED = "cancelled", "cancelled"

    company = models.ForeignKey(Company, on_delete=models.CASCADE, related_name="purchase_orders")
    supplier = models.ForeignKey(Supplier, on_delete=models.RESTRICT, related_name="orders")
    number = models.PositiveIntegerField(help_text="number of the order, counted up in the company")
    state = models.CharField(max_length=15, choices=State, default=State.DRAFT)
    parts_list = models.ForeignKey(
        PartsList,
        on_delete=models.SET_NULL,
        null=True,
        blank=True,
        related_name="+",
        help_text="id of the parts list it was last drafted from",
    )
    placed_on = models.DateField(null=True, blank=True)
    supplier_reference = models.CharField(max_length=80, blank=True, help_text="the supplier's own name for the order")
    note = models.TextField(blank=True)
    created_at = models.DateTimeField()
    updated_at = models.DateTimeField()
    closed_at = models.DateTimeField(null=True, blank=True, help_text="when all had come, or it was cancelled")

    class Meta:
        ordering = ["-number", "pk"]
        constraints: ClassVar = [
            models.UniqueConstraint(fields=["company", "number"], name="one_order_of_a_number"),
            models.UniqueConstraint(fields=["supplier"], condition=Q(state="draft"), name="one_draft_per_supplier"),
            models.CheckConstraint(
                condition=~Q(state__in=["placed", "partly_received", "received"]) | Q(placed_on__isnull=False),
                name="a_placed_order_has_its_day",
            ),
        ]

    def __str__(self) -> str:
        return f"order {self.number} ({self.state})"


class PurchaseOrderLine(TenantModel):
    """Whole packs of one item; pack, price and supplier part number as they were when it was drafted."""

    TENANT_PATH = "order__company_id"

    order = models.ForeignKey(PurchaseOrder, on_delete=models.CASCADE, related_name="lines")
    item = models.ForeignKey(CatalogueItem, on_delete=models.RESTRICT, related_name="+")
    supplier_part_number = models.CharField(max_length=60, blank=True)
    packs = models.PositiveIntegerField()
    suggested_packs = models.PositiveIntegerField(
        default=0, help_text="packs that the parts list asked for; 0: put in by hand"
    )
    pack_size = models.PositiveIntegerField()
    price = models.DecimalField(
        max_digits=10, decimal_places=2, help_text="price of one piece, in the company's currency"
    )
    received = models.PositiveIntegerField(default=0, help_text="pieces that have come")
    needed_by = models.DateField(null=True, blank=True)
    order_by = models.DateField(null=True, blank=True, help_text="last day on which it still comes in time")
    expected_on = models.DateField(null=True, blank=True, help_text="when it is to arrive; empty in a draft")
    wanted_for = models.JSONField(default=list, blank=True, help_text="visits that lack it: site, day, pieces")
    sentence = models.TextField(blank=True, help_text="why so many")

    class Meta:
        ordering: ClassVar = ["order_id", "item_id", "pk"]
        constraints: ClassVar = [
            models.UniqueConstraint(fields=["order", "item"], name="one_order_line_per_item"),
            models.CheckConstraint(
                condition=Q(received__lte=F("packs") * F("pack_size")), name="no_more_comes_than_was_ordered"
            ),
        ]

    def __str__(self) -> str:
        return f"{self.packs} packs of {self.item_id}"

    @property
    def quantity(self) -> int:
        """Pieces ordered."""
        return self.packs * self.pack_size

    @property
    def outstanding(self) -> int:
        """Pieces still to come."""
        return self.quantity - self.received

    @property
    def cost(self) -> Decimal:
        """What the line costs, in the company's currency."""
        return self.quantity * self.price


class Delivery(TenantModel):
    """What came of an order on one day; `reference` makes a repeated report harmless."""

    TENANT_PATH = "order__company_id"

    order = models.ForeignKey(PurchaseOrder, on_delete=models.CASCADE, related_name="deliveries")
    reference = models.CharField(max_length=80, help_text="number of the delivery note, or the sender's own name")
    received_on = models.DateField()
    received_by = models.ForeignKey(Membership, on_delete=models.SET_NULL, null=True, blank=True, related_name="+")
    pieces = models.JSONField(default=list, help_text="list of line, item, quantity, lot, expires_on")
    note = models.TextField(blank=True)
    recorded_at = models.DateTimeField()
    voided_at = models.DateTimeField(null=True, blank=True)
    voided_by = models.ForeignKey(Membership, on_delete=models.SET_NULL, null=True, blank=True, related_name="+")
    void_reason = models.CharField(max_length=400, blank=True)

    class Meta:
        ordering: ClassVar = ["order_id", "received_on", "pk"]
        verbose_name_plural = "deliveries"
        constraints: ClassVar = [
            models.UniqueConstraint(
                fields=["order", "reference"], condition=Q(voided_at=None), name="one_delivery_per_reference"
            )
        ]

    def __str__(self) -> str:
        return f"delivery {self.reference}"
