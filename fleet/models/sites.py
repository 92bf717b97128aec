"""Where units stand and when one can get in."""

from typing import ClassVar

from django.core.validators import MaxValueValidator, MinValueValidator
from django.db import models
from django.db.models import F, Q

from accounts.models import Client, Company, Membership
from accounts.retirable import Retirable
from accounts.tenancy import TenantModel, known_to
from accounts.time_zones import OwnOrCompanyTimeZoneField


class Site(Retirable):
    """A client's place with one or more units, all on the same feed water."""

    TRAILED = True
    RETIRED_BEFORE = ("units",)
    RETIRED_AFTER = "client"
    UNTOLD = frozenset({"access_notes"})  # how to get in: codes of doors stand there
    CLIENT_PATH = "client_id"
    NAMED_BY = "code"

    company = models.ForeignKey(Company, on_delete=models.CASCADE, related_name="sites")
    client = models.ForeignKey(Client, on_delete=models.PROTECT, related_name="sites")
    client_since = models.DateTimeField(
        null=True,
        blank=True,
        help_text="when it passed to its present client; empty: it has been theirs from the start",
    )
    code = models.CharField(
        max_length=40, help_text="short name used in logs and on round sheets, unique in the company"
    )
    name = models.CharField(max_length=120)
    address = models.CharField(max_length=250, blank=True)
    is_known = models.BooleanField(
        default=True,
        db_default=True,
        help_text="false: nobody knows yet where its unit stands or will stand; no visit is proposed there until an "
        "address, or latitude and longitude, are given",
    )
    latitude = models.FloatField(
        null=True,
        blank=True,
        validators=[MinValueValidator(-90), MaxValueValidator(90)],
        help_text="degrees north, WGS 84; empty, with longitude, while it is not known",
    )
    longitude = models.FloatField(
        null=True,
        blank=True,
        validators=[MinValueValidator(-180), MaxValueValidator(180)],
        help_text="degrees east, WGS 84; empty, with latitude, while it is not known",
    )
    time_zone = OwnOrCompanyTimeZoneField(
        help_text="IANA name; access windows and hours told to clients are in it; the company's if none is named"
    )
    access_notes = models.TextField(blank=True)
    chloraminated = models.BooleanField(
        null=True, blank=True, help_text="supply disinfected with chloramine; empty if unknown"
    )
    own_well = models.BooleanField(
        null=True, blank=True, help_text="fed by a well of the client's own and not by a supplier; empty if unknown"
    )
    supply = models.CharField(
        max_length=80,
        blank=True,
        help_text="water works or district that feeds the site; sites of one supply share what is learned of the water",
    )
    created_at = models.DateTimeField(auto_now_add=True)

    def fields_withheld(self, membership: Membership | None) -> frozenset[str]:
        """How to get in is told to installers who come there these days."""
        known = known_to(membership)
        held = frozenset({"access_notes"}) if known is not None and self.pk not in known.site_ids else frozenset()
        return super().fields_withheld(membership) | held

    class Meta:
        ordering = ["code", "pk"]
        constraints: ClassVar = [
            models.UniqueConstraint(fields=["company", "code"], name="one_site_of_a_code"),
            models.CheckConstraint(
                condition=Q(latitude=None, longitude=None) | Q(latitude__isnull=False, longitude__isnull=False),
                name="site_has_both_coordinates_or_none",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.code} {self.name}"

    @property
    def location(self) -> tuple[float, float] | None:
        """Degrees north and east, WGS 84; None while nobody has said where it is."""
        if self.latitude is None or self.longitude is None:
            return None
        return self.latitude, self.longitude

    @property
    def is_located(self) -> bool:
        """Whether driving there can be planned."""
        return self.location is not None


class AccessException(TenantModel):
    """Dates on which the usual hours do not hold: the site is closed, or open from one time to another instead."""

    TENANT_PATH = "site__company_id"
    CLIENT_PATH = "site__client_id"

    site = models.ForeignKey(Site, on_delete=models.CASCADE, related_name="access_exceptions")
    first_day = models.DateField()
    last_day = models.DateField()
    opens = models.TimeField(null=True, blank=True, help_text="empty, with closes: closed all day")
    closes = models.TimeField(null=True, blank=True)
    reason = models.CharField(max_length=200, blank=True)

    class Meta:
        ordering = ["site_id", "first_day", "opens", "pk"]
        constraints: ClassVar = [
            models.CheckConstraint(condition=Q(last_day__gte=F("first_day")), name="exception_ends_after_it_begins"),
            models.CheckConstraint(
                condition=Q(opens=None, closes=None) | Q(closes__gt=F("opens")), name="exception_is_closed_or_has_hours"
            ),
        ]

    def __str__(self) -> str:
        hours = "closed" if self.opens is None else f"{self.opens:%H:%M}-{self.closes:%H:%M}"
        return f"{self.site_id}: {self.first_day} to {self.last_day} {hours}"


class AccessWindow(TenantModel):
    """Hours on one weekday in which work can start and end; a site without windows is open in every shift."""

    TENANT_PATH = "site__company_id"
    CLIENT_PATH = "site__client_id"

    site = models.ForeignKey(Site, on_delete=models.CASCADE, related_name="access_windows")
    weekday = models.PositiveSmallIntegerField(validators=[MaxValueValidator(6)], help_text="0 Monday to 6 Sunday")
    opens = models.TimeField()
    closes = models.TimeField()

    class Meta:
        ordering = ["site_id", "weekday", "opens", "pk"]
        constraints: ClassVar = [
            models.CheckConstraint(condition=Q(closes__gt=F("opens")), name="access_closes_after_it_opens"),
            models.CheckConstraint(condition=Q(weekday__lte=6), name="access_weekday_0_to_6"),
        ]

    def __str__(self) -> str:
        return f"{self.site_id}: weekday {self.weekday} {self.opens:%H:%M}-{self.closes:%H:%M}"
