"""Rows that are never overwritten: a correction is a new row that names the old one in `corrects`."""

from typing import Self

from django.db.models import Exists, Model, OuterRef

from accounts.tenancy import TenantQuerySet


class CorrectableQuerySet(TenantQuerySet):
    """Readings or samples, with the question every calculation asks first."""

    def current(self) -> Self:
        """Leave out the rows that a later row corrects."""
        return self.filter(~corrects_this(self.model))

    def corrected(self) -> Self:
        """Only the rows that a later row corrects."""
        return self.filter(corrects_this(self.model))


def corrects_this(model: type[Model], row: str = "pk") -> Exists:
    """Whether there is a row that corrects the one whose id stands in the column `row`.

    An EXISTS, and not `corrected_by__isnull`: PostgreSQL believes that such a LEFT JOIN ... WHERE id IS NULL leaves one
    row. It reads the whole table for the newest reading of one unit, and joins what follows row by row.
    """
    return Exists(model._base_manager.filter(corrects=OuterRef(row)))
