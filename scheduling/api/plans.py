"""Plans of rounds: asked for as a job, read with their rounds and with what they leave out, published."""

from functools import cached_property
from typing import Any

from django.db import transaction
from django.db.models import F, Prefetch
from django.http import HttpResponse
from drf_spectacular.types import OpenApiTypes
from drf_spectacular.utils import OpenApiResponse, extend_schema, extend_schema_field
from rest_framework import serializers
from rest_framework.decorators import action
from rest_framework.renderers import JSONRenderer
from rest_framework.request import Request
from rest_framework.response import Response

from accounts.http.etags import check_if_match, etag_of
from accounts.http.fields import FiniteFloatField, MomentField
from accounts.http.serializers import AnswerSerializer, StrictSerializer, TenantModelSerializer
from accounts.http.viewsets import ReadOnlyViewSet
from accounts.jobs.api import JobSerializer, accepted
from scheduling.api.attention import SettleSerializer
from scheduling.api.day_sheets import DaySheetSerializer
from scheduling.api.geojson_schema import FEATURE_COLLECTION
from scheduling.api.messages import MessageSerializer
from scheduling.api.renderers import GeoJSONRenderer, GPXRenderer, PDFRenderer
from scheduling.api.replanning import DifferenceSerializer, HappenedSerializer, ReplanSerializer
from scheduling.api.stock_movements import StockMovementSerializer
from scheduling.api.stops import ANSWERED_STOPS, STOPS, StopSerializer
from scheduling.api.van_loads import LoadedSerializer, VanLoadSerializer
from scheduling.api.visits import WindowSerializer
from scheduling.exports.day_sheet_pdf import MEDIA_TYPE as PDF_MEDIA_TYPE
from scheduling.exports.day_sheet_pdf import day_sheet_pdf
from scheduling.exports.geojson import MEDIA_TYPE, plan_map
from scheduling.exports.gpx import MEDIA_TYPE as GPX_MEDIA_TYPE
from scheduling.exports.gpx import round_gpx
from scheduling.models import Plan, Round, UnservedVisit, Visit
from scheduling.services.people.known import check_round
from scheduling.services.rounds.day_sheets import day_sheet, round_of_today
from scheduling.services.rounds.differences import people_to_tell
from scheduling.services.rounds.faults import PlanFault, faults_of
from scheduling.services.rounds.jobs import start_plan_job
from scheduling.services.rounds.offers import offer_plan
from scheduling.services.rounds.plans import publish_plan
from scheduling.services.rounds.replanning import replan_day
from scheduling.services.stock.parts import write_parts_lists
from scheduling.services.stock.van_loads import load_van, van_load


class RoundSerializer(TenantModelSerializer):
    """One installer's day, from home base to home base."""

    installer_name = serializers.CharField(source="installer.name", read_only=True)
    lunch_at = MomentField(
        source="lunch_on_the_way",
        read_only=True,
        allow_null=True,
        help_text="when the break begins; null where there is none, or it is at home",
    )
    stops = StopSerializer(many=True, read_only=True)
    costs = serializers.DictField(
        child=serializers.FloatField(),
        read_only=True,
        help_text="what it costs by kind: driving, overtime, and the visits on this day without driving",
    )

    class Meta:
        model = Round
        fields = [
            "id",
            "plan",
            "installer",
            "installer_name",
            "day",
            "leaves_at",
            "returns_at",
            "lunch_at",
            "driving_minutes",
            "driving_km",
            "costs",
            "stops",
        ]
        read_only_fields = fields


class UnservedVisitSerializer(TenantModelSerializer):
    """A visit that the plan leaves out, and why."""

    site_name = serializers.CharField(read_only=True)
    extra_cost = serializers.FloatField(
        read_only=True, allow_null=True, help_text="how much dearer the plan would be with it; null: it does not fit"
    )

    class Meta:
        model = UnservedVisit
        fields = ["visit", "site_name", "reason", "sentence", "displaces", "extra_cost"]
        read_only_fields = fields


class PlanFaultSerializer(StrictSerializer):
    """What of a plan cannot be driven, or does not fit what is known by now."""

    code = serializers.CharField()
    sentence = serializers.CharField()
    installer = serializers.CharField(help_text="name of the installer it is about; empty when it is about none")
    day = serializers.IntegerField(
        allow_null=True, help_text="day it is about, counted from 0 at the plan's first; null when it is about none"
    )
    visit = serializers.CharField(help_text="id of the visit it is about; empty when it is about none")
    prevents_publishing = serializers.BooleanField(
        source="prevents", help_text="whether the plan cannot be published with it"
    )
    settle = SettleSerializer(help_text="the call that helps")


class EffortSerializer(StrictSerializer):
    """What the planner was given."""

    seconds = serializers.FloatField(allow_null=True, required=False)
    iterations = serializers.IntegerField(allow_null=True, required=False)
    seed = serializers.IntegerField(required=False)


class PlanSerializer(TenantModelSerializer):
    """A set of rounds for some days; a draft until it is published."""

    costs = serializers.DictField(
        child=serializers.FloatField(), read_only=True, help_text="what it costs by kind, in the company's currency"
    )
    faults = serializers.SerializerMethodField(
        help_text="what cannot be driven, or does not fit what is known by now; empty for a sound plan"
    )
    effort = EffortSerializer(read_only=True)

    class Meta:
        model = Plan
        fields = [
            "id",
            "state",
            "first_day",
            "days",
            "job",
            "effort",
            "travel_source",
            "costs",
            "faults",
            "based_on",
            "created_at",
            "published_at",
        ]
        read_only_fields = fields

    @extend_schema_field(PlanFaultSerializer(many=True))
    def get_faults(self, plan: Plan) -> Any:
        return PlanFaultSerializer(self._faults[plan.pk], many=True, context=self.context).data

    @cached_property
    def _faults(self) -> dict[int, list[PlanFault]]:
        """Of every plan that is answered, read at once."""
        plans = self.parent.instance if self.parent is not None else [self.instance]
        return faults_of(plans=list(plans), now=self.context["now"]) if plans else {}


class WholePlanSerializer(PlanSerializer):
    """A plan with its rounds, stop by stop, and with the visits it leaves out."""

    rounds = RoundSerializer(many=True, read_only=True)
    unserved = UnservedVisitSerializer(many=True, read_only=True)
    happened = HappenedSerializer(many=True, read_only=True, help_text="what went wrong with the plan it is based on")
    differences = DifferenceSerializer(
        many=True, read_only=True, help_text="visits that are not as in the published plan before"
    )
    tell_clients_of = serializers.SerializerMethodField(help_text="visits whose clients must hear of the differences")
    tell_installers = serializers.SerializerMethodField(help_text="installers who must hear of them")

    class Meta(PlanSerializer.Meta):
        fields = [
            *PlanSerializer.Meta.fields,
            "happened",
            "differences",
            "tell_clients_of",
            "tell_installers",
            "rounds",
            "unserved",
        ]
        read_only_fields = fields

    def get_tell_clients_of(self, plan: Plan) -> list[int]:
        return people_to_tell(plan.differences)[0]

    def get_tell_installers(self, plan: Plan) -> list[int]:
        return people_to_tell(plan.differences)[1]


class PlanRequestSerializer(StrictSerializer):
    """Which days to plan, and how hard to try."""

    first_day = serializers.DateField(
        required=False,
        allow_null=True,
        default=None,
        help_text="first day to plan; empty: the next one that has not begun",
    )
    days = serializers.IntegerField(
        required=False,
        allow_null=True,
        default=None,
        help_text="calendar days to plan; empty: the policy's working days, and on through the last day for which "
        "somebody was told a time, 28 at most",
    )
    seconds = FiniteFloatField(
        required=False, allow_null=True, default=None, help_text="time to search; instead of iterations"
    )
    iterations = serializers.IntegerField(
        required=False,
        allow_null=True,
        default=None,
        help_text="steps of the search; the same steps give the same plan",
    )
    seed = serializers.IntegerField(required=False, default=0, help_text="of the random choices")


class PartsWrittenSerializer(StrictSerializer):
    """What writing the parts lists changed."""

    written = serializers.IntegerField()
    unchanged = serializers.IntegerField()


_ROUNDS = Round.objects.select_related("installer").prefetch_related(Prefetch("stops", queryset=STOPS))
_ANSWERED_ROUNDS = Round.objects.select_related("installer").prefetch_related(
    Prefetch("stops", queryset=ANSWERED_STOPS)
)
_WHOLE = (
    Prefetch("rounds", queryset=_ANSWERED_ROUNDS),
    # with no visit and no site as an object: a plan of a large company leaves out thousands
    Prefetch("unserved", queryset=UnservedVisit.objects.annotate(site_name=F("visit__site__name"))),
)


class OfferedVisitSerializer(TenantModelSerializer):
    """A visit with the windows its client may choose from."""

    site_name = serializers.CharField(source="site.name", read_only=True)
    offers = WindowSerializer(many=True, read_only=True, help_text="windows to choose from")

    class Meta:
        model = Visit
        fields = ["id", "site", "site_name", "offers"]
        read_only_fields = fields


class NotOfferedSerializer(AnswerSerializer):
    """A stop of today that is too soon for a letter."""

    visit = serializers.IntegerField(source="stop.visit_id")
    site = serializers.IntegerField(source="stop.visit.site_id")
    starts_at = MomentField(source="stop.starts_at")
    reason = serializers.CharField()
    settle = SettleSerializer(help_text="the call that settles it once the client has agreed")


class PlanOfferedSerializer(AnswerSerializer):
    """What was offered now: visits, and the letters that tell of them, one for each client; and what was not."""

    visits = OfferedVisitSerializer(many=True)
    letters = MessageSerializer(many=True, help_text="letters, waiting to be sent or to be told by telephone")
    not_offered = NotOfferedSerializer(many=True, help_text="planned stops that are too soon for a letter")


class PlanViewSet(ReadOnlyViewSet):
    """Plans of rounds. A single plan shows its rounds stop by stop, and every visit left out with the reason."""

    resource = "plan"
    company_first = True
    queryset = Plan.objects.all()
    serializer_class = PlanSerializer
    input_serializer_class = PlanRequestSerializer
    # the job must be committed before it runs, and without a broker it runs at once
    one_transaction = False
    filterset_fields = {"state": ["exact"], "first_day": ["exact", "gte", "lte"], "job": ["exact"]}
    ordering_fields = ["created_at", "first_day", "published_at"]

    def get_serializer_class(self) -> Any:
        return PlanSerializer if self.action == "list" else WholePlanSerializer

    def get_queryset(self) -> Any:
        plans = super().get_queryset()
        # the map reads what it draws
        return plans if self.action in ("list", "map") else plans.prefetch_related(*_WHOLE)

    @extend_schema(
        request=PlanRequestSerializer,
        responses={202: OpenApiResponse(JobSerializer, description="The job has been started.")},
    )
    def create(self, request: Request, *args: Any, **kwargs: Any) -> Response:
        """Plan some days. The job's result names the plan; the same question again is answered by the same plan."""
        question = self.valid_input().validated_data
        return accepted(start_plan_job(company=self.by.company, by=self.by, now=self.now, **question), self)

    @extend_schema(request=None, responses=WholePlanSerializer)
    @action(detail=True, methods=["post"])
    def publish(self, request: Request, pk: str) -> Response:
        """Make a draft the plan that installers drive by."""
        # One transaction even so: nothing here starts a job, and the row is locked while If-Match is held against it.
        with transaction.atomic():
            plan = publish_plan(plan=self.locked_object(), by=self.by, now=self.now)
            return self.answer(self.reread(plan))

    @extend_schema(request=None, responses=PlanOfferedSerializer)
    @action(detail=True, methods=["post"])
    def offer(self, request: Request, pk: str) -> Response:
        """Offer the client of every proposed visit of a published plan its time and one or two others.

        Every time offered is kept free until the client answers. Each client gets one letter, with a link to answer by
        if the server knows its address; who has no e-mail stands on the call list.
        """
        with transaction.atomic():
            offered = offer_plan(plan=self.locked_object(), by=self.by, now=self.now)
        answer = {"visits": offered.visits, "letters": offered.letters, "not_offered": offered.not_offered}
        return Response(PlanOfferedSerializer(answer, context=self.get_serializer_context()).data)

    @extend_schema(request=ReplanSerializer, responses={201: WholePlanSerializer})
    @action(detail=True, methods=["post"])
    def replan(self, request: Request, pk: str) -> Response:
        """Repair a published plan after something has gone wrong: the rest of today and tomorrow, with few changes.

        The answer is a plan of its own that says what changed and who must be told.
        """
        plan = self.get_object()
        if "If-Match" in request.headers:
            check_if_match(request, etag_of(self.get_serializer(plan).data))
        repaired = replan_day(plan=plan, by=self.by, now=self.now, **ReplanSerializer.read(self))
        return self.answer(self.reread(repaired), status=201)

    @extend_schema(request=None, responses=PartsWrittenSerializer)
    @action(detail=True, methods=["post"], url_path="write-parts-lists")
    def write_parts_lists(self, request: Request, pk: str) -> Response:
        """Write the parts lists of the plan anew, for instance after stock was counted."""
        counts = write_parts_lists(plan=self.get_object(), now=self.now)
        return Response(
            PartsWrittenSerializer(
                {"written": counts.written, "unchanged": counts.unchanged}, context=self.get_serializer_context()
            ).data
        )

    @extend_schema(responses={(200, MEDIA_TYPE): FEATURE_COLLECTION})
    @action(detail=True, methods=["get"], renderer_classes=[GeoJSONRenderer, JSONRenderer])
    def map(self, request: Request, pk: str) -> Response:
        """Show the plan as GeoJSON: ways, home bases, stops, and visits left out."""
        return Response(plan_map(self.get_object()), content_type=MEDIA_TYPE)


class RoundViewSet(ReadOnlyViewSet):
    """Rounds of all plans, stop by stop."""

    resource = "round"
    queryset = _ROUNDS
    serializer_class = RoundSerializer
    filterset_fields = {
        "plan": ["exact"],
        "plan__state": ["exact"],
        "installer": ["exact"],
        "day": ["exact", "gte", "lte"],
    }
    ordering_fields = ["day"]

    @extend_schema(responses={(200, GPX_MEDIA_TYPE): OpenApiTypes.STR})
    @action(detail=True, methods=["get"], renderer_classes=[GPXRenderer, JSONRenderer])
    def gpx(self, request: Request, pk: str) -> HttpResponse:
        """Give the round as a GPX 1.1 route: home, the stops in order, home again."""
        day = self.get_object()
        check_round(day=day, reader=self.by)
        return HttpResponse(
            round_gpx(day),
            content_type=GPX_MEDIA_TYPE,
            headers={"Content-Disposition": f'inline; filename="round-{day.pk}.gpx"'},
        )

    @extend_schema(
        responses={(200, "application/json"): DaySheetSerializer, (200, PDF_MEDIA_TYPE): OpenApiTypes.BINARY}
    )
    @action(detail=True, methods=["get"], url_path="day-sheet", renderer_classes=[JSONRenderer, PDFRenderer])
    def day_sheet(self, request: Request, pk: str) -> Response | HttpResponse:
        """Give everything the installer needs for the round; printable when asked for as application/pdf."""
        return self._sheet(self.get_object())

    @extend_schema(
        responses={(200, "application/json"): DaySheetSerializer, (200, PDF_MEDIA_TYPE): OpenApiTypes.BINARY}
    )
    @action(detail=False, methods=["get"], url_path="my-day", renderer_classes=[JSONRenderer, PDFRenderer])
    def my_day(self, request: Request) -> Response | HttpResponse:
        """Give the day sheet of the round the caller drives today."""
        return self._sheet(round_of_today(by=self.by, now=self.now))

    @extend_schema(responses=VanLoadSerializer)
    @action(detail=True, methods=["get"], url_path="van-load")
    def van_load(self, request: Request, pk: str) -> Response:
        """Give what is moved between the store and the van before the round, shelf by shelf: the list to pick by."""
        return Response(
            VanLoadSerializer(van_load(day=self.get_object(), now=self.now), context=self.get_serializer_context()).data
        )

    @extend_schema(request=LoadedSerializer, responses=StockMovementSerializer(many=True))
    @action(detail=True, methods=["post"], url_path="confirm-load", pagination_class=None, filter_backends=[])
    def confirm_load(self, request: Request, pk: str) -> Response:
        """Book the whole load as moved, in and back; the answer is the transfers. Installers load their own van."""
        with self.transaction():
            day = self.get_object()
            movements = load_van(day=day, by=self.by, now=self.now, **LoadedSerializer.read(self))
            return Response(StockMovementSerializer(movements, many=True, context=self.get_serializer_context()).data)

    def _sheet(self, day: Round) -> Response | HttpResponse:
        check_round(day=day, reader=self.by)
        sheet = day_sheet(day=day)
        if self.request.accepted_renderer.media_type != PDF_MEDIA_TYPE:
            return Response(DaySheetSerializer(sheet, context=self.get_serializer_context()).data)
        return HttpResponse(
            day_sheet_pdf(sheet),
            content_type=PDF_MEDIA_TYPE,
            headers={"Content-Disposition": f'inline; filename="day-{day.day}-{day.pk}.pdf"'},
        )
