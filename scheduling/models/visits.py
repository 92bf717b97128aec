"""Visits to sites, what is to be done on them, and what was done."""

from collections.abc import Iterable
from typing import Any, ClassVar, Final

from django.db import models
from django.db.models import Q
from django.db.models.deletion import Collector

from accounts.day_alone_field import DayOrMomentField, KnowsDaysAlone, day_column
from accounts.language import gettext_noop
from accounts.models import Company, Membership
from accounts.tenancy import TenantQuerySet
from fleet.models import PassedOn, Site
from fleet.models.corrections import InForceManager, Voidable
from scheduling.models.installers import Installer
from scheduling.models.needs import Need


def keep_visits_known_to_people(collector: Collector, field: Any, visits: Any, using: str) -> None:
    """Delete a site's visits with it where nobody was ever told of them; one that somebody was told of keeps the site.

    A proposal is worked out from what is stored. It must not hold a site that was entered by mistake.
    """
    known_visits = visits.filter(
        ~Q(state__in=(Visit.State.PROPOSED, Visit.State.CANCELLED))
        | ~Q(offers=[])
        | Q(messages__isnull=False)
        | Q(records__isnull=False)
        | Q(stops__round__plan__published_at__isnull=False)
    ).distinct()
    if known_visits:
        models.PROTECT(collector, field, known_visits, using)
    models.CASCADE(collector, field, visits, using)


def keep_tasks_of_visits_known_to_people(collector: Collector, field: Any, tasks: Any, using: str) -> None:
    """Delete a need's tasks with it where their visits are only proposed; what was on a visit stays with its need."""
    known_tasks = tasks.exclude(visit__state=Visit.State.PROPOSED)
    if known_tasks:
        models.PROTECT(collector, field, known_tasks, using)
    models.CASCADE(collector, field, tasks, using)


class Visit(KnowsDaysAlone, PassedOn):
    """One call at one site, bundling needs."""

    CLIENT_PATH = "site__client_id"
    HELD_THROUGH = "site"
    HAPPENED_AT = "closed_at"
    IS_PERSONAL = True

    class State(models.TextChoices):
        PROPOSED = "proposed", gettext_noop("proposed")
        OFFERED = "offered", gettext_noop("offered to the client")
        CONFIRMED = "confirmed", gettext_noop("confirmed with the client")
        ON_THE_WAY = "on_the_way", gettext_noop("on the way")
        IN_PROGRESS = "in_progress", gettext_noop("in progress")
        DONE = "done", gettext_noop("done")
        NOT_DONE = "not_done", gettext_noop("could not be done")
        CANCELLED = "cancelled", gettext_noop("cancelled")

    # Every set of states that decides something, by its one name.
    UNCONFIRMED: ClassVar = (State.PROPOSED, State.OFFERED)
    UNDER_WAY: ClassVar = (State.ON_THE_WAY, State.IN_PROGRESS)
    AHEAD: ClassVar = (*UNCONFIRMED, State.CONFIRMED)  # nobody has departed yet
    CONFIRMED_OR_UNDER_WAY: ClassVar = (State.CONFIRMED, *UNDER_WAY)  # the client or an installer counts on it
    KNOWN_TO_CLIENT: ClassVar = (State.OFFERED, *CONFIRMED_OR_UNDER_WAY)  # the client was told a time
    LIVE: ClassVar = (*UNCONFIRMED, *CONFIRMED_OR_UNDER_WAY)
    VISITED: ClassVar = (State.DONE, State.NOT_DONE)
    CLOSED: ClassVar = (*VISITED, State.CANCELLED)

    class Obstacle(models.TextChoices):
        NOBODY_IN = "nobody_in", gettext_noop("nobody was in")
        NO_ACCESS = "no_access", gettext_noop("the unit could not be reached")
        PART_MISSING = "part_missing", gettext_noop("a part was missing")
        NOT_SAFE = "not_safe", gettext_noop("it was not safe to work")
        NO_TIME = "no_time", gettext_noop("there was no time left")
        OTHER = "other", gettext_noop("another reason, see the note")

    company = models.ForeignKey(Company, on_delete=models.CASCADE, related_name="visits")
    site = models.ForeignKey(Site, on_delete=keep_visits_known_to_people, related_name="visits")
    state = models.CharField(max_length=12, choices=State, default=State.PROPOSED)
    earliest_day = models.DateField()
    latest_day = models.DateField()
    best_day = models.DateField()
    is_urgent = models.BooleanField(default=False)
    minutes = models.PositiveIntegerField()
    skills = models.JSONField(default=list, blank=True, help_text="what the installer must be able to do")
    appointment_at = models.DateTimeField(null=True, blank=True, help_text="confirmed start of the work")
    confirmed_minutes = models.PositiveIntegerField(
        null=True, blank=True, help_text="how long the client was told that the confirmed visit takes"
    )
    confirmed_units = models.JSONField(
        default=list, blank=True, help_text="ids of the units that the client was told the confirmed visit is about"
    )
    offers = models.JSONField(
        default=list,
        blank=True,
        help_text="windows the client may choose from while it is offered: opens_at, closes_at; of one that a plan "
        "keeps free also starts_at and installer",
    )
    declined = models.JSONField(
        default=list,
        blank=True,
        help_text="windows that the client declined, opens_at and closes_at: plans do not go then",
    )
    obstacle = models.CharField(
        max_length=12, choices=Obstacle, blank=True, help_text="why it could not be done; empty unless it could not"
    )
    installer = models.ForeignKey(
        Installer,
        on_delete=models.SET_NULL,
        null=True,
        blank=True,
        related_name="visits",
        help_text="id of the installer who was confirmed to the client, or is planned",
    )
    departed_at = models.DateTimeField(null=True, blank=True, help_text="when the installer departed, as reported")
    begun_at = models.DateTimeField(null=True, blank=True, help_text="when the work began, as reported")
    costs_first_day = models.DateField()
    costs = models.JSONField(
        default=list,
        help_text="expected cost of going on each day from costs_first_day, without driving; null: not allowed",
    )
    cost_of_leaving = models.FloatField(default=0.0, help_text="expected cost of not going within the horizon")
    travel_cost = models.FloatField(default=0.0, help_text="estimated driving of the visit in a usual round")
    reason = models.TextField(blank=True, help_text="why now, and why these tasks together, in money")
    revision = models.PositiveIntegerField(
        default=0, help_text="counts changes of time, installer or state; a calendar takes the higher one"
    )
    locked_start = models.DateTimeField(
        null=True, blank=True, help_text="start of work that plans keep because a person said so; empty: not locked"
    )
    locked_installer = models.ForeignKey(
        Installer, on_delete=models.SET_NULL, null=True, blank=True, related_name="+", help_text="who goes then"
    )
    locked_by = models.ForeignKey(Membership, on_delete=models.SET_NULL, null=True, blank=True, related_name="+")
    locked_at = models.DateTimeField(null=True, blank=True, help_text="when it was locked")
    lock_reason = models.CharField(max_length=300, blank=True)
    closing_note = models.TextField(blank=True, help_text="why it was cancelled, or a remark on its completion")
    closed_on = day_column()
    closed_at = DayOrMomentField(
        null=True, blank=True, day_column="closed_on", help_text="when it was done or cancelled"
    )
    created_at = models.DateTimeField()
    updated_at = models.DateTimeField()

    class Meta:
        ordering = ["best_day", "pk"]
        constraints: ClassVar = [
            models.UniqueConstraint(fields=["site"], condition=Q(state="proposed"), name="one_proposed_visit_per_site"),
            models.CheckConstraint(
                condition=~Q(state="confirmed") | Q(appointment_at__isnull=False), name="a_confirmed_visit_has_a_time"
            ),
        ]

    @property
    def state_words(self) -> str:
        """Its state as a verb: 'is on the way', 'could not be done'."""
        state_words = str(self.get_state_display())
        return state_words if self.state == self.State.NOT_DONE else f"is {state_words}"

    def units_known_to_client(self, task_units: Iterable[int]) -> set[int]:
        """Ids of the units that the client knows the visit is about: of its tasks, until others were confirmed.

        Parameters
        ----------
        task_units
            Ids of the units of its tasks.
        """
        return set(task_units) if self.confirmed_minutes is None else set(self.confirmed_units)

    def __str__(self) -> str:
        return f"visit to {self.site_id} ({self.state})"


class VisitTask(PassedOn):
    """A need taken up by a visit, in the order of work."""

    TENANT_PATH = "visit__company_id"
    CLIENT_PATH = "visit__site__client_id"
    HELD_THROUGH = "visit__site"
    HAPPENED_AT = "visit__closed_at"
    IS_PERSONAL = True

    class Outcome(models.TextChoices):
        DONE = "done", "done"
        NOT_DONE = "not_done", "not done"

    visit = models.ForeignKey(Visit, on_delete=models.CASCADE, related_name="tasks")
    need = models.ForeignKey(Need, on_delete=keep_tasks_of_visits_known_to_people, related_name="tasks")
    order = models.PositiveSmallIntegerField()
    reason = models.TextField(blank=True)
    outcome = models.CharField(
        max_length=8, choices=Outcome, blank=True, help_text="what became of it; empty until the visit is closed"
    )
    outcome_reason = models.TextField(blank=True, help_text="why it was not done")

    class Meta:
        ordering: ClassVar = ["visit_id", "order", "pk"]
        constraints: ClassVar = [models.UniqueConstraint(fields=["visit", "need"], name="a_need_once_per_visit")]

    def __str__(self) -> str:
        return f"task {self.order} of {self.visit_id}"


class ServiceRecord(KnowsDaysAlone, Voidable, PassedOn):
    """What was done on a visit, as the installer reported it; `reference` makes a repeated report harmless.

    `objects` holds what is in force; a report that was taken back stays in `with_voided`, and the one that took its
    place names it in `corrects`.
    """

    TENANT_PATH = "company_id"
    CLIENT_PATH = "site__client_id"
    HELD_THROUGH = "site"
    HAPPENED_AT = "done_at"
    PERSONAL_FIELDS = frozenset({"visit", "done_by", "confirmed_by", "confirmed_at", "photos", "note"})

    company = models.ForeignKey(Company, on_delete=models.CASCADE, related_name="service_records")
    site = models.ForeignKey(Site, on_delete=models.PROTECT, related_name="service_records")
    visit = models.ForeignKey(Visit, on_delete=models.SET_NULL, null=True, blank=True, related_name="records")
    reference = models.CharField(max_length=80)
    done_on = day_column()
    done_at = DayOrMomentField(day_column="done_on")
    done_by = models.ForeignKey(Membership, on_delete=models.SET_NULL, null=True, blank=True, related_name="+")
    minutes = models.PositiveIntegerField(null=True, blank=True)
    work = models.JSONField(
        default=list, help_text="list of what was done: position, action, item, serial or lot, reason"
    )
    parts = models.JSONField(default=list, blank=True, help_text="items taken from the van or the store, with quantity")
    leftover = models.JSONField(default=list, blank=True, help_text="pieces found over and put into the van")
    readings = models.JSONField(default=list, blank=True, help_text="ids of the readings sent with the report")
    confirmed_by = models.CharField(max_length=120, blank=True, help_text="who at the client's saw that it was done")
    confirmed_on = day_column()
    confirmed_at = DayOrMomentField(day_column="confirmed_on", null=True, blank=True)
    note = models.TextField(blank=True)
    received_at = models.DateTimeField()
    corrects = models.OneToOneField(
        "self", on_delete=models.PROTECT, null=True, blank=True, related_name="corrected_by"
    )
    before = models.JSONField(
        default=dict, blank=True, help_text="what the report changed and nothing else keeps, for taking it back"
    )

    objects = InForceManager()  # type: ignore[misc]
    with_voided = TenantQuerySet.as_manager()

    class Meta:
        ordering = ["-done_at", "-pk"]
        constraints: ClassVar = [
            models.UniqueConstraint(fields=["company", "reference"], name="one_record_per_reference")
        ]

    @property
    def trail_name(self) -> str:
        """The site and the reference of the report."""
        return f"{self.site.code}, {self.reference}"

    def __str__(self) -> str:
        return f"record {self.reference}"


PICTURE_ENDINGS: Final = {"image/jpeg": "jpg", "image/png": "png", "image/webp": "webp"}


def photo_path(photo: "ServicePhoto", name: str) -> str:
    """Where a photo is kept: by company, under its digest, so that no name of a sender reaches the disk."""
    kind = PICTURE_ENDINGS[photo.media_type]
    return f"company-{photo.record.company_id}/record-{photo.record_id}/{photo.digest}.{kind}"


class ServicePhoto(PassedOn):
    """A picture that belongs to a report: of the work, or the client's signature."""

    TENANT_PATH = "record__company_id"
    CLIENT_PATH = "record__site__client_id"
    HELD_THROUGH = "record__site"
    HAPPENED_AT = "record__done_at"
    IS_PERSONAL = True

    class Kind(models.TextChoices):
        PHOTO = "photo", "photo"
        SIGNATURE = "signature", "signature"

    record = models.ForeignKey(ServiceRecord, on_delete=models.CASCADE, related_name="photos")
    kind = models.CharField(max_length=9, choices=Kind, default=Kind.PHOTO)
    file = models.FileField(upload_to=photo_path, max_length=200)
    media_type = models.CharField(max_length=20)
    size = models.PositiveIntegerField(help_text="size of the file in bytes")
    width = models.PositiveIntegerField(help_text="width in pixels")
    height = models.PositiveIntegerField(help_text="height in pixels")
    digest = models.CharField(max_length=64, help_text="SHA-256 of the file; the same picture is kept once")
    caption = models.CharField(max_length=200, blank=True)
    sent_by = models.ForeignKey(Membership, on_delete=models.SET_NULL, null=True, blank=True, related_name="+")
    received_at = models.DateTimeField()

    class Meta:
        ordering: ClassVar = ["record_id", "pk"]
        constraints: ClassVar = [models.UniqueConstraint(fields=["record", "digest"], name="a_picture_once_per_record")]

    def __str__(self) -> str:
        return f"{self.kind} of {self.record_id}"
