"""Calendars that a telephone subscribes to: whose visits, under which secret."""

from typing import ClassVar

from django.db import models
from django.db.models import Q

from accounts.models import Client, Company, Membership
from accounts.tenancy import TenantModel
from scheduling.models.installers import Installer


class CalendarFeed(TenantModel):
    """A secret address of the visits of one installer, or of one client; gone once its row is.

    Who made it answers for it: it shows nothing any more once their membership has ended.
    """

    CLIENT_PATH = "client_id"

    company = models.ForeignKey(Company, on_delete=models.CASCADE, related_name="calendar_feeds")
    membership = models.ForeignKey(Membership, on_delete=models.CASCADE, related_name="calendar_feeds")
    installer = models.ForeignKey(
        Installer, on_delete=models.CASCADE, null=True, blank=True, related_name="calendar_feeds"
    )
    client = models.ForeignKey(Client, on_delete=models.CASCADE, null=True, blank=True, related_name="calendar_feeds")
    name = models.CharField(max_length=80, blank=True, help_text="where it is used, such as 'my telephone'")
    digest = models.CharField(max_length=64, unique=True, help_text="SHA-256 of the secret, which is stored nowhere")
    # Which visits the subscriber knows of, and when: what goes to somebody else is cancelled there and not forgotten.
    served = models.JSONField(default=dict, blank=True)
    created_at = models.DateTimeField()

    class Meta:
        ordering = ["-created_at", "-pk"]
        constraints: ClassVar = [
            models.CheckConstraint(
                condition=Q(installer__isnull=False, client__isnull=True)
                | Q(installer__isnull=True, client__isnull=False),
                name="a_feed_is_of_an_installer_or_a_client",
            )
        ]

    def __str__(self) -> str:
        return f"calendar of {self.installer or self.client}"
