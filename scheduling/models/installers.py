"""Who drives out, from where, when."""

from datetime import date, time
from typing import ClassVar

from django.core.validators import MaxValueValidator, MinValueValidator
from django.db import models
from django.db.models import F, Q

from accounts.models import Company, Membership
from accounts.retirable import Retirable
from accounts.tenancy import TenantModel
from accounts.time_zones import OwnOrCompanyTimeZoneField


def working_week() -> list[int]:
    """Monday to Friday, as weekday numbers from 0."""
    return [0, 1, 2, 3, 4]


class Installer(Retirable):
    """An installer's home base, shift and van; the person is the membership."""

    TRAILED = True
    NAMED_BY = "name"

    company = models.ForeignKey(Company, on_delete=models.CASCADE, related_name="installers")
    membership = models.OneToOneField(Membership, on_delete=models.PROTECT, related_name="installer")
    name = models.CharField(max_length=80)
    van = models.CharField(max_length=60, blank=True, help_text="name or plate of the van")
    home_latitude = models.FloatField(validators=[MinValueValidator(-90), MaxValueValidator(90)])
    home_longitude = models.FloatField(validators=[MinValueValidator(-180), MaxValueValidator(180)])
    time_zone = OwnOrCompanyTimeZoneField(help_text="IANA name; the shift is in it; the company's if none is named")
    shift_starts = models.TimeField(default=time(8))
    shift_ends = models.TimeField(default=time(17))
    weekdays = models.JSONField(default=working_week, help_text="days of work, 0 Monday to 6 Sunday")
    skills = models.JSONField(default=list, blank=True)
    max_overtime_minutes = models.PositiveSmallIntegerField(
        default=0,
        validators=[MaxValueValidator(240)],
        help_text="how long after the end of the shift they may still come home, at the policy's price of overtime",
    )
    is_active = models.BooleanField(default=True)

    class Meta:
        ordering = ["name", "pk"]
        constraints: ClassVar = [
            models.CheckConstraint(condition=Q(shift_ends__gt=F("shift_starts")), name="shift_ends_after_it_starts"),
            models.UniqueConstraint(fields=["company", "name"], name="one_installer_of_a_name"),
        ]

    def go_out_of_use(self, day: date) -> None:
        """It is no longer chosen."""
        self.is_active = False

    def come_back(self) -> None:
        """It can be chosen again."""
        self.is_active = True

    def __str__(self) -> str:
        return self.name


class Absence(TenantModel):
    """Days on which an installer does not work; why is nobody's business but the office's."""

    company = models.ForeignKey(Company, on_delete=models.CASCADE, related_name="absences")
    installer = models.ForeignKey(Installer, on_delete=models.PROTECT, related_name="absences")
    first_day = models.DateField()
    last_day = models.DateField()
    from_time = models.TimeField(
        null=True, blank=True, help_text="from when on the first day, on the installer's clock; empty: all day"
    )
    to_time = models.TimeField(null=True, blank=True, help_text="until when on the last day; empty: all day")
    reason = models.CharField(max_length=200, blank=True, help_text="read by owner and office alone")
    created_at = models.DateTimeField()

    class Meta:
        ordering: ClassVar = ["first_day", "installer_id", "pk"]
        constraints: ClassVar = [
            models.CheckConstraint(condition=Q(last_day__gte=F("first_day")), name="absence_ends_after_it_begins"),
        ]

    def __str__(self) -> str:
        return f"{self.installer_id} away from {self.first_day} to {self.last_day}"
