"""Where a company's events are sent, and each one on its way."""

from typing import ClassVar
from urllib.parse import urlsplit

from django.db import models

from accounts.models import Company
from accounts.tenancy import TenantModel


class Event(models.TextChoices):
    """What is told outside; the words are part of the interface."""

    FINDING_OPENED = "finding.opened", "finding opened"
    FORECAST_PAST_LIMIT = "forecast.past_limit", "forecast past a limit"
    VISIT_PLANNED = "visit.planned", "visit planned"
    VISIT_MOVED = "visit.moved", "visit moved"
    VISIT_OFF = "visit.off", "visit off"
    VISIT_DONE = "visit.done", "visit done"
    ORDER_DUE = "order.due", "order due"
    TEST = "endpoint.test", "test"


#: What an endpoint can ask for; a test comes when somebody asks for one.
SUBSCRIBED: list[tuple[str, str]] = [(event.value, str(event.label)) for event in Event if event is not Event.TEST]


class WebhookEndpoint(TenantModel):
    """An address outside, to which events of a company are posted.

    Its secret is stored nowhere: it is made of the server's SECRET_KEY and the row's `salt`, so that a copy of the
    database alone signs nothing. Another SECRET_KEY makes other secrets.
    """

    TRAILED = True
    # An address may hold a key of whoever receives; the trail has its host.
    UNTOLD = frozenset({"url", "salt", "earlier_salt"})

    company = models.ForeignKey(Company, on_delete=models.CASCADE, related_name="webhook_endpoints")
    name = models.CharField(max_length=80, blank=True, help_text="what it is for")
    url = models.CharField(max_length=500, help_text="address to which events are posted")
    events = models.JSONField(default=list, help_text="which events it gets")
    is_on = models.BooleanField(default=True)
    salt = models.CharField(max_length=64)
    earlier_salt = models.CharField(max_length=64, blank=True)
    earlier_until = models.DateTimeField(
        null=True, blank=True, help_text="until when the secret before this one signs too; empty when none does"
    )
    failing_since = models.DateTimeField(
        null=True, blank=True, help_text="the first attempt that failed since the last that succeeded"
    )
    switched_off_at = models.DateTimeField(
        null=True, blank=True, help_text="when it was switched off by itself, because it took nothing any more"
    )
    created_at = models.DateTimeField()

    class Meta:
        ordering = ["-created_at", "-pk"]

    @property
    def host(self) -> str:
        """The host of the address, for sentences: the rest of an address may hold a key."""
        return urlsplit(self.url).hostname or ""

    def __str__(self) -> str:
        return self.name or self.host


class WebhookDelivery(TenantModel):
    """An event on its way to one endpoint."""

    TENANT_PATH = "endpoint__company_id"

    class State(models.TextChoices):
        WAITING = "waiting", "waiting"
        DELIVERED = "delivered", "delivered"
        FAILED = "failed", "failed"

    endpoint = models.ForeignKey(WebhookEndpoint, on_delete=models.CASCADE, related_name="deliveries")
    event = models.CharField(max_length=30, choices=Event)
    message_id = models.CharField(max_length=40, help_text="sent as webhook-id: the same however often it is sent")
    subject = models.CharField(max_length=40, help_text="what it is about, as 'visit 12'")
    says = models.CharField(max_length=120, help_text="what it says of it; the same is not said twice running")
    body = models.JSONField(help_text="what is sent")
    state = models.CharField(max_length=10, choices=State, default=State.WAITING)
    attempts = models.PositiveSmallIntegerField(default=0)
    answer_status = models.PositiveSmallIntegerField(
        null=True, blank=True, help_text="HTTP status of the last answer; empty where none came"
    )
    trouble = models.CharField(max_length=300, blank=True, help_text="why the last attempt failed")
    happened_at = models.DateTimeField()
    next_attempt_at = models.DateTimeField(null=True, blank=True, help_text="empty once nothing is tried any more")
    attempted_at = models.DateTimeField(null=True, blank=True)
    delivered_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        ordering = ["-happened_at", "-pk"]
        verbose_name_plural = "webhook deliveries"
        indexes: ClassVar = [
            models.Index(fields=["state", "next_attempt_at"], name="webhooks_by_next_attempt"),
            models.Index(fields=["endpoint", "subject"], name="webhooks_by_subject"),
        ]

    def __str__(self) -> str:
        return f"{self.event} {self.message_id}"
