"""Long work that people can watch."""

from datetime import datetime
from typing import ClassVar

from django.db import models

from accounts.models import Company, Membership
from accounts.tenancy import TenantModel


class Job(TenantModel):
    """A piece of long work: what it is doing, how far it is, how it ended."""

    class State(models.TextChoices):
        WAITING = "waiting", "waiting"
        RUNNING = "running", "running"
        DONE = "done", "done"
        FAILED = "failed", "failed"
        STOPPED = "stopped", "stopped"

    company = models.ForeignKey(Company, on_delete=models.CASCADE, related_name="jobs")
    kind = models.CharField(max_length=40)
    parameters = models.JSONField(default=dict, blank=True)
    state = models.CharField(max_length=10, choices=State, default=State.WAITING)
    share_done = models.FloatField(default=0.0, help_text="how much of its work is done, 0 to 1")
    doing = models.CharField(max_length=200, blank=True)
    result = models.JSONField(null=True, blank=True)
    problem = models.JSONField(null=True, blank=True, help_text="problem details when it failed")
    stop_requested = models.BooleanField(default=False)
    requested_by = models.ForeignKey(Membership, on_delete=models.SET_NULL, null=True, blank=True, related_name="+")
    created_at = models.DateTimeField()
    started_at = models.DateTimeField(null=True, blank=True)
    finished_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        ordering = ["-created_at", "-pk"]

    def __str__(self) -> str:
        return f"{self.kind} {self.pk} ({self.state})"


class JobChunk(TenantModel):
    """A part of a job that one worker does at a time.

    A worker claims it until `lease_until`; if the worker dies the lease runs out and another may claim it. The work of
    a chunk is written so that doing it twice leaves the same rows as doing it once.
    """

    TENANT_PATH = "job__company_id"

    class State(models.TextChoices):
        WAITING = "waiting", "waiting"
        RUNNING = "running", "running"
        DONE = "done", "done"
        FAILED = "failed", "failed"

    job = models.ForeignKey(Job, on_delete=models.CASCADE, related_name="chunks")
    index = models.PositiveIntegerField()
    stage = models.PositiveSmallIntegerField(
        default=0, help_text="it is begun when all chunks of the job with a lower one are done"
    )
    payload = models.JSONField(default=dict)
    state = models.CharField(max_length=10, choices=State, default=State.WAITING)
    attempts = models.PositiveIntegerField(default=0)
    lease_until = models.DateTimeField(null=True, blank=True)
    result = models.JSONField(null=True, blank=True)

    class Meta:
        ordering: ClassVar = ["job_id", "index"]
        constraints: ClassVar = [models.UniqueConstraint(fields=["job", "index"], name="one_chunk_per_index")]

    def __str__(self) -> str:
        return f"chunk {self.index} of job {self.job_id}"


class StepTime(TenantModel):
    """How long a step of a company's long work took the last time, and when it ended; a row for each step."""

    company = models.ForeignKey(Company, on_delete=models.CASCADE, related_name="step_times")
    kind = models.CharField(max_length=40, help_text="kind of the work, as of a job")
    step = models.CharField(max_length=40)
    seconds = models.FloatField(help_text="by the clock on the wall")
    ended_at = models.DateTimeField()

    class Meta:
        ordering: ClassVar = ["company_id", "kind", "step"]
        constraints: ClassVar = [
            models.UniqueConstraint(fields=["company", "kind", "step"], name="one_time_per_company_and_step")
        ]

    def __str__(self) -> str:
        return f"{self.step} of {self.kind} of {self.company_id}: {self.seconds:.1f} s"

    @classmethod
    def sums(cls) -> list[tuple[str, str, float, float, datetime]]:
        """Of each kind and step: seconds of all companies, of the one that took longest, and the oldest end."""
        found = cls.objects.order_by("kind", "step").values_list("kind", "step")
        return list(found.annotate(models.Sum("seconds"), models.Max("seconds"), models.Min("ended_at")))
