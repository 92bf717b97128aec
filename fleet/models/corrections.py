"""Rows that are never overwritten: a correction is a new row that names the old one in `corrects`.

A row that never was true is voided: it stays, with who took it back, when and why, and counts for nothing.
"""

from typing import Any, Self

from django.db import models
from django.db.models import Exists, Model, OuterRef, Q, QuerySet

from accounts.models import Membership
from accounts.tenancy import TenantQuerySet


class Voidable(models.Model):
    """A row that can be taken back with a reason; it stays to be read."""

    voided_at = models.DateTimeField(null=True, blank=True, help_text="when it was taken back; empty where it holds")
    voided_by = models.ForeignKey(Membership, on_delete=models.SET_NULL, null=True, blank=True, related_name="+")
    void_reason = models.CharField(max_length=300, blank=True)

    class Meta:
        abstract = True


class InForceManager(models.Manager.from_queryset(TenantQuerySet)):  # type: ignore[misc]
    """Only what was not taken back, so that no calculation can forget to ask."""

    def get_queryset(self) -> QuerySet[Any]:
        """Leave out what was voided."""
        rows: QuerySet[Any] = super().get_queryset().filter(voided_at__isnull=True)
        return rows


class CorrectableQuerySet(TenantQuerySet):
    """Readings or samples, with the question every calculation asks first."""

    def current(self) -> Self:
        """Leave out the rows that a later row corrects, and those that were taken back."""
        return self.filter(~corrects_this(self.model), voided_at__isnull=True)

    def corrected(self) -> Self:
        """Only the rows that a later row corrects, or that were taken back."""
        return self.filter(corrects_this(self.model) | Q(voided_at__isnull=False))


def corrects_this(model: type[Model], row: str = "pk") -> Exists:
    """Whether there is a row that corrects the one whose id stands in the column `row`.

    An EXISTS, and not `corrected_by__isnull`: PostgreSQL believes that such a LEFT JOIN ... WHERE id IS NULL leaves one
    row. It reads the whole table for the newest reading of one unit, and joins what follows row by row.
    """
    return Exists(model._base_manager.filter(corrects=OuterRef(row)))
