"""Visits: proposed by the house, confirmed with the client, done."""

from typing import Any

from django.db.models import Prefetch
from drf_spectacular.utils import extend_schema, extend_schema_field
from rest_framework import serializers
from rest_framework.decorators import action
from rest_framework.request import Request
from rest_framework.response import Response

from accounts.http.fields import MomentField, TenantRelatedField
from accounts.http.serializers import StrictSerializer, TenantModelSerializer
from accounts.http.viewsets import ReadOnlyViewSet
from scheduling.api.additions import (
    AdditionsAcceptedSerializer,
    AdditionsDeclinedSerializer,
    VisitAdditionSerializer,
)
from scheduling.api.notes import NoteSerializer, SentSerializer
from scheduling.models import Installer, Need, Plan, Stop, Visit, VisitAddition, VisitTask
from scheduling.services.needs.needs import refresh_needs
from scheduling.services.people import words
from scheduling.services.rounds import confirmed_times
from scheduling.services.rounds.not_planned import why_in_no_round
from scheduling.services.visits.additions import accept_additions, decline_additions
from scheduling.services.visits.locks import unlock_visit
from scheduling.services.visits.outcomes import TaskOutcome
from scheduling.services.visits.visits import (
    begin_visit,
    complete_visit,
    depart,
    offer_visit,
    propose_visits,
    report_not_done,
)


class PlannedSerializer(StrictSerializer):
    """Where a published plan puts a visit."""

    plan = serializers.IntegerField(source="round.plan_id")
    round = serializers.IntegerField(source="round_id")
    installer = serializers.IntegerField(source="round.installer_id")
    installer_name = serializers.CharField(source="round.installer.name")
    order = serializers.IntegerField()
    arrives_at = MomentField()
    starts_at = MomentField()
    leaves_at = MomentField()


class VisitTaskSerializer(TenantModelSerializer):
    """A need taken up by a visit, in the order of work."""

    kind = serializers.ChoiceField(choices=Need.Kind.choices, source="need.kind")
    label = serializers.CharField(source="need.label")  # type: ignore[assignment]
    state = serializers.ChoiceField(choices=Need.State.choices, source="need.state", help_text="how far the need is")
    unit = serializers.IntegerField(source="need.unit_id")
    unit_code = serializers.CharField(source="need.unit.code")
    position = serializers.IntegerField(source="need.position_id", allow_null=True)
    item = serializers.IntegerField(source="need.item_id", allow_null=True)
    minutes = serializers.IntegerField(source="need.minutes")
    reason = serializers.CharField(help_text="why on this visit, in money")
    outcome_reason = serializers.CharField(help_text="why it was not done")

    class Meta:
        model = VisitTask
        fields = [
            "order",
            "need",
            "kind",
            "label",
            "state",
            "unit",
            "unit_code",
            "position",
            "item",
            "minutes",
            "reason",
            "outcome",
            "outcome_reason",
        ]
        read_only_fields = fields


class WindowSerializer(StrictSerializer):
    """From when to when the work may start."""

    opens_at = MomentField()
    closes_at = MomentField()


class LockSerializer(StrictSerializer):
    """What plans keep because a person said so."""

    starts_at = MomentField(source="locked_start")
    installer = serializers.IntegerField(source="locked_installer_id")
    locked_by = serializers.IntegerField(source="locked_by_id", allow_null=True)
    locked_by_name = serializers.CharField(allow_null=True, source="locked_by.name", default=None)
    locked_at = MomentField()
    reason = serializers.CharField(source="lock_reason")


class VisitSerializer(TenantModelSerializer):
    """One call at one site."""

    site_name = serializers.CharField(source="site.name", read_only=True)
    installer_name = serializers.CharField(source="installer.name", read_only=True, allow_null=True, default=None)
    tasks = VisitTaskSerializer(many=True, read_only=True)
    confirmed_minutes = serializers.IntegerField(
        read_only=True,
        allow_null=True,
        help_text="how long the client was told that the confirmed visit takes; null: they were not told",
    )
    additions = serializers.SerializerMethodField(
        help_text="what the nightly run would add to the confirmed visit; the office accepts or declines"
    )
    offers = WindowSerializer(many=True, read_only=True, help_text="windows to choose from while it is offered")
    planned = serializers.SerializerMethodField(help_text="its stop in the newest published plan; null when in none")
    why_in_no_round = serializers.SerializerMethodField(
        help_text="of a confirmed visit in no published plan: why, and what brings it into one; else empty"
    )
    skills = serializers.ListField(child=serializers.CharField(), read_only=True)
    costs = serializers.ListField(
        child=serializers.FloatField(allow_null=True),
        read_only=True,
        allow_null=True,
        help_text="expected cost of going on each day from costs_first_day, without driving; null: not allowed then",
    )
    costs_first_day = serializers.DateField(read_only=True, allow_null=True)
    cost_of_leaving = serializers.FloatField(
        read_only=True, allow_null=True, help_text="expected cost of not going within the days planned by default"
    )
    travel_cost = serializers.FloatField(read_only=True, allow_null=True)
    reason = serializers.CharField(read_only=True, allow_null=True)
    lock = serializers.SerializerMethodField(help_text="time and installer that plans keep; null when not locked")
    closing_note = serializers.CharField(read_only=True, allow_null=True)
    client_sentence = serializers.SerializerMethodField(help_text="how it stands, as its client is told")
    client_work = serializers.SerializerMethodField(help_text="what is still to be done, as its client is told")

    class Meta:
        model = Visit
        fields = [
            "id",
            "site",
            "site_name",
            "state",
            "is_urgent",
            "earliest_day",
            "latest_day",
            "best_day",
            "minutes",
            "client_sentence",
            "client_work",
            "skills",
            "appointment_at",
            "installer",
            "installer_name",
            "offers",
            "planned",
            "why_in_no_round",
            "lock",
            "tasks",
            "confirmed_minutes",
            "additions",
            "reason",
            "costs_first_day",
            "costs",
            "cost_of_leaving",
            "travel_cost",
            "revision",
            "obstacle",
            "closing_note",
            "closed_at",
            "created_at",
            "updated_at",
        ]
        read_only_fields = fields

    @extend_schema_field(VisitAdditionSerializer(many=True))
    def get_additions(self, visit: Visit) -> Any:
        rows: list[VisitAddition] = visit.open_additions if visit.state == Visit.State.CONFIRMED else []  # type: ignore[attr-defined]
        return VisitAdditionSerializer(rows, many=True, context=self.context).data

    @extend_schema_field(PlannedSerializer(allow_null=True))
    def get_planned(self, visit: Visit) -> Any:
        stops: list[Stop] = visit.published_stops  # type: ignore[attr-defined]
        return PlannedSerializer(stops[-1], context=self.context).data if stops else None

    def get_why_in_no_round(self, visit: Visit) -> str:
        if visit.published_stops:  # type: ignore[attr-defined]
            return ""
        return why_in_no_round(visit, company=self.context["membership"].company, now=self.context["now"])

    def get_client_sentence(self, visit: Visit) -> str:
        return words.state_sentence(visit)

    def get_client_work(self, visit: Visit) -> str:
        return words.work_text(task.need for task in visit.tasks.all() if task.need.state == Need.State.OPEN)

    @extend_schema_field(LockSerializer(allow_null=True))
    def get_lock(self, visit: Visit) -> Any:
        return LockSerializer(visit, context=self.context).data if visit.locked_start is not None else None


class ConfirmationSerializer(SentSerializer):
    """The time confirmed with the client."""

    appointment_at = MomentField(help_text="start of the work, on the minute")
    installer = TenantRelatedField(
        queryset=Installer.objects.all(),
        required=False,
        allow_null=True,
        default=None,
        help_text="confirmed to the client; empty: whoever's round it fits",
    )
    outside_access_hours = serializers.BooleanField(
        required=False, default=False, help_text="the client opens up at another time than the site's hours say"
    )


class OfferSerializer(SentSerializer):
    """Two or three windows for the client to choose from."""

    windows = WindowSerializer(many=True)
    installer = TenantRelatedField(
        queryset=Installer.objects.all(),
        required=False,
        allow_null=True,
        default=None,
        help_text="who would come; empty: whoever's round it fits",
    )
    outside_access_hours = serializers.BooleanField(
        required=False, default=False, help_text="the client opens up at other times than the site's hours say"
    )

    def validate_windows(self, windows: list[dict[str, Any]]) -> list[tuple[Any, Any]]:
        return [(window["opens_at"], window["closes_at"]) for window in windows]


class AcceptanceSerializer(SentSerializer):
    """The window the client chose."""

    opens_at = MomentField(help_text="start of the window that is chosen, one of those offered")


class DeclineSerializer(SentSerializer):
    """Why the times offered do not suit."""

    reason = serializers.CharField(
        max_length=1000,
        required=False,
        allow_blank=True,
        default="",
        help_text="why, and when it would suit; for the office",
    )


class ObstacleSerializer(NoteSerializer):
    """Why a visit could not be done."""

    obstacle = serializers.ChoiceField(choices=Visit.Obstacle.choices)


class TaskOutcomeSerializer(StrictSerializer):
    """What became of a task."""

    need = TenantRelatedField(queryset=Need.objects.all())
    done = serializers.BooleanField()
    reason = serializers.CharField(
        max_length=500, required=False, allow_blank=True, default="", help_text="why not; needed when it was not done"
    )


class CompletionSerializer(NoteSerializer):
    """What became of each task that is still open."""

    tasks = TaskOutcomeSerializer(many=True, required=False, default=list)

    def validate_tasks(self, tasks: list[dict[str, Any]]) -> list[TaskOutcome]:
        return [TaskOutcome(**task) for task in tasks]


class ProposalCountsSerializer(StrictSerializer):
    """What looking again changed."""

    needs_opened = serializers.IntegerField()
    needs_changed = serializers.IntegerField()
    needs_dropped = serializers.IntegerField()
    visits_opened = serializers.IntegerField()
    visits_changed = serializers.IntegerField()
    visits_withdrawn = serializers.IntegerField()


class VisitViewSet(ReadOnlyViewSet):
    """Visits: at most one proposed for a site, and those offered, confirmed, under way and closed."""

    resource = "visit"
    company_first = True
    queryset = Visit.objects.select_related("site", "installer", "locked_by").prefetch_related(
        Prefetch("tasks", queryset=VisitTask.objects.select_related("need__unit", "need__position")),
        Prefetch(
            "additions",
            queryset=VisitAddition.objects.filter(state=VisitAddition.State.PROPOSED, need__state=Need.State.OPEN)
            .select_related("need__unit")
            .order_by("order", "pk"),
            to_attr="open_additions",
        ),
        Prefetch(
            "stops",
            queryset=Stop.objects.filter(round__plan__state=Plan.State.PUBLISHED)
            .select_related("round__installer")
            .order_by("round__plan__published_at", "pk"),
            to_attr="published_stops",
        ),
    )
    serializer_class = VisitSerializer
    filterset_fields = {
        "site": ["exact"],
        "state": ["exact"],
        "installer": ["exact"],
        "is_urgent": ["exact"],
        "best_day": ["gte", "lte"],
        "latest_day": ["gte", "lte"],
        "appointment_at": ["gte", "lt"],
    }
    ordering_fields = ["best_day", "latest_day", "appointment_at", "created_at"]
    search_fields = ["site__code", "site__name", "site__address", "site__client__name", "installer__name"]

    @extend_schema(request=ConfirmationSerializer, responses=VisitSerializer)
    @action(detail=True, methods=["post"])
    def confirm(self, request: Request, pk: str) -> Response:
        """Note the time confirmed with the client, or move a confirmed visit to another one.

        The published plan follows: the stop moves to a round that keeps the time, or leaves the plan, which says so.
        """
        with self.transaction():
            visit = self.locked_object()
            sent = ConfirmationSerializer.read(self)
            return self.answer(self.reread(confirmed_times.confirm(visit=visit, by=self.by, now=self.now, **sent)))

    @extend_schema(request=OfferSerializer, responses=VisitSerializer)
    @action(detail=True, methods=["post"])
    def offer(self, request: Request, pk: str) -> Response:
        """Offer the client two or three windows; offered again, they take the place of the old ones."""
        return self._move(offer_visit, OfferSerializer)

    @extend_schema(request=AcceptanceSerializer, responses=VisitSerializer)
    @action(detail=True, methods=["post"])
    def accept(self, request: Request, pk: str) -> Response:
        """Take up one of the windows offered, as the client or for the client; the visit is confirmed."""
        return self._move(confirmed_times.accept, AcceptanceSerializer)

    @extend_schema(request=DeclineSerializer, responses=VisitSerializer)
    @action(detail=True, methods=["post"])
    def decline(self, request: Request, pk: str) -> Response:
        """Decline every window offered, as the client or for the client; plans keep off those times.

        The stop leaves its round, the office is told, and the visit is planned anew.
        """
        return self._move(confirmed_times.decline, DeclineSerializer)

    @extend_schema(request=NoteSerializer, responses=VisitSerializer)
    @action(detail=True, methods=["post"], url_path="ask-for-call")
    def ask_for_call(self, request: Request, pk: str) -> Response:
        """Ask the office to call the client about the visit; it appears on the call list."""
        return self._move(confirmed_times.ask_for_call, NoteSerializer)

    @extend_schema(request=AdditionsAcceptedSerializer, responses=VisitSerializer)
    @action(detail=True, methods=["post"], url_path="accept-additions")
    def accept_additions(self, request: Request, pk: str) -> Response:
        """Make proposed additions tasks of the confirmed visit.

        The client is told when it takes longer than they were told, or needs access to another unit.
        """
        return self._move(accept_additions, AdditionsAcceptedSerializer)

    @extend_schema(request=AdditionsDeclinedSerializer, responses=VisitSerializer)
    @action(detail=True, methods=["post"], url_path="decline-additions")
    def decline_additions(self, request: Request, pk: str) -> Response:
        """Keep proposed additions off this visit for good; they are proposed on a visit of their own."""
        return self._move(decline_additions, AdditionsDeclinedSerializer)

    @extend_schema(request=None, responses=VisitSerializer)
    @action(detail=True, methods=["post"])
    def depart(self, request: Request, pk: str) -> Response:
        """Note that the installer is on the way."""
        return self._move(depart)

    @extend_schema(request=None, responses=VisitSerializer)
    @action(detail=True, methods=["post"])
    def begin(self, request: Request, pk: str) -> Response:
        """Note that the work has begun."""
        return self._move(begin_visit)

    @extend_schema(request=ObstacleSerializer, responses=VisitSerializer)
    @action(detail=True, methods=["post"], url_path="not-done")
    def not_done(self, request: Request, pk: str) -> Response:
        """Close a visit that could not be done; its needs stay open and are proposed again."""
        return self._move(report_not_done, ObstacleSerializer)

    @extend_schema(request=NoteSerializer, responses=VisitSerializer)
    @action(detail=True, methods=["post"])
    def unconfirm(self, request: Request, pk: str) -> Response:
        """Give a confirmed time back, or withdraw an offer; the visit is a proposal again.

        The stop at a confirmed time leaves its published round at once.
        """
        return self._move(confirmed_times.take_back, NoteSerializer)

    @extend_schema(request=NoteSerializer, responses=VisitSerializer)
    @action(detail=True, methods=["post"])
    def unlock(self, request: Request, pk: str) -> Response:
        """Take a lock off: later plans may move the visit again."""
        return self._move(unlock_visit, NoteSerializer)

    @extend_schema(request=NoteSerializer, responses=VisitSerializer)
    @action(detail=True, methods=["post"])
    def cancel(self, request: Request, pk: str) -> Response:
        """Call a visit off, as the office or as the client; its needs stay open and are proposed again.

        By the client, plans keep off the day they were told, and the office reads of it.
        """
        return self._move(confirmed_times.cancel, NoteSerializer)

    @extend_schema(request=CompletionSerializer, responses=VisitSerializer)
    @action(detail=True, methods=["post"])
    def complete(self, request: Request, pk: str) -> Response:
        """Close a visit without a record of work, saying of each open task whether it was done or why not.

        A service record closes its visit by itself; changed cartridges are reported by one.
        """
        return self._move(complete_visit, CompletionSerializer)

    def _move(self, service: Any, body: type[SentSerializer] | None = None) -> Response:
        with self.transaction():
            visit = self.locked_object()
            sent = body.read(self) if body is not None else {}
            return self.answer(self.reread(service(visit=visit, by=self.by, now=self.now, **sent)))

    @extend_schema(request=None, responses=ProposalCountsSerializer)
    @action(detail=False, methods=["post"])
    def propose(self, request: Request) -> Response:
        """Find the needs and bundle the visits again, as the nightly run does."""
        company = self.by.company
        with self.transaction():
            needs = refresh_needs(company=company, now=self.now)
            visits = propose_visits(company=company, now=self.now)
        counts = {
            "needs_opened": needs.opened,
            "needs_changed": needs.changed,
            "needs_dropped": needs.dropped,
            "visits_opened": visits.opened,
            "visits_changed": visits.changed,
            "visits_withdrawn": visits.withdrawn,
        }
        return Response(ProposalCountsSerializer(counts, context=self.get_serializer_context()).data)
