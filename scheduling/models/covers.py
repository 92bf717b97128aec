"""What clients do not pay for by the piece and the hour: contracts with a flat price, and warranties."""

from datetime import date
from typing import ClassVar

from django.core.validators import MinValueValidator
from django.db import models
from django.db.models import F, Q

from accounts.models import Client, Company
from accounts.tenancy import TenantModel
from fleet.models import CatalogueItem, Unit
from scheduling.models.prices import Vat


class Cover(TenantModel):
    """From when until when what is free."""

    TRAILED = True

    covers_parts = models.BooleanField(default=True, help_text="whether pieces that are used are free")
    covers_labour = models.BooleanField(default=False, help_text="whether minutes of work are free")
    covers_travel = models.BooleanField(default=False, help_text="whether coming to the site is free")
    starts_on = models.DateField(help_text="first day of work that it holds for")

    class Meta:
        abstract = True

    ends_on: date | None

    def holds_on(self, day: date) -> bool:
        """Whether it holds for work of a day."""
        return self.starts_on <= day and (self.ends_on is None or day <= self.ends_on)


class ServiceContract(Cover):
    """A flat price of a client, for all that is theirs or for one unit, and what it covers."""

    class Per(models.TextChoices):
        MONTH = "month", "month"
        YEAR = "year", "year"

    company = models.ForeignKey(Company, on_delete=models.CASCADE, related_name="service_contracts")
    client = models.ForeignKey(Client, on_delete=models.RESTRICT, related_name="service_contracts")
    unit = models.ForeignKey(
        Unit,
        on_delete=models.RESTRICT,
        null=True,
        blank=True,
        related_name="service_contracts",
        help_text="id of the only unit it holds for; empty: all of the client's",
    )
    name = models.CharField(max_length=80, help_text="what it is called on invoices")
    ends_on = models.DateField(
        null=True, blank=True, help_text="last day of work that it holds for; empty: until somebody ends it"
    )
    price = models.DecimalField(
        max_digits=10,
        decimal_places=2,
        validators=[MinValueValidator(0)],
        help_text="net, for each period, in the company's currency; asked for when a period begins",
    )
    per = models.CharField(
        max_length=5, choices=Per, default=Per.MONTH, help_text="period of its price, counted from its first day"
    )
    vat = models.CharField(max_length=8, choices=Vat, default=Vat.STANDARD, help_text="name of the rate of its tax")

    class Meta:
        ordering: ClassVar = ["client_id", "starts_on", "pk"]
        constraints: ClassVar = [
            models.CheckConstraint(
                condition=Q(ends_on=None) | Q(ends_on__gte=F("starts_on")), name="a_contract_ends_after_it_starts"
            )
        ]

    def __str__(self) -> str:
        return self.name


class Warranty(Cover):
    """What is free for a while of a unit, of an item wherever it stands, or of an item in one unit."""

    company = models.ForeignKey(Company, on_delete=models.CASCADE, related_name="warranties")
    unit = models.ForeignKey(
        Unit, on_delete=models.CASCADE, null=True, blank=True, related_name="warranties", help_text="empty: any unit"
    )
    item = models.ForeignKey(
        CatalogueItem,
        on_delete=models.RESTRICT,
        null=True,
        blank=True,
        related_name="warranties",
        help_text="empty: all pieces used at the unit",
    )
    ends_on = models.DateField(help_text="last day of work that it holds for")

    class Meta:
        ordering: ClassVar = ["ends_on", "pk"]
        verbose_name_plural = "warranties"
        constraints: ClassVar = [
            models.CheckConstraint(
                condition=Q(unit__isnull=False) | Q(item__isnull=False), name="a_warranty_is_of_a_unit_or_an_item"
            ),
            models.CheckConstraint(condition=Q(ends_on__gte=F("starts_on")), name="a_warranty_ends_after_it_starts"),
            models.CheckConstraint(
                condition=Q(item=None) | Q(covers_labour=False, covers_travel=False),
                name="a_warranty_of_an_item_covers_its_pieces",
            ),
        ]

    def __str__(self) -> str:
        of = [str(row) for row in (self.unit, self.item) if row is not None]
        return f"{', '.join(of)} until {self.ends_on}"
