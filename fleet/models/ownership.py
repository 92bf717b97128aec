"""Which client a unit or site was of at which time, and what that lets clients read: the one rule of passing on.

A site passes to another client when its premises do, a unit when it is moved to another client's site or its site
passes. From then on the new client reads the technical history (what was measured, found and fitted) without the
people of before; the former client goes on reading what happened in their own time, people included, and nothing later.
"""

from datetime import datetime
from typing import Any, ClassVar

from django.db import models
from django.db.models import F, Q

from accounts.models import Client, Company, Membership
from accounts.tenancy import TenantModel
from fleet.models.sites import Site
from fleet.models.units import Unit


class PastOwnership(TenantModel):
    """A client's time with a unit or a site that has passed to another since; the present one is the site's client."""

    company = models.ForeignKey(Company, on_delete=models.CASCADE, related_name="past_ownerships")
    client = models.ForeignKey(Client, on_delete=models.PROTECT, related_name="past_ownerships")
    site = models.ForeignKey(Site, on_delete=models.CASCADE, null=True, blank=True, related_name="past_ownerships")
    unit = models.ForeignKey(Unit, on_delete=models.CASCADE, null=True, blank=True, related_name="past_ownerships")
    since = models.DateTimeField(null=True, blank=True, help_text="empty: from the start")
    until = models.DateTimeField(help_text="when it passed to the next client")

    class Meta:
        ordering: ClassVar = ["until", "pk"]
        constraints: ClassVar = [
            models.CheckConstraint(
                condition=Q(site=None, unit__isnull=False) | Q(site__isnull=False, unit=None),
                name="an_ownership_is_of_a_site_or_a_unit",
            ),
            models.CheckConstraint(condition=Q(since=None) | Q(until__gt=F("since")), name="owned_before_passed_on"),
        ]

    def __str__(self) -> str:
        return f"client {self.client_id} until {self.until:%Y-%m-%d}"


class PassedOn(TenantModel):
    """A row that tells what happened at a unit or a site, and that clients read by who they were at the time.

    `HELD_THROUGH` is the look-up to the unit or site, `HAPPENED_AT` the one to the moment that decides whose time it
    was (empty: it is going on still, and is the present client's), `ENDED_AT` the one to the last moment the row tells
    of, where that is another. `PERSONAL_FIELDS` are left out for whoever took over later; where `IS_PERSONAL`, the
    whole row is. `LATER_FIELDS` tell of the moment in `ENDED_AT`, and are left out for whoever had passed it on by
    then; a row without them is hidden instead.
    """

    HELD_THROUGH: ClassVar[str] = "unit"
    HAPPENED_AT: ClassVar[str] = "taken_at"
    ENDED_AT: ClassVar[str | None] = None
    PERSONAL_FIELDS: ClassVar[frozenset[str]] = frozenset()
    LATER_FIELDS: ClassVar[frozenset[str]] = frozenset()
    IS_PERSONAL: ClassVar[bool] = False

    class Meta:
        abstract = True

    @classmethod
    def of_client(cls, client_id: int) -> Q:
        """Rows of what the client has now, and of their own time with what they had."""
        return cls._rows_of(client_id, own_time_alone=cls.IS_PERSONAL)

    @classmethod
    def of_own_time(cls, client_id: int) -> Q:
        """Rows of what happened while the client had what it happened at: those whose people are theirs."""
        return cls._rows_of(client_id, own_time_alone=True)

    @classmethod
    def _rows_of(cls, client_id: int, *, own_time_alone: bool) -> Q:
        rows = super().of_client(client_id)
        if own_time_alone:
            since = f"{cls.HELD_THROUGH}__client_since"
            rows &= Q(**{since: None}) | Q(**{cls.HAPPENED_AT: None}) | Q(**{f"{cls.HAPPENED_AT}__gte": F(since)})
        kind = cls._held_kind()
        last = cls.ENDED_AT if cls.ENDED_AT and not cls.LATER_FIELDS else cls.HAPPENED_AT
        # Spelled out one by one, so that a database finds each by its index.
        for past in PastOwnership.objects.filter(client_id=client_id).exclude(**{kind: None}):
            own = Q(**{f"{cls.HELD_THROUGH}_id": getattr(past, f"{kind}_id"), f"{last}__lt": past.until})
            if past.since is not None:
                own &= Q(**{f"{cls.HAPPENED_AT}__gte": past.since})
            rows |= own
        return rows

    def fields_withheld(self, membership: Membership | None) -> frozenset[str]:
        """Fields about people from before the member's time with the unit or site, or about what came after it."""
        if membership is None or membership.client_id is None:
            return frozenset()
        times = _times_of(membership)
        held, key = self._held_kind(), self._at(f"{self.HELD_THROUGH}_id")
        at, ended = self._at(self.HAPPENED_AT), self._at(self.ENDED_AT) if self.ENDED_AT else None
        began = times.taken_over.get((held, key))
        own_until = next(
            (
                until
                for since, until in times.passed_on.get((held, key), ())
                if at is not None and (since is None or at >= since) and at < until
            ),
            None,
        )
        if began is not None:
            return self.PERSONAL_FIELDS if at is not None and at < began and own_until is None else frozenset()
        if own_until is not None and ended is not None and ended >= own_until:
            return self.LATER_FIELDS
        return frozenset()

    @classmethod
    def _held_kind(cls) -> str:
        return cls.HELD_THROUGH.rpartition("__")[2]

    def _at(self, path: str | None) -> Any:
        value: Any = self
        for part in (path or "").split("__"):
            value = getattr(value, part)
        return value


class _Times:
    """When a client took over what they have from others, and when they had what they have passed on."""

    def __init__(self, client_id: int) -> None:
        self.taken_over: dict[tuple[str, int], datetime] = {}
        self.passed_on: dict[tuple[str, int], list[tuple[datetime | None, datetime]]] = {}
        taken: tuple[tuple[str, Any], ...] = (
            ("site", Site.objects.filter(client_id=client_id)),
            ("unit", Unit.objects.filter(site__client_id=client_id)),
        )
        for kind, rows in taken:
            for key, since in rows.filter(client_since__isnull=False).values_list("pk", "client_since"):
                self.taken_over[kind, key] = since
        for past in PastOwnership.objects.filter(client_id=client_id):
            held = ("site", past.site_id) if past.site_id is not None else ("unit", past.unit_id or 0)
            self.passed_on.setdefault(held, []).append((past.since, past.until))


def _times_of(membership: Membership) -> _Times:
    """The client's times, read once for each request: a membership is fetched anew for every one."""
    times = getattr(membership, "_times_with_units", None)
    if times is None:
        times = _Times(membership.client_id or 0)
        membership._times_with_units = times  # type: ignore[attr-defined]
    return times
