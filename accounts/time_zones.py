"""The clock of a row that belongs to a company: its own, or else the company's."""

from typing import Any

from django.db import models

from accounts.validation import check_time_zone


class OwnOrCompanyTimeZoneField(models.CharField):
    """IANA name of a time zone on a model with a `company`; stored empty, it becomes the company's.

    People are told hours on this clock, so no row may fall back on UTC because nobody named a zone. The rule stands in
    the column and not in the services, so that it holds for rows that are added in bulk as well.
    """

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        kwargs = {"max_length": 64, "blank": True, "default": "", "validators": [check_time_zone], **kwargs}
        super().__init__(*args, **kwargs)

    def deconstruct(self) -> Any:
        name, _, args, kwargs = super().deconstruct()
        return name, "django.db.models.CharField", args, kwargs

    def pre_save(self, model_instance: Any, add: bool) -> Any:
        if not getattr(model_instance, self.attname):
            setattr(model_instance, self.attname, model_instance.company.time_zone)
        return super().pre_save(model_instance, add)
