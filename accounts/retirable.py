"""Rows that people refer to for ever: one that something refers to is retired, and not deleted."""

from datetime import date
from typing import ClassVar

from django.db import models
from django.db.models import Q

from accounts.tenancy import TenantModel


class Retirable(TenantModel):
    """A row that can go out of use and stay readable.

    `RETIRED_BEFORE` names the reverse relations whose rows must be retired first, `RETIRED_AFTER` the foreign key of
    what it belongs to, which must be in use for it to come back.
    """

    RETIRED_BEFORE: ClassVar[tuple[str, ...]] = ()
    RETIRED_AFTER: ClassVar[str | None] = None

    retired_at = models.DateTimeField(null=True, blank=True, help_text="when it was retired; empty while it is in use")
    retired_by = models.ForeignKey(
        "accounts.Membership",
        on_delete=models.SET_NULL,
        null=True,
        blank=True,
        related_name="+",
        help_text="who retired it",
    )
    retired_reason = models.CharField(max_length=200, blank=True, help_text="why it was retired")

    class Meta:
        abstract = True

    @classmethod
    def is_retired_on(cls, day: date) -> Q:
        """Condition on the rows that are out of use on a day."""
        return Q(retired_at__isnull=False)

    def go_out_of_use(self, day: date) -> None:
        """Set what else says on the row that it is out of use; nothing, as a rule."""

    def come_back(self) -> None:
        """Take back what `go_out_of_use` set."""
