"""One look at a unit's gauges and meters."""

from datetime import datetime, timedelta
from functools import reduce
from operator import or_
from typing import ClassVar, Final, Self

from django.db import models
from django.db.models import Q

from accounts.day_alone import moment_in_words
from accounts.day_alone_field import DayOrMomentField, KnowsDaysAlone, day_column
from accounts.models import Membership
from fleet.engineering.quantities import READING_QUANTITIES, names_of
from fleet.models.corrections import CorrectableQuerySet, Voidable
from fleet.models.intake import IntakeBatch
from fleet.models.ownership import PassedOn
from fleet.models.units import Instrument, Unit

#: A sender's clock may be ahead of ours by this much; what lies further ahead is refused as in the future.
CLOCK_SLACK: Final = timedelta(minutes=10)


class ReadingQuerySet(CorrectableQuerySet):
    """Readings, and which of them read a gauge."""

    def taken_by(self, now: datetime) -> Self:
        """Those of this moment and before, by their senders' clocks: one that is ahead has not read the future."""
        return self.filter(taken_at__lte=now + CLOCK_SLACK)

    def measured(self) -> Self:
        """Leave out those that hold only what a person saw."""
        is_read = (Q(**{f"{quantity}__isnull": False}) for quantity in Reading.QUANTITIES)
        return self.filter(reduce(or_, is_read))


class Reading(KnowsDaysAlone, Voidable, PassedOn):
    """Many quantities, any of them missing, at one moment, by one source; never overwritten.

    A correction is a new row that names the old one in `corrects`; the old row stays and stops counting, and so does
    one that never was and is voided.
    """

    TENANT_PATH = "unit__company_id"
    CLIENT_PATH = "unit__site__client_id"
    PERSONAL_FIELDS = frozenset({"person", "note", "recorded_by"})
    UNIT_PATH = "unit_id"

    QUANTITIES: ClassVar[tuple[str, ...]] = names_of(READING_QUANTITIES)

    class State(models.TextChoices):
        FLOWING = "flowing", "flowing"
        STATIC = "static", "static"

    class Valve(models.TextChoices):
        OPEN = "open", "open"
        CLOSED = "closed", "closed"

    class Pump(models.TextChoices):
        ON = "on", "on"
        OFF = "off", "off"

    class Occasion(models.TextChoices):
        AS_FOUND = "as_found", "as found, before work"
        AS_LEFT = "as_left", "as left, after work"
        ROUTINE = "routine", "routine"

    class Source(models.TextChoices):
        INSTALLER = "installer", "installer"
        CLIENT = "client", "client"
        METER = "meter", "meter"
        IMPORT = "import", "log file"

    unit = models.ForeignKey(Unit, on_delete=models.PROTECT, related_name="readings")
    taken_on = day_column()
    taken_at = DayOrMomentField(day_column="taken_on")
    reference = models.CharField(
        max_length=80, blank=True, help_text="the sender's own name for this reading; the same one twice is stored once"
    )
    source = models.CharField(max_length=10, choices=Source)
    instrument = models.ForeignKey(Instrument, on_delete=models.PROTECT, null=True, blank=True, related_name="readings")
    recorded_by = models.ForeignKey(Membership, on_delete=models.SET_NULL, null=True, blank=True, related_name="+")
    person = models.CharField(max_length=80, blank=True, help_text="who read the gauges, as written in the log")
    note = models.TextField(blank=True)

    state = models.CharField(max_length=8, choices=State, blank=True)
    minutes_since_start = models.FloatField(null=True, blank=True)
    tank_valve = models.CharField(max_length=6, choices=Valve, blank=True)
    pump = models.CharField(max_length=3, choices=Pump, blank=True)
    tank_is_full = models.BooleanField(null=True, blank=True)
    sampled_after_flush = models.BooleanField(null=True, blank=True)
    occasion = models.CharField(max_length=8, choices=Occasion, default=Occasion.ROUTINE)
    observations = models.JSONField(
        default=dict, blank=True, help_text="what a person looked for, as code and whether it was there"
    )

    vars().update(
        {
            quantity.name: models.FloatField(null=True, blank=True, help_text=quantity.meaning)
            for quantity in READING_QUANTITIES
        }
    )

    as_sent = models.JSONField(default=dict, blank=True, help_text="each value with the digits and unit it was sent in")
    flags = models.JSONField(default=list, blank=True, help_text="what looked doubtful, as code and sentence")
    corrects = models.OneToOneField(
        "self", on_delete=models.PROTECT, null=True, blank=True, related_name="corrected_by"
    )
    received_at = models.DateTimeField()
    batch = models.ForeignKey(
        IntakeBatch,
        on_delete=models.SET_NULL,
        null=True,
        blank=True,
        related_name="readings",
        help_text="the log file or payload it came in with",
    )
    line = models.PositiveIntegerField(null=True, blank=True, help_text="line in that file, the header being 1")

    objects = ReadingQuerySet.as_manager()  # type: ignore[misc]

    class Meta:
        ordering = ["-taken_at", "-pk"]
        constraints: ClassVar = [
            models.UniqueConstraint(
                fields=["unit", "reference"], condition=~Q(reference=""), name="one_reading_per_reference"
            )
        ]
        indexes: ClassVar = [
            models.Index(fields=["unit", "taken_at"], name="reading_by_unit"),
            models.Index(fields=["received_at"], name="reading_by_arrival"),
            # A page of the newest readings of a company, without sorting all it has.
            models.Index(fields=["taken_at", "id"], name="reading_by_time"),
        ]

    @property
    def trail_name(self) -> str:
        """The unit and when it was read."""
        return f"{self.unit.code}, {moment_in_words(self.taken_at)}"

    def __str__(self) -> str:
        return f"{self.unit_id} {self.taken_at:%Y-%m-%d %H:%M}"
