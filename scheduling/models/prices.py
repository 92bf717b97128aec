"""What the company asks its clients for: prices of sale and the rates of value added tax, each from a day on."""

from decimal import Decimal
from typing import ClassVar

from django.core.validators import MaxValueValidator, MinValueValidator
from django.db import models
from django.db.models import Q

from accounts.models import Company
from accounts.tenancy import TenantModel
from fleet.models import CatalogueItem

_NOT_NEGATIVE = [MinValueValidator(Decimal(0))]


class Vat(models.TextChoices):
    """The rates of value added tax by name; what is not taxed has none."""

    STANDARD = "standard", "standard rate"
    REDUCED = "reduced", "reduced rate"
    NONE = "none", "no tax"


#: Those of which somebody has to say how high they are.
TAXED = [choice for choice in Vat.choices if choice[0] != "none"]


class VatRate(TenantModel):
    """How high a rate is, from a day on. 'none' is 0 % always, and has no row."""

    TRAILED = True

    company = models.ForeignKey(Company, on_delete=models.CASCADE, related_name="vat_rates")
    vat = models.CharField(max_length=8, choices=TAXED)
    percent = models.DecimalField(
        max_digits=5,
        decimal_places=2,
        validators=[*_NOT_NEGATIVE, MaxValueValidator(Decimal(100))],
        help_text="of the net amount, 0 to 100",
    )
    valid_from = models.DateField(help_text="first day of work for which it holds")

    class Meta:
        ordering: ClassVar = ["vat", "-valid_from", "pk"]
        constraints: ClassVar = [
            models.UniqueConstraint(fields=["company", "vat", "valid_from"], name="one_vat_rate_from_a_day")
        ]

    def __str__(self) -> str:
        return f"{self.vat} from {self.valid_from}"


class SalesPrice(TenantModel):
    """The net price of an item, of a call-out or of an hour of work, from a day on."""

    TRAILED = True

    class Kind(models.TextChoices):
        ITEM = "item", "a piece of an item"
        CALL_OUT = "call_out", "coming to the site"
        HOUR = "hour", "an hour of work"

    company = models.ForeignKey(Company, on_delete=models.CASCADE, related_name="sales_prices")
    kind = models.CharField(max_length=8, choices=Kind, default=Kind.ITEM, help_text="what is priced")
    item = models.ForeignKey(
        CatalogueItem,
        on_delete=models.RESTRICT,
        null=True,
        blank=True,
        related_name="sales_prices",
        help_text="of an item: its id; else empty",
    )
    price = models.DecimalField(
        max_digits=10, decimal_places=2, validators=_NOT_NEGATIVE, help_text="net, in the company's currency"
    )
    vat = models.CharField(max_length=8, choices=Vat, default=Vat.STANDARD, help_text="name of the rate of its tax")
    valid_from = models.DateField(help_text="first day of work for which it holds")

    class Meta:
        ordering: ClassVar = ["kind", "item_id", "-valid_from", "pk"]
        constraints: ClassVar = [
            models.UniqueConstraint(
                fields=["company", "item", "valid_from"],
                condition=Q(item__isnull=False),
                name="one_sales_price_of_an_item_from_a_day",
            ),
            models.UniqueConstraint(
                fields=["company", "kind", "valid_from"],
                condition=Q(item__isnull=True),
                name="one_sales_price_of_work_from_a_day",
            ),
            models.CheckConstraint(
                condition=Q(kind="item", item__isnull=False) | (~Q(kind="item") & Q(item__isnull=True)),
                name="a_sales_price_is_of_an_item_or_of_work",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.item.code if self.item is not None else self.kind} from {self.valid_from}"
