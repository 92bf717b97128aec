"""Serializer fields that refuse what the database or the next reader could not hold."""

import math
import re
from datetime import date, datetime
from typing import Any, Final
from zoneinfo import ZoneInfo

from django.db.models import QuerySet
from django.utils.dateparse import parse_datetime
from drf_spectacular.utils import extend_schema_field
from rest_framework import serializers

from accounts.day_alone import day_alone, known_day, not_after
from accounts.http.wrong_values import A_MOMENT, shown
from accounts.naming import NotNamedError, row_named


class TenantRelatedField(serializers.PrimaryKeyRelatedField):
    """Another row, by its id or by its code or name, looked up among the rows the acting member may see.

    A number is an id. A text is what people call the row, such as 'S02-1'; a text of digits that is nobody's code is an
    id too, unless the context says that only names come. A row of another company and one that never existed are
    refused with the same sentence.
    """

    default_error_messages = {
        "does_not_exist": "There is no {kind} with the id {pk_value}, or none you may see.",
        "not_named": "{sentence}",
    }

    def what_it_takes(self) -> str:
        """What is sent, for a refusal."""
        rows: Any = getattr(self, "queryset", None)
        kind = str(rows.model._meta.verbose_name) if rows is not None else "row"
        return f"the id of a {kind} as a number" + (", or its code or name as a text" if self.may_be_named else "")

    @property
    def may_be_named(self) -> bool:
        """Whether a row of this kind has a code or name that can be sent in the place of its id."""
        rows: Any = getattr(self, "queryset", None)
        return rows is not None and rows.model.named("") is not None

    def get_queryset(self) -> QuerySet[Any]:
        rows: Any = super().get_queryset()
        visible: QuerySet[Any] = rows.visible_to(self.context.get("membership"))
        return visible

    def to_internal_value(self, data: Any) -> Any:
        if isinstance(data, str):
            rows: Any = self.get_queryset()
            try:
                return row_named(rows, data)
            except NotNamedError as error:
                if self.context.get("names_only") or not (data.isascii() and data.isdigit()):
                    self.fail("not_named", sentence=str(error))
        # A float would find a row by chance on one database and not on another.
        if isinstance(data, float):
            self.fail("incorrect_type", data_type="a fraction")
        if isinstance(data, int | str) and len(str(data)) > 18:
            self.fail("does_not_exist", pk_value=str(data)[:40])
        return super().to_internal_value(data)

    def fail(self, key: str, **kwargs: Any) -> Any:
        rows: Any = getattr(self, "queryset", None)
        kind = str(rows.model._meta.verbose_name) if rows is not None else "row"
        return super().fail(key, kind=kind, **kwargs)


class FiniteFloatField(serializers.FloatField):
    """A number; texts such as "nan" and "inf", which Python would read, are refused."""

    def to_internal_value(self, data: Any) -> float:
        if isinstance(data, bool):
            self.fail("invalid", format="")
        try:
            number = super().to_internal_value(data)
        except OverflowError:
            self.fail("invalid", format="")
        if not math.isfinite(number):
            self.fail("invalid", format="")
        return number


class MomentField(serializers.DateTimeField):
    """A date and time with its offset, such as 2026-03-01T08:30:00+01:00; answered in UTC."""

    default_error_messages = {
        "no_offset": "{sent} has no offset from UTC; send the time with it, such as 2026-03-01T08:30:00+01:00 or ...Z.",
    }

    def to_internal_value(self, value: Any) -> datetime:
        if isinstance(value, str):
            try:
                naive = (moment := parse_datetime(value)) is not None and moment.tzinfo is None
            except ValueError:
                naive = False
            if naive:
                self.fail("no_offset", sent=shown(value))
        elif not isinstance(value, datetime):
            self.fail("invalid", format="")
        moment = super().to_internal_value(value)
        # Years at the ends of the calendar leave it when they are moved to another offset.
        if not 1900 <= moment.year <= 2999:
            self.fail("invalid", format="")
        return moment


DAY_ALONE: Final = "the day alone, such as 2026-03-01, where no hour is known"


@extend_schema_field(
    {
        "anyOf": [{"type": "string", "format": "date-time"}, {"type": "string", "format": "date"}],
        "description": f"A date and time; {DAY_ALONE}.",
    },
    component_name="DayOrMoment",
)
class DayOrMomentField(MomentField):
    """A date and time with its offset; or the day alone, such as 2026-03-01, where no hour is known.

    A day is one on the company's clock, and is answered as the day it is.
    """

    what_it_takes = f"{A_MOMENT}, or {DAY_ALONE}"

    def to_internal_value(self, value: Any) -> datetime:
        if not isinstance(value, str) or not re.fullmatch(r"\d{4}-\d{2}-\d{2}", value.strip()):
            return super().to_internal_value(value)
        try:
            day = date.fromisoformat(value.strip())
        except ValueError:
            self.fail("invalid", format="")
        if not 1900 <= day.year <= 2999:
            self.fail("invalid", format="")
        membership, now = self.context.get("membership"), self.context.get("now")
        zone = ZoneInfo(membership.company.time_zone if membership is not None else "UTC")
        at = day_alone(day, zone)
        return not_after(at, now, zone) if now is not None else at

    def to_representation(self, value: Any) -> Any:
        day = known_day(value)
        return day.isoformat() if day is not None else super().to_representation(value)
