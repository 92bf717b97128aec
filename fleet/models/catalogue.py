"""What can be bought and fitted, with the attributes the engineering needs."""

from datetime import date
from decimal import Decimal
from typing import ClassVar

from django.core.validators import MaxValueValidator, MinValueValidator
from django.db import models
from django.db.models import Q

from accounts.models import Company
from accounts.retirable import Retirable
from accounts.tenancy import TenantModel
from fleet.engineering.formats import CONNECTIONS, FLOW_DIRECTIONS, SIZES
from fleet.engineering.lead_times import (
    LONGEST_LEAD_TIME_DAYS,
    LONGEST_LEAD_TIME_SD_DAYS,
    USUAL_LEAD_TIME_DAYS,
    WEEKEND,
)
from fleet.engineering.purposes import KINDS_WITH_PURPOSE, PURPOSES
from fleet.models.units import Stage

_NOT_NEGATIVE = [MinValueValidator(0)]
_FRACTION = [MinValueValidator(0), MaxValueValidator(1)]
_LEAD_TIME = [MaxValueValidator(LONGEST_LEAD_TIME_DAYS)]


def weekend() -> list[int]:
    """Saturday and Sunday, as weekday numbers from 0."""
    return sorted(WEEKEND)


class Supplier(TenantModel):
    """A firm the company buys from; prices are in the company's currency."""

    TRAILED = True
    NAMED_BY = "name"

    company = models.ForeignKey(Company, on_delete=models.CASCADE, related_name="suppliers")
    name = models.CharField(max_length=120)
    lead_time_days = models.PositiveIntegerField(
        default=USUAL_LEAD_TIME_DAYS,
        validators=_LEAD_TIME,
        help_text="calendar days from order to store, for items that state none of their own",
    )
    closed_weekdays = models.JSONField(
        default=weekend,
        blank=True,
        help_text="days on which it neither reads orders nor delivers, 0 Monday to 6 Sunday",
    )
    lead_time_sd_days = models.FloatField(
        null=True,
        blank=True,
        validators=[MinValueValidator(0), MaxValueValidator(LONGEST_LEAD_TIME_SD_DAYS)],
        help_text="standard deviation of its lead time in days, until enough of its deliveries have come to tell; "
        "empty: it keeps its lead time",
    )
    order_weekdays = models.JSONField(
        default=list,
        blank=True,
        help_text="days on which it takes orders, 0 Monday to 6 Sunday; empty: every day on which it is open",
    )
    email = models.EmailField(blank=True, help_text="where orders go")
    customer_number = models.CharField(max_length=60, blank=True, help_text="the company's number in its books")
    ship_to = models.TextField(
        blank=True, max_length=400, help_text="address it delivers to; empty: the company's own address"
    )
    minimum_order_value = models.DecimalField(
        max_digits=10,
        decimal_places=2,
        default=0,
        validators=_NOT_NEGATIVE,
        help_text="minimum value of an order, in the company's currency; 0: none",
    )
    is_active = models.BooleanField(default=True)
    notes = models.TextField(blank=True, help_text="how orders reach it, or what else to know")

    class Meta:
        ordering = ["name", "pk"]
        constraints: ClassVar = [models.UniqueConstraint(fields=["company", "name"], name="one_supplier_of_a_name")]

    def __str__(self) -> str:
        return self.name


class CatalogueItem(Retirable):
    """A consumable, an accessory or a small part; ratings are the label's, with the conditions they were stated for."""

    TRAILED = True
    NAMED_BY = "code"

    class Kind(models.TextChoices):
        SEDIMENT = "sediment", "sediment cartridge"
        CARBON = "carbon", "carbon cartridge"
        MEMBRANE = "membrane", "membrane"
        RESIN = "resin", "resin cartridge"
        POST_CARBON = "post_carbon", "post-carbon cartridge"
        REMINERALISATION = "remineralisation", "remineralising cartridge"
        UV = "uv", "UV lamp"
        ACCESSORY = "accessory", "accessory"
        SMALL_PART = "small_part", "small part"

    class Carbon(models.TextChoices):
        GRANULAR = "granular", "granular"
        BLOCK = "block", "block"
        CATALYTIC = "catalytic", "catalytic"

    class Material(models.TextChoices):
        POLYAMIDE = "polyamide", "polyamide thin film"
        CELLULOSE = "cellulose", "cellulose acetate"

    company = models.ForeignKey(Company, on_delete=models.CASCADE, related_name="catalogue_items")
    code = models.CharField(max_length=40)
    name = models.CharField(max_length=120)
    kind = models.CharField(max_length=16, choices=Kind)
    purpose = models.CharField(
        max_length=24,
        choices=list(PURPOSES.items()),
        blank=True,
        help_text="what an accessory or small part is for; empty for cartridges, and where sizing need not know",
    )
    price = models.DecimalField(
        max_digits=10, decimal_places=2, validators=_NOT_NEGATIVE, help_text="of one piece, in the company's currency"
    )
    price_breaks = models.JSONField(
        default=list,
        blank=True,
        help_text="lower prices of one piece for larger orders: list of from_packs and price, the fewest packs first",
    )
    pack_size = models.PositiveIntegerField(default=1, validators=[MinValueValidator(1)])
    supplier = models.ForeignKey(
        Supplier,
        on_delete=models.RESTRICT,
        null=True,
        blank=True,
        related_name="items",
        help_text="where it is ordered",
    )
    supplier_part_number = models.CharField(max_length=60, blank=True, help_text="part number at the supplier")
    lead_time_days = models.PositiveIntegerField(
        null=True,
        blank=True,
        validators=_LEAD_TIME,
        help_text="calendar days from order to store; empty: the supplier's",
    )
    is_active = models.BooleanField(default=True)
    maximum_service_time_days = models.PositiveIntegerField(
        null=True, blank=True, help_text="age from first installation at which it is replaced, whatever it reads"
    )

    cartridge_size = models.CharField(
        max_length=24, choices=list(SIZES.items()), blank=True, help_text="nominal size; empty where it is not stated"
    )
    connection = models.CharField(
        max_length=24, choices=list(CONNECTIONS.items()), blank=True, help_text="how it is fitted; empty: not stated"
    )
    flow_direction = models.CharField(
        max_length=24,
        choices=list(FLOW_DIRECTIONS.items()),
        blank=True,
        help_text="which way the water passes it; empty where it is not stated",
    )
    rated_volume_l = models.FloatField(
        null=True,
        blank=True,
        validators=_NOT_NEGATIVE,
        help_text="cartridge: volume of water on the label; tank: volume it holds",
    )
    rated_burning_hours = models.FloatField(
        null=True, blank=True, validators=_NOT_NEGATIVE, help_text="UV lamp: hours of burning on the label"
    )
    micron_rating_um = models.FloatField(null=True, blank=True, validators=_NOT_NEGATIVE)
    carbon_kind = models.CharField(max_length=10, choices=Carbon, blank=True)
    carbon_volume_l = models.FloatField(null=True, blank=True, validators=_NOT_NEGATIVE)
    chlorine_capacity_g = models.FloatField(null=True, blank=True, validators=_NOT_NEGATIVE, help_text="as Cl2")
    membrane_material = models.CharField(max_length=10, choices=Material, blank=True)
    rejection_fraction = models.FloatField(null=True, blank=True, validators=_FRACTION)
    rated_flow_l_per_day = models.FloatField(
        null=True,
        blank=True,
        validators=_NOT_NEGATIVE,
        help_text="membrane: permeate; restrictor: concentrate; booster pump: feed",
    )
    rated_pressure_kpa = models.FloatField(null=True, blank=True, help_text="gauge, of that flow")
    rated_temperature_degc = models.FloatField(null=True, blank=True)
    rated_tds_mg_per_l = models.FloatField(null=True, blank=True, help_text="as NaCl")
    rated_recovery_fraction = models.FloatField(null=True, blank=True, validators=_FRACTION)
    water_u_kelvin = models.FloatField(
        null=True, blank=True, help_text="temperature coefficient of the water flux; empty takes the two-slope default"
    )
    resin_volume_l = models.FloatField(null=True, blank=True, validators=_NOT_NEGATIVE)
    resin_capacity_eq_per_l = models.FloatField(null=True, blank=True, validators=_NOT_NEGATIVE)

    assumed = models.JSONField(
        default=list,
        blank=True,
        help_text="attributes that nobody read from the label: what is usual of its kind and size stands there",
    )

    class Meta:
        ordering = ["code", "pk"]
        constraints: ClassVar = [
            models.UniqueConstraint(fields=["company", "code"], name="one_item_of_a_code"),
            models.CheckConstraint(
                condition=~Q(kind="membrane")
                | Q(
                    rated_flow_l_per_day__isnull=False,
                    rated_pressure_kpa__isnull=False,
                    rated_temperature_degc__isnull=False,
                    rated_tds_mg_per_l__isnull=False,
                    rated_recovery_fraction__isnull=False,
                    rejection_fraction__isnull=False,
                )
                & ~Q(membrane_material=""),
                name="a_membrane_states_its_rating_conditions",
            ),
            models.CheckConstraint(
                condition=~Q(kind="resin") | Q(resin_volume_l__isnull=False, resin_capacity_eq_per_l__isnull=False),
                name="a_resin_states_volume_and_capacity",
            ),
            models.CheckConstraint(
                condition=Q(purpose="") | Q(kind__in=KINDS_WITH_PURPOSE),
                name="a_cartridge_has_no_purpose_beside_its_kind",
            ),
        ]

    def go_out_of_use(self, day: date) -> None:
        """It is no longer chosen."""
        self.is_active = False

    def come_back(self) -> None:
        """It can be chosen again."""
        self.is_active = True

    def __str__(self) -> str:
        return f"{self.code} {self.name}"

    def price_of(self, packs: int) -> Decimal:
        """Price of one piece in an order of so many packs, in the company's currency."""
        reached = [Decimal(each["price"]) for each in self.price_breaks if packs >= each["from_packs"]]
        return reached[-1] if reached else self.price

    @property
    def days_to_store(self) -> int:
        """Calendar days from order to store: its own, else its supplier's, else the usual ones."""
        if self.lead_time_days is not None:
            # rows from before there was a bound may lie past it
            return min(self.lead_time_days, LONGEST_LEAD_TIME_DAYS)
        return self.supplier.lead_time_days if self.supplier is not None else USUAL_LEAD_TIME_DAYS


class PartsRule(TenantModel):
    """A small thing a piece of work needs beside the cartridge: O-rings, sanitiser, test strips."""

    TRAILED = True

    class Per(models.TextChoices):
        POSITION = "position", "each position worked on"
        UNIT = "unit", "each unit worked on"
        VISIT = "visit", "each visit"

    company = models.ForeignKey(Company, on_delete=models.CASCADE, related_name="parts_rules")
    item = models.ForeignKey(CatalogueItem, on_delete=models.PROTECT, related_name="rules")
    # as wide as the cause of a finding, which it may name
    work = models.CharField(max_length=60, blank=True, help_text="kind of need, such as 'replace'; empty for any work")
    stage = models.CharField(max_length=16, choices=Stage, blank=True, help_text="empty for any stage")
    per = models.CharField(max_length=10, choices=Per, default=Per.POSITION)
    quantity = models.PositiveIntegerField(default=1, validators=[MinValueValidator(1)])

    class Meta:
        ordering = ["company_id", "work", "stage", "pk"]
        constraints: ClassVar = [
            models.UniqueConstraint(
                fields=["company", "item", "work", "stage", "per"], name="one_rule_per_item_and_work"
            )
        ]

    def __str__(self) -> str:
        return f"{self.quantity} x {self.item_id} per {self.per}"
