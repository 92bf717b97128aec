"""What the readings say is wrong with a unit."""

from typing import ClassVar

from django.db import models
from django.db.models import Q

from accounts.day_alone_field import DayOrMomentField, KnowsDaysAlone, day_column
from accounts.models import Membership
from fleet.models.ownership import PassedOn
from fleet.models.readings import Reading
from fleet.models.units import Position, Unit


class Finding(KnowsDaysAlone, PassedOn):
    """A pattern seen at a unit: it opens by itself, a person confirms or dismisses it, it closes when it is gone."""

    TENANT_PATH = "unit__company_id"
    CLIENT_PATH = "unit__site__client_id"
    HAPPENED_AT = "opened_at"
    ENDED_AT = "last_seen_at"
    PERSONAL_FIELDS = frozenset({"decided_by", "decision_note"})

    class State(models.TextChoices):
        OPEN = "open", "open"
        CONFIRMED = "confirmed", "confirmed"
        DISMISSED = "dismissed", "dismissed"
        CLOSED = "closed", "closed"

    LIVE: ClassVar = (State.OPEN, State.CONFIRMED)

    unit = models.ForeignKey(Unit, on_delete=models.CASCADE, related_name="findings")
    position = models.ForeignKey(Position, on_delete=models.CASCADE, null=True, blank=True, related_name="findings")
    reading = models.ForeignKey(
        Reading,
        on_delete=models.SET_NULL,
        null=True,
        blank=True,
        related_name="findings",
        help_text="the newest reading it rests on",
    )
    rule = models.CharField(max_length=10, help_text="row of the diagnosis table, such as D11")
    cause = models.CharField(max_length=60)
    state = models.CharField(max_length=10, choices=State, default=State.OPEN)
    confidence = models.FloatField(help_text="0 to 1")
    numbers = models.JSONField(default=dict, blank=True, help_text="the values it rests on, units in the names")
    opened_at = models.DateTimeField()
    last_seen_on = day_column()
    last_seen_at = DayOrMomentField(day_column="last_seen_on")
    decided_at = models.DateTimeField(null=True, blank=True)
    decided_by = models.ForeignKey(Membership, on_delete=models.SET_NULL, null=True, blank=True, related_name="+")
    decision_note = models.TextField(blank=True)
    closed_at = models.DateTimeField(null=True, blank=True)
    confirming_check = models.TextField(blank=True)
    action = models.TextField(blank=True)
    caution = models.TextField(blank=True)
    installer_sentence = models.TextField(blank=True)
    client_sentence = models.TextField(blank=True)

    class Meta:
        ordering = ["-last_seen_at", "-pk"]
        constraints: ClassVar = [
            models.UniqueConstraint(
                fields=["unit", "cause"],
                condition=Q(state__in=["open", "confirmed"]),
                name="one_live_finding_per_cause",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.cause} at {self.unit_id}"
