"""Plans of rounds: each installer's days, stop by stop."""

from datetime import date, datetime, timedelta
from typing import ClassVar

from django.db import models
from django.db.models import Q

from accounts.jobs.models import Job
from accounts.models import Company
from accounts.tenancy import TenantModel
from scheduling.models.installers import Installer
from scheduling.models.visits import Visit


class Plan(TenantModel):
    """A set of rounds for some days; a draft until it is published, and replaced as a whole."""

    class State(models.TextChoices):
        DRAFT = "draft", "draft"
        PUBLISHED = "published", "published"
        REPLACED = "replaced", "replaced by a newer plan"

    company = models.ForeignKey(Company, on_delete=models.CASCADE, related_name="plans")
    state = models.CharField(max_length=10, choices=State, default=State.DRAFT)
    first_day = models.DateField()
    days = models.PositiveSmallIntegerField()
    created_at = models.DateTimeField()
    published_at = models.DateTimeField(null=True, blank=True)
    job = models.ForeignKey(Job, on_delete=models.SET_NULL, null=True, blank=True, related_name="plans")
    digest = models.CharField(
        max_length=64, blank=True, help_text="of what was asked; the same question again is answered by this plan"
    )
    effort = models.JSONField(
        default=dict, blank=True, help_text="what the planner was given: seconds or iterations, and the seed"
    )
    travel_source = models.CharField(max_length=400, blank=True, help_text="which travel model made the driving times")
    costs = models.JSONField(default=dict, blank=True, help_text="priced by the independent evaluator, by kind of cost")
    faults = models.JSONField(
        default=list, blank=True, help_text="what the independent evaluator found wrong; empty for a sound plan"
    )

    based_on = models.ForeignKey(
        "self",
        on_delete=models.SET_NULL,
        null=True,
        blank=True,
        related_name="repaired_by",
        help_text="the published plan that this one repairs; empty for a new plan",
    )
    happened = models.JSONField(default=list, blank=True, help_text="what went wrong with the plan it is based on")
    differences = models.JSONField(
        default=list, blank=True, help_text="visits that are not as in the published plan before, with who must be told"
    )

    class Meta:
        ordering = ["-created_at", "-pk"]
        constraints: ClassVar = [
            models.UniqueConstraint(
                fields=["company", "first_day"], condition=Q(state="published"), name="one_published_plan_per_first_day"
            )
        ]

    @property
    def last_day(self) -> date:
        """The last of its days."""
        return self.first_day + timedelta(days=self.days - 1)

    def __str__(self) -> str:
        return f"plan from {self.first_day} ({self.state})"


class Round(TenantModel):
    """One installer's day, from home base to home base."""

    TENANT_PATH = "plan__company_id"

    plan = models.ForeignKey(Plan, on_delete=models.CASCADE, related_name="rounds")
    # who has driven stays on record; someone who leaves is made inactive
    installer = models.ForeignKey(Installer, on_delete=models.RESTRICT, related_name="rounds")
    day = models.DateField()
    leaves_at = models.DateTimeField()
    returns_at = models.DateTimeField()
    lunch_at = models.DateTimeField(null=True, blank=True)
    driving_minutes = models.FloatField()
    driving_km = models.FloatField()
    costs = models.JSONField(
        default=dict, blank=True, help_text="money by kind: driving, overtime, and what the visits cost on this day"
    )

    class Meta:
        ordering: ClassVar = ["day", "installer_id", "pk"]
        constraints: ClassVar = [
            models.UniqueConstraint(fields=["plan", "installer", "day"], name="one_round_per_installer_and_day")
        ]

    def __str__(self) -> str:
        return f"{self.installer_id} on {self.day}"

    @property
    def lunch_on_the_way(self) -> datetime | None:
        """When lunch is had before the return; None where none is due, or after a short day at home."""
        return self.lunch_at if self.lunch_at is not None and self.lunch_at < self.returns_at else None


class Stop(TenantModel):
    """One visit within a round."""

    TENANT_PATH = "round__plan__company_id"
    CLIENT_PATH = "visit__site__client_id"

    round = models.ForeignKey(Round, on_delete=models.CASCADE, related_name="stops")
    visit = models.ForeignKey(Visit, on_delete=models.CASCADE, related_name="stops")
    order = models.PositiveSmallIntegerField()
    arrives_at = models.DateTimeField()
    starts_at = models.DateTimeField()
    leaves_at = models.DateTimeField()
    driving_minutes = models.FloatField(help_text="time of the driving from the stop before, or from home, in minutes")
    driving_km = models.FloatField()
    day_reason = models.TextField(blank=True, help_text="why it is on this day and with this installer")
    place_reason = models.TextField(blank=True, help_text="why it stands in this place of the round")

    class Meta:
        ordering: ClassVar = ["round_id", "order", "pk"]
        constraints: ClassVar = [models.UniqueConstraint(fields=["round", "order"], name="one_stop_per_place_in_round")]

    def __str__(self) -> str:
        return f"stop {self.order} of round {self.round_id}"


class UnservedVisit(TenantModel):
    """A visit that a plan leaves out, and why."""

    TENANT_PATH = "plan__company_id"

    plan = models.ForeignKey(Plan, on_delete=models.CASCADE, related_name="unserved")
    visit = models.ForeignKey(Visit, on_delete=models.CASCADE, related_name="+")
    reason = models.CharField(max_length=40)
    sentence = models.TextField()
    displaces = models.ForeignKey(
        Visit,
        on_delete=models.SET_NULL,
        null=True,
        blank=True,
        related_name="+",
        help_text="id of the least valuable visit that would have to give way",
    )
    extra_cost = models.FloatField(null=True, blank=True, help_text="how much dearer the plan would be with it in")

    class Meta:
        ordering: ClassVar = ["plan_id", "pk"]
        constraints: ClassVar = [models.UniqueConstraint(fields=["plan", "visit"], name="unserved_once_per_plan")]

    def __str__(self) -> str:
        return f"{self.visit_id}: {self.reason}"
