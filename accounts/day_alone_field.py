"""Columns of moments of which perhaps only the day is known."""

from collections.abc import Iterable
from datetime import datetime
from typing import Any

from django.db import models
from django.db.models.query_utils import DeferredAttribute

from accounts.day_alone import DayAlone, known_day


class _MomentOrDay(DeferredAttribute):
    """Reads a row's moment as a day alone where the column beside it holds the day, and writes both together."""

    field: Any

    def __get__(self, instance: Any, cls: Any = None) -> Any:
        at = super().__get__(instance, cls)
        if instance is None or at is None:
            return at
        day = instance.__dict__.get(self.field.day_column)
        return DayAlone.of(day, at) if day is not None and known_day(at) is None else at

    def __set__(self, instance: Any, value: Any) -> None:
        name, day_column = self.field.attname, self.field.day_column
        # A row that is being made or read brings its day by itself; whatever is written later says what is known then.
        is_written_anew = name in instance.__dict__
        instance.__dict__[name] = value
        day = known_day(value) if isinstance(value, datetime) else None
        if day is not None or is_written_anew:
            instance.__dict__[day_column] = day


class DayOrMomentField(models.DateTimeField):
    """A moment; where only the day is known, the column named by `day_column` holds that day, and is empty else.

    That column is declared before this one. Whoever assigns and reads the attribute assigns and reads a `DayAlone`;
    what a query counts with is the moment that stands for the day.
    """

    descriptor_class = _MomentOrDay

    def __init__(self, *args: Any, day_column: str = "", **kwargs: Any) -> None:
        self.day_column = day_column
        super().__init__(*args, **kwargs)

    def deconstruct(self) -> Any:
        name, _, args, kwargs = super().deconstruct()
        return name, "django.db.models.DateTimeField", args, kwargs

    def get_prep_value(self, value: Any) -> Any:
        value = super().get_prep_value(value)
        return datetime.combine(value.date(), value.timetz()) if isinstance(value, DayAlone) else value


class KnowsDaysAlone(models.Model):
    """A row with such columns: whoever saves one of them saves the day beside it."""

    class Meta:
        abstract = True

    def save(self, *, update_fields: Iterable[str] | None = None, **kwargs: Any) -> None:
        """Save; fields named in `update_fields` with the days that belong to them."""
        if update_fields is not None:
            columns = {field.name: field for field in self._meta.concrete_fields}
            names = list(update_fields)
            days = [column.day_column for name in names if isinstance(column := columns.get(name), DayOrMomentField)]
            update_fields = [*names, *days]
        super().save(update_fields=update_fields, **kwargs)


def day_column() -> Any:
    """The column beside a `DayOrMomentField`."""
    return models.DateField(
        null=True, blank=True, editable=False, help_text="the day, where no hour is known; empty where it is"
    )
