"""What must be done at a unit, and what each day of waiting costs."""

from typing import ClassVar

from django.db import models
from django.db.models import Q

from accounts.day_alone_field import DayOrMomentField, KnowsDaysAlone, day_column
from accounts.language import gettext_noop
from accounts.models import Company
from accounts.tenancy import TenantModel
from fleet.models import CatalogueItem, Finding, Forecast, Position, Site, Unit


class Need(KnowsDaysAlone, TenantModel):
    """One task with a cost-by-date curve; it comes from a forecast, a finding or a person."""

    CLIENT_PATH = "site__client_id"

    class Kind(models.TextChoices):
        REPLACE = "replace", gettext_noop("replace cartridge")
        ROTATE = "rotate", gettext_noop("discard lead, move lag to lead, fresh lag")
        SANITISE = "sanitise", gettext_noop("sanitise")
        INSPECT = "inspect", gettext_noop("inspect and take readings")
        REPAIR = "repair", gettext_noop("repair")
        FIT_BOOSTER_PUMP = "fit_booster_pump", gettext_noop("fit booster pump")
        REPLACE_RESTRICTOR = "replace_restrictor", gettext_noop("replace flow restrictor")
        TAKE_READING = "take_reading", gettext_noop("take a reading")
        VERIFY_INSTRUMENTS = "verify_instruments", gettext_noop("verify instruments")
        COMMISSION = "commission", gettext_noop("commission")

    class State(models.TextChoices):
        OPEN = "open", "open"
        DONE = "done", "done"
        DROPPED = "dropped", "no longer needed"

    class Source(models.TextChoices):
        FORECAST = "forecast", "forecast"
        FINDING = "finding", "finding"
        CALENDAR = "calendar", "due by the calendar"
        PERSON = "person", "asked for by a person"

    class ReadingWay(models.TextChoices):
        ASK_CLIENT = "ask_client", "ask the client"
        NEXT_VISIT = "next_visit", "read at the next visit"
        SEND = "send", "send somebody"

    #: What the client is asked for takes no visit, no parts and no time of an installer.
    TAKES_A_VISIT: ClassVar[Q] = ~Q(reading_way="ask_client")

    company = models.ForeignKey(Company, on_delete=models.CASCADE, related_name="needs")
    site = models.ForeignKey(Site, on_delete=models.CASCADE, related_name="needs")
    unit = models.ForeignKey(Unit, on_delete=models.CASCADE, related_name="needs")
    position = models.ForeignKey(Position, on_delete=models.CASCADE, null=True, blank=True, related_name="needs")
    kind = models.CharField(max_length=20, choices=Kind)
    source = models.CharField(max_length=10, choices=Source, default=Source.PERSON)
    label = models.CharField(max_length=200, blank=True, help_text="what a sentence calls it, such as 'lead resin'")
    key = models.CharField(
        max_length=120, help_text="the same need has the same key, so that finding it again changes nothing"
    )
    state = models.CharField(max_length=10, choices=State, default=State.OPEN)
    item = models.ForeignKey(
        CatalogueItem,
        on_delete=models.SET_NULL,
        null=True,
        blank=True,
        related_name="+",
        help_text="id of the item that will be fitted; null where there is none",
    )
    missing_part = models.TextField(
        blank=True, help_text="what to look for where the catalogue has no part that fits; empty where it has"
    )
    forecast = models.ForeignKey(Forecast, on_delete=models.SET_NULL, null=True, blank=True, related_name="needs")
    lag_forecast = models.ForeignKey(
        Forecast,
        on_delete=models.SET_NULL,
        null=True,
        blank=True,
        related_name="+",
        help_text="id of the forecast of the lag behind a lead: the water goes bad only when that is exhausted too",
    )
    finding = models.ForeignKey(Finding, on_delete=models.SET_NULL, null=True, blank=True, related_name="needs")
    cause = models.CharField(max_length=60, blank=True, help_text="code of the cause, where a finding is behind it")
    minutes = models.PositiveIntegerField()
    skills = models.JSONField(default=list, blank=True, help_text="what the installer must be able to do")
    price = models.FloatField(
        default=0.0, help_text="price of what is thrown away, as if it were new, in the company's currency"
    )
    late_cost_per_day = models.FloatField(
        default=0.0, help_text="what a day of being late costs, in the company's currency"
    )
    exhausted_cost_per_day = models.FloatField(
        default=0.0,
        help_text="what a day with an exhausted lead costs while its lag is not exhausted, in the company's currency",
    )
    reading_way = models.CharField(
        max_length=10, choices=ReadingWay, blank=True, help_text="how a wanted reading is had; empty of other work"
    )
    reads = models.JSONField(default=list, blank=True, help_text="stored names of the quantities to be read")
    reading_of = models.ForeignKey(
        Position,
        on_delete=models.SET_NULL,
        null=True,
        blank=True,
        related_name="+",
        help_text="position of which the reading tells most; empty where all of the unit is to be read",
    )
    reading_saves = models.FloatField(
        default=0.0, help_text="money that the reading is expected to save, as the work is then planned by it"
    )
    reading_price = models.FloatField(default=0.0, help_text="money that the reading costs")
    is_urgent = models.BooleanField(default=False)
    not_before = models.DateField(null=True, blank=True)
    due_on = models.DateField(
        null=True, blank=True, help_text="day from which it is late, where no forecast speaks; empty: from the start"
    )
    deadline = models.DateField(
        null=True, blank=True, help_text="last day on which it may be done, by law or hygiene; null where there is none"
    )
    best_day = models.DateField(null=True, blank=True)
    curve_first_day = models.DateField(null=True, blank=True)
    cost_curve = models.JSONField(
        default=list,
        blank=True,
        help_text="expected cost of doing it on each day from curve_first_day; null: not allowed",
    )
    reason = models.TextField(blank=True)
    created_at = models.DateTimeField()
    updated_at = models.DateTimeField()
    closed_on = day_column()
    closed_at = DayOrMomentField(null=True, blank=True, day_column="closed_on", help_text="when it was done or dropped")

    class Meta:
        ordering = ["best_day", "pk"]
        indexes: ClassVar = [models.Index(fields=["company", "state", "best_day"], name="need_by_company_and_day")]
        constraints: ClassVar = [
            models.UniqueConstraint(fields=["company", "key"], condition=Q(state="open"), name="one_open_need_per_key")
        ]

    @property
    def about(self) -> str:
        """What the work is done to, empty where its kind says that: 'tank and housings', 'carbon'."""
        return "" if self.label == "unit" or self.label in self.get_kind_display() else self.label

    def __str__(self) -> str:
        return f"{self.kind} at {self.unit_id}"
