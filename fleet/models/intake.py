"""What came in from outside, and what of it was refused."""

from typing import ClassVar

from django.db import models

from accounts.jobs.models import Job
from accounts.models import Company, Membership
from accounts.tenancy import TenantModel


class IntakeBatch(TenantModel):
    """One log file or payload and its counts."""

    class Kind(models.TextChoices):
        READINGS = "readings", "readings"
        FEED_WATER = "feed_water", "feed water"

    company = models.ForeignKey(Company, on_delete=models.CASCADE, related_name="intake_batches")
    kind = models.CharField(max_length=10, choices=Kind)
    name = models.CharField(max_length=200, blank=True)
    digest = models.CharField(max_length=64, help_text="SHA-256 of what came in")
    received_at = models.DateTimeField()
    received_by = models.ForeignKey(Membership, on_delete=models.SET_NULL, null=True, blank=True, related_name="+")
    rows = models.PositiveIntegerField(default=0)
    stored = models.PositiveIntegerField(default=0)
    flagged = models.PositiveIntegerField(default=0)
    duplicates = models.PositiveIntegerField(default=0)
    refused = models.PositiveIntegerField(default=0)
    job = models.ForeignKey(
        Job,
        on_delete=models.SET_NULL,
        null=True,
        blank=True,
        related_name="+",
        help_text="what reads the file; null where it was read at once",
    )
    rows_passed = models.PositiveIntegerField(default=0, help_text="rows of the file that need not be read again")

    class Meta:
        ordering = ["-received_at", "-pk"]
        verbose_name_plural = "intake batches"

    def __str__(self) -> str:
        return self.name or self.digest[:12]


class RefusedRow(TenantModel):
    """A row that was not stored, with the row as it came and every reason."""

    TENANT_PATH = "batch__company_id"

    batch = models.ForeignKey(IntakeBatch, on_delete=models.CASCADE, related_name="refused_rows")
    line = models.PositiveIntegerField(help_text="line in the file, the header being 1; or place in the payload from 1")
    row = models.JSONField()
    faults = models.JSONField(help_text="list of field, code, and a sentence: what was wrong, what would be right")

    class Meta:
        ordering: ClassVar = ["batch_id", "line", "pk"]

    def __str__(self) -> str:
        return f"line {self.line} of {self.batch_id}"


class UploadPiece(TenantModel):
    """A part of a file that waits to be read; whoever reads it needs no disk of the server that took it."""

    TENANT_PATH = "batch__company_id"

    batch = models.ForeignKey(IntakeBatch, on_delete=models.CASCADE, related_name="pieces")
    index = models.PositiveIntegerField(help_text="place in the file, from 0")
    content = models.BinaryField(help_text="the bytes as they came")

    class Meta:
        ordering: ClassVar = ["batch_id", "index"]
        constraints: ClassVar = [models.UniqueConstraint(fields=["batch", "index"], name="one_piece_per_index")]

    def __str__(self) -> str:
        return f"piece {self.index} of {self.batch_id}"
