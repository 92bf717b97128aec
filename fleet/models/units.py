"""Units, their train of positions, and the instruments that look at them."""

from datetime import date
from typing import ClassVar

from django.core.validators import MaxValueValidator, MinValueValidator
from django.db import models
from django.db.models import Q

from accounts.language import gettext_noop
from accounts.models import Company
from accounts.retirable import Retirable
from accounts.tenancy import TenantModel
from fleet.engineering.formats import CONNECTIONS, FLOW_DIRECTIONS, SIZES
from fleet.models.sites import Site


class Stage(models.TextChoices):
    """What a position does to the water, in train order."""

    SEDIMENT = "sediment", gettext_noop("sediment filter")
    CARBON = "carbon", gettext_noop("carbon")
    MEMBRANE = "membrane", gettext_noop("membrane")
    RESIN = "resin", gettext_noop("deionising resin")
    POST_CARBON = "post_carbon", gettext_noop("post-carbon")
    REMINERALISATION = "remineralisation", gettext_noop("remineralising cartridge")
    UV = "uv", gettext_noop("UV lamp")


class Unit(Retirable):
    """One RO or RO/DI unit."""

    TRAILED = True
    RETIRED_AFTER = "site"
    CLIENT_PATH = "site__client_id"
    UNIT_PATH = "pk"
    NAMED_BY = "code"

    class Use(models.TextChoices):
        REEF = "reef", gettext_noop("reef aquarium")
        PLANTED = "planted", gettext_noop("planted aquarium")
        DRINKING = "drinking", gettext_noop("drinking tap")
        COFFEE = "coffee", gettext_noop("coffee bar")
        LABORATORY = "laboratory", gettext_noop("laboratory")
        HYDROPONICS = "hydroponics", gettext_noop("hydroponics")
        FISH = "fish", gettext_noop("fish breeding")
        OTHER = "other", gettext_noop("another use")

    class Kind(models.TextChoices):
        RO = "ro", "RO"
        RO_DI = "ro_di", "RO/DI"

    class Tank(models.TextChoices):
        NONE = "none", "no tank"
        OPEN = "open", "open tank"
        PRESSURISED = "pressurised", "pressurised tank"

    class Stream(models.TextChoices):
        NONE = "none", "no totaliser"
        FEED = "feed", "feed"
        PERMEATE = "permeate", "permeate"

    class Restrictor(models.TextChoices):
        UNKNOWN = "unknown", "unknown"
        ORIFICE = "orifice", "orifice"
        CAPILLARY = "capillary", "capillary tube"

    company = models.ForeignKey(Company, on_delete=models.CASCADE, related_name="units")
    site = models.ForeignKey(Site, on_delete=models.PROTECT, related_name="units")
    client_since = models.DateTimeField(
        null=True,
        blank=True,
        help_text="when it passed to its present client; empty: it has been theirs from the start",
    )
    code = models.CharField(max_length=40, help_text="short name used in logs, unique in the company")
    name = models.CharField(max_length=120, blank=True)
    use = models.CharField(max_length=12, choices=Use)
    kind = models.CharField(max_length=6, choices=Kind)
    product_tds_target_mg_per_l = models.FloatField(
        validators=[MinValueValidator(0)], help_text="highest TDS the use allows, 0.5 scale"
    )
    weekly_demand_l = models.FloatField(
        validators=[MinValueValidator(0)], help_text="product water the client says is used in a week"
    )
    assumed = models.JSONField(
        default=list, blank=True, help_text="attributes that nobody told: what is usual of its use stands there"
    )
    commissioned_on = models.DateField()
    retired_on = models.DateField(null=True, blank=True)

    tank = models.CharField(max_length=12, choices=Tank, default=Tank.NONE)
    tank_volume_l = models.FloatField(null=True, blank=True, validators=[MinValueValidator(0)])
    tank_precharge_kpa = models.FloatField(null=True, blank=True, help_text="gauge")
    has_booster_pump = models.BooleanField(default=False)
    has_float_valve = models.BooleanField(default=False)
    has_automatic_shutoff_valve = models.BooleanField(default=False)
    has_check_valve = models.BooleanField(default=False)
    has_pressure_gauge = models.BooleanField(default=True)
    restrictor = models.CharField(max_length=10, choices=Restrictor, default=Restrictor.UNKNOWN)
    restrictor_flow_l_per_day = models.FloatField(
        null=True, blank=True, validators=[MinValueValidator(0)], help_text="concentrate flow of its rating"
    )
    restrictor_pressure_kpa = models.FloatField(null=True, blank=True, help_text="gauge pressure of its rating")
    design_recovery_fraction = models.FloatField(
        default=0.2, validators=[MinValueValidator(0.02), MaxValueValidator(0.95)], help_text="permeate over feed"
    )
    totaliser = models.CharField(
        max_length=10, choices=Stream, default=Stream.NONE, help_text="the stream its volume counter counts"
    )
    has_drinking_outlet = models.BooleanField(default=False)
    notes = models.TextField(blank=True)
    created_at = models.DateTimeField(auto_now_add=True)

    class Meta:
        ordering = ["code", "pk"]
        constraints: ClassVar = [models.UniqueConstraint(fields=["company", "code"], name="one_unit_of_a_code")]

    @classmethod
    def is_retired_on(cls, day: date) -> Q:
        """A unit is out of use from a day, which may have been set ahead."""
        return Q(retired_on__lte=day)

    @classmethod
    def is_in_use_on(cls, day: date) -> Q:
        """A unit that is not out of use on a day; it may be out of use later."""
        return Q(retired_on__isnull=True) | Q(retired_on__gt=day)

    def go_out_of_use(self, day: date) -> None:
        """It is out of use from this day on."""
        self.retired_on = min(self.retired_on or day, day)

    def come_back(self) -> None:
        """It is in use again."""
        self.retired_on = None

    def __str__(self) -> str:
        return self.code


class Position(TenantModel):
    """A place for one cartridge in the train; `order` counts from the feed."""

    TRAILED = True
    TENANT_PATH = "unit__company_id"
    CLIENT_PATH = "unit__site__client_id"

    class Role(models.TextChoices):
        SINGLE = "single", "single"
        LEAD = "lead", "lead"
        LAG = "lag", "lag"

    unit = models.ForeignKey(Unit, on_delete=models.CASCADE, related_name="positions")
    order = models.PositiveSmallIntegerField(validators=[MinValueValidator(1)])
    stage = models.CharField(max_length=16, choices=Stage)
    role = models.CharField(max_length=6, choices=Role, default=Role.SINGLE)
    cartridge_size = models.CharField(
        max_length=24,
        choices=list(SIZES.items()),
        blank=True,
        help_text="nominal size of the cartridges it takes; empty: that of what is or was last installed there",
    )
    connection = models.CharField(
        max_length=24,
        choices=list(CONNECTIONS.items()),
        blank=True,
        help_text="how they are fitted; empty: as what is or was last installed there",
    )
    flow_direction = models.CharField(
        max_length=24,
        choices=list(FLOW_DIRECTIONS.items()),
        blank=True,
        help_text="which way the water passes them; empty: as what is or was last installed there",
    )

    class Meta:
        ordering = ["unit_id", "order", "pk"]
        constraints: ClassVar = [
            models.UniqueConstraint(fields=["unit", "order"], name="one_position_per_place_in_train"),
            # Sediment filters may stand two in series, coarse and fine, without being lead and lag.
            models.UniqueConstraint(
                fields=["unit", "stage", "role"], condition=~Q(stage="sediment"), name="one_position_per_stage_and_role"
            ),
        ]

    def __str__(self) -> str:
        return f"{self.stage} {self.role}" if self.role != self.Role.SINGLE else str(self.stage)

    @classmethod
    def named(cls, text: str) -> Q | None:
        """The place that 'S02-1/resin/lead', 'S02-1/membrane' or, by its order in the train, 'S02-1/2' names."""
        unit, _, last = text.rpartition("/")
        if last.isascii() and last.isdigit() and len(last) < 6:
            return Q(unit__code__iexact=unit, order=int(last))
        before, _, stage = unit.rpartition("/")
        if last.lower() in cls.Role.values and before:
            return Q(unit__code__iexact=before, stage=stage.lower(), role=last.lower())
        return Q(unit__code__iexact=unit, stage=last.lower())

    @property
    def spoken_name(self) -> str:
        """Unit and stage with the role, or with the order where sediment filters stand one behind the other."""
        if self.stage == Stage.SEDIMENT:
            return f"{self.unit.code}/{self.order}"
        return f"{self.unit.code}/{self.stage}" + ("" if self.role == self.Role.SINGLE else f"/{self.role}")


class Instrument(Retirable):
    """A meter or gauge: fitted to one unit, or carried in a van (no unit)."""

    TRAILED = True
    CLIENT_PATH = "unit__site__client_id"
    UNIT_PATH = "unit_id"
    NAMED_BY = "name"

    company = models.ForeignKey(Company, on_delete=models.CASCADE, related_name="instruments")
    unit = models.ForeignKey(Unit, on_delete=models.CASCADE, null=True, blank=True, related_name="instruments")
    name = models.CharField(max_length=80)
    measures = models.JSONField(default=list, help_text="names of the reading quantities it measures")
    tds_factor = models.FloatField(
        default=0.5,
        validators=[MinValueValidator(0.4), MaxValueValidator(1.0)],
        help_text="mg/L shown per uS/cm at 25 degC",
    )
    compensates_temperature = models.BooleanField(default=True)
    accuracy_fraction = models.FloatField(
        default=0.02, validators=[MinValueValidator(0), MaxValueValidator(0.5)], help_text="of reading"
    )
    resolution = models.FloatField(
        default=1.0, validators=[MinValueValidator(0)], help_text="smallest step, in the canonical unit it measures"
    )

    class Meta:
        ordering = ["company_id", "name", "pk"]
        constraints: ClassVar = [models.UniqueConstraint(fields=["company", "name"], name="one_instrument_of_a_name")]

    def __str__(self) -> str:
        return self.name
