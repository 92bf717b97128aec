"""What people are told: written with the move itself, sent afterwards."""

from typing import ClassVar

from django.db import models

from accounts.models import Client, Company, Membership
from accounts.tenancy import Known, TenantModel
from fleet.models import Finding
from scheduling.models.installers import Installer
from scheduling.models.orders import PurchaseOrder
from scheduling.models.visits import Visit


class Message(TenantModel):
    """One message to one reader about one event; the event's name makes sure that it is written once."""

    # A message to an installer or the office names no client, so clients see those to themselves alone.
    CLIENT_PATH = "client_id"
    OF_PEOPLE = True

    @classmethod
    def of_known(cls, known: Known) -> models.Q:
        """Messages to the company's own people, and those to clients whom an installer knows."""
        return models.Q(client=None) | super().of_known(known)

    class Audience(models.TextChoices):
        CLIENT = "client", "client"
        INSTALLER = "installer", "installer"
        OFFICE = "office", "office"
        SUPPLIER = "supplier", "supplier"

    class Kind(models.TextChoices):
        OFFERED = "offered", "times to choose from"
        OFFER_TAKEN = "offer_taken", "a time was chosen"
        OFFER_LAPSED = "offer_lapsed", "nobody chose a time"
        OFFER_DECLINED = "offer_declined", "the times were declined"
        CALL_WANTED = "call_wanted", "the client wants to be called"
        CONFIRMED = "confirmed", "the time is confirmed"
        MOVED = "moved", "the time has changed"
        REMINDER = "reminder", "the visit is tomorrow"
        EXTENDED = "extended", "the visit takes longer or needs another unit"
        MORE_WORK = "more_work", "more work is proposed"
        WITHDRAWN = "withdrawn", "the time is withdrawn"
        ON_THE_WAY = "on_the_way", "on the way"
        DONE = "done", "the work is done"
        NOT_DONE = "not_done", "the work could not be done"
        CANCELLED = "cancelled", "the visit is cancelled"
        CANNOT_KEEP = "cannot_keep", "nobody can keep the time"
        ROUNDS_CHANGED = "rounds_changed", "rounds have changed"
        FOUND = "found", "something was found that cannot wait"
        REPORT_NOTED = "report_noted", "what was reported is understood"
        CALL_BACK = "call_back", "the client is called about what was reported"
        ORDER = "order", "an order to a supplier"
        ORDER_CANCELLED = "order_cancelled", "an order is cancelled"
        DIGEST = "digest", "what needs attention this morning"

    class State(models.TextChoices):
        WAITING = "waiting", "to be sent"
        SENDING = "sending", "being sent"
        SENT = "sent", "sent"
        TO_CALL = "to_call", "to be called"
        CALLED = "called", "called"
        TO_READ = "to_read", "to be read here"
        EXPIRED = "expired", "too late to be of use"
        REPLACED = "replaced", "replaced by a later message"

    company = models.ForeignKey(Company, on_delete=models.CASCADE, related_name="messages")
    event = models.CharField(max_length=120, help_text="what it tells of, and whom; the same event is told once")
    audience = models.CharField(max_length=10, choices=Audience)
    client = models.ForeignKey(Client, on_delete=models.PROTECT, null=True, blank=True, related_name="messages")
    installer = models.ForeignKey(Installer, on_delete=models.PROTECT, null=True, blank=True, related_name="messages")
    visit = models.ForeignKey(Visit, on_delete=models.CASCADE, null=True, blank=True, related_name="messages")
    order = models.ForeignKey(
        PurchaseOrder,
        on_delete=models.CASCADE,
        null=True,
        blank=True,
        related_name="messages",
        help_text="id of the order to a supplier that it is about",
    )
    finding = models.ForeignKey(
        Finding,
        on_delete=models.SET_NULL,
        null=True,
        blank=True,
        related_name="messages",
        help_text="id of the finding that it tells of",
    )
    kind = models.CharField(max_length=16, choices=Kind)
    state = models.CharField(max_length=8, choices=State)
    email = models.EmailField(blank=True, help_text="where it goes; empty: it is read here, or the office calls")
    text_number = models.CharField(
        max_length=40,
        blank=True,
        help_text="number it goes to as a text message; empty: by e-mail or by a call",
    )
    subject = models.CharField(max_length=200)
    body = models.TextField()
    created_at = models.DateTimeField()
    useful_until = models.DateTimeField(null=True, blank=True, help_text="after this it is not sent any more")
    attempts = models.PositiveSmallIntegerField(default=0)
    next_attempt_at = models.DateTimeField(null=True, blank=True)
    sent_at = models.DateTimeField(null=True, blank=True)
    trouble = models.CharField(max_length=300, blank=True, help_text="what went wrong when it was sent last")
    called_at = models.DateTimeField(null=True, blank=True)
    called_by = models.ForeignKey(Membership, on_delete=models.SET_NULL, null=True, blank=True, related_name="+")
    call_note = models.TextField(blank=True)

    class Meta:
        ordering = ["-created_at", "-pk"]
        constraints: ClassVar = [models.UniqueConstraint(fields=["company", "event"], name="one_message_per_event")]
        indexes: ClassVar = [models.Index(fields=["state", "next_attempt_at"], name="message_by_state")]

    def __str__(self) -> str:
        return f"{self.kind} to {self.audience}"


class MessageDocument(TenantModel):
    """A document that goes with a message, as it leaves."""

    TENANT_PATH = "message__company_id"

    message = models.ForeignKey(Message, on_delete=models.CASCADE, related_name="documents")
    name = models.CharField(max_length=80)
    media_type = models.CharField(max_length=60)
    content = models.BinaryField()

    class Meta:
        ordering: ClassVar = ["message_id", "pk"]
        constraints: ClassVar = [models.UniqueConstraint(fields=["message", "name"], name="one_document_of_a_name")]

    def __str__(self) -> str:
        return self.name
