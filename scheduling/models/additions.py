"""Work that the night would add to a visit confirmed with the client: proposed to the office, not added in silence."""

from typing import ClassVar

from django.db import models

from accounts.models import Membership
from accounts.tenancy import TenantModel
from scheduling.models.needs import Need
from scheduling.models.visits import Visit


class VisitAddition(TenantModel):
    """A need that would cost less along with a confirmed visit than on a visit of its own.

    It becomes a task of the visit when the office accepts it. What the office declines is remembered, so that no later
    night proposes it for this visit again.
    """

    TENANT_PATH = "visit__company_id"
    CLIENT_PATH = "visit__site__client_id"

    class State(models.TextChoices):
        PROPOSED = "proposed", "proposed"
        DECLINED = "declined", "declined"

    visit = models.ForeignKey(Visit, on_delete=models.CASCADE, related_name="additions")
    need = models.ForeignKey(Need, on_delete=models.CASCADE, related_name="additions")
    state = models.CharField(max_length=8, choices=State, default=State.PROPOSED)
    order = models.PositiveSmallIntegerField(default=1, help_text="order of work among the additions")
    minutes = models.PositiveIntegerField(help_text="how much longer the visit takes with it")
    parts = models.JSONField(
        default=list, blank=True, help_text="what the visit takes along in addition: item, quantity"
    )
    reason = models.TextField(blank=True, help_text="why on this visit, in money")
    created_at = models.DateTimeField()
    declined_by = models.ForeignKey(Membership, on_delete=models.SET_NULL, null=True, blank=True, related_name="+")
    declined_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        ordering: ClassVar = ["visit_id", "order", "pk"]
        constraints: ClassVar = [models.UniqueConstraint(fields=["visit", "need"], name="an_addition_once_per_visit")]

    def __str__(self) -> str:
        return f"addition of {self.need_id} to {self.visit_id} ({self.state})"
