"""The company's policy: what time, road, risk and bad water are worth to it."""

from typing import Any

from drf_spectacular.utils import OpenApiResponse, extend_schema
from rest_framework import serializers
from rest_framework.decorators import action
from rest_framework.request import Request
from rest_framework.response import Response

from accounts.http.fields import FiniteFloatField
from accounts.http.serializers import StrictSerializer
from accounts.http.viewsets import RetrieveMixin, UpdateMixin
from accounts.jobs.api import JobSerializer, accepted
from scheduling.api.notes import SentSerializer
from scheduling.models import CompanyPolicy
from scheduling.services.outlook import CHANGED, PRESENT, start_frontier_job, start_preview_job
from scheduling.services.policy import change_policy, merge_policy


def _number(help_text: str) -> serializers.Field[Any, Any, Any, Any]:
    return FiniteFloatField(required=False, allow_null=True, help_text=help_text)


def _whole(help_text: str) -> serializers.Field[Any, Any, Any, Any]:
    return serializers.IntegerField(required=False, allow_null=True, help_text=help_text)


class TrafficPeriodSerializer(StrictSerializer):
    """From when on driving is slowed down by how much."""

    from_s = serializers.IntegerField(help_text="second of the day; before the first period roads are free")
    factor = FiniteFloatField(help_text="of the time on free roads, 1 to 10")

    def validate(self, attrs: dict[str, Any]) -> dict[str, Any]:
        """A period is always sent whole, also where the policy around it is sent in part."""
        missing = {name: "A period needs this." for name in ("from_s", "factor") if name not in attrs}
        if missing:
            raise serializers.ValidationError(missing)
        return attrs


class PolicySerializer(StrictSerializer):
    """Every setting with its value; send those to change, and null to go back to the default.

    All money is in the company's currency. The defaults are common practice, figures to start from and to edit.
    """

    currency = serializers.CharField(read_only=True)
    departures = serializers.ListField(
        child=serializers.CharField(), read_only=True, help_text="settings that the company has set itself"
    )
    visit_cost = _number("what a visit costs before anybody drives or works")
    driving_cost_per_minute = _number("what an installer's minute of driving costs")
    driving_cost_per_km = _number("what a kilometre of the van costs")
    working_cost_per_minute = _number("what an installer's minute at the unit costs")
    overtime_cost_per_hour = _number("what an hour after the end of the shift costs on top")
    late_cost_per_day = serializers.DictField(
        child=serializers.DictField(child=FiniteFloatField()),
        required=False,
        allow_null=True,
        help_text="stage, then use, to the money that a day with that stage exhausted costs",
    )
    removal_minutes = _number("minutes at a site before and after any task")
    task_minutes = serializers.DictField(
        child=FiniteFloatField(), required=False, allow_null=True, help_text="kind of need to its minutes"
    )
    target_risk = _number("highest acceptable probability (0 to 1) that a cartridge is exhausted before its visit")
    urgent_probability = _number("from this probability (0 to 1) of being exhausted today on a need is urgent")
    urgent_late_cost_per_day = _number("and if a late day costs at least this much money")
    bundling_weeks = _whole("weeks ahead for which visits are chosen")
    horizon_days = _whole("working days that are planned by default")
    visit_interval_weeks = _number("usual weeks between two visits to a site")
    due_window_tolerance = _number("a visit is due on days that cost at most this much money more than its best day")
    stops_per_round = _number("stops a round usually has")
    lunch_minutes = _number("minutes of the break; 0 for none")
    lunch_earliest_start_s = _whole("second of the day from which the break may start")
    lunch_latest_start_s = _whole("second of the day by which it must start")
    missed_urgent_cost = _number("money that leaving out an urgent visit is taken to cost")
    missed_appointment_cost = _number("money that leaving out a confirmed appointment is taken to cost")
    sanitise_every_days = _whole("days between two sanitisings of a pressurised tank")
    sanitise_early_days = _whole("how many days before that it may be done along with something else")
    unread_after_days = _whole("days without a reading after which a unit is to be inspected")
    order_horizon_days = _whole("days ahead for which parts are listed for ordering")
    order_review_days = _whole("days between two looks at what is to be ordered")
    parts_service_level = _number(
        "probability, 0.5 to 0.999, with which no piece is missing in those days, and share of the pieces that are "
        "there when only what cannot wait is ordered; the higher, the more is ordered"
    )
    lead_late_share = _number(
        "share (0 to 1) of a late day's cost that counts while a lag still works after an exhausted lead"
    )
    membrane_probability = _number(
        "from this probability (0 to 1) of being exhausted at the visit on a membrane is replaced that no finding names"
    )
    ask_client_cost = _number("money that asking a client for a reading costs")
    client_answer_days = _whole("days that a client who is asked for a reading is waited for")
    client_answer_share = _number("share (0 to 1) of the clients asked for a reading who send one")
    call_back_hours = _whole("hours within which a client who reports what cannot wait is called")
    plans_with_van_stock = serializers.BooleanField(
        required=False, allow_null=True, help_text="whether rounds may only use what the vans hold by the last count"
    )
    uses_table_service = serializers.BooleanField(
        required=False,
        allow_null=True,
        help_text="whether driving times are asked of the server's table service",
    )
    traffic = TrafficPeriodSerializer(
        many=True, required=False, allow_null=True, help_text="by how much driving is slowed down, in order of time"
    )
    undone_cost_per_day = serializers.DictField(
        child=FiniteFloatField(),
        required=False,
        allow_null=True,
        help_text="kind of need to the money that a day costs on which it is due and undone, where no forecast speaks",
    )
    task_skills = serializers.DictField(
        child=serializers.ListField(child=serializers.CharField(max_length=40)),
        required=False,
        allow_null=True,
        help_text="kind of need to the skills its installer must have",
    )

    def to_representation(self, instance: CompanyPolicy) -> dict[str, Any]:
        policy = merge_policy(settings=instance.settings, currency=instance.company.currency)
        return {**policy.to_mapping(), "departures": sorted(instance.settings)}


def _seed() -> serializers.Field[Any, Any, Any, Any]:
    return serializers.IntegerField(
        required=False, default=0, min_value=0, max_value=2**31 - 1, help_text="another seed draws other chances"
    )


class PolicyPreviewSerializer(PolicySerializer):
    """Settings as they would be changed, and null to see what the default would do."""

    counted_by = serializers.ChoiceField(
        choices=[(PRESENT, "the present policy"), (CHANGED, "the changed policy")],
        required=False,
        default=PRESENT,
        help_text="the policy by whose prices the money of both is counted",
    )
    seed = _seed()


class PolicyFrontierSerializer(SentSerializer):
    """Which chances are drawn."""

    seed = _seed()


class PolicyViewSet(RetrieveMixin, UpdateMixin):
    """The company's policy, defaults included; its owner may change it."""

    resource = "policy"
    company_first = True
    queryset = CompanyPolicy.objects.select_related("company")
    serializer_class = PolicySerializer
    audited = False  # the service leaves the entry

    def get_object(self) -> CompanyPolicy:
        # a company that never changed anything has no row, and its policy is the default one
        row: CompanyPolicy = self.get_queryset().first() or CompanyPolicy(company=self.by.company)
        self.check_object_permissions(self.request, row)
        return row

    def perform_update(self, serializer: Any) -> CompanyPolicy:
        change_policy(company=self.by.company, by=self.by, changes=serializer.validated_data, now=self.now)
        return self.get_object()

    @extend_schema(
        request=PolicyPreviewSerializer,
        responses={202: OpenApiResponse(JobSerializer, description="The job has been started.")},
    )
    @action(detail=False, methods=["post"])
    def preview(self, request: Request) -> Response:
        """Simulate the next twelve months under the present policy and under a changed one; nothing is changed.

        The result of the job holds visits, cartridges, days at risk and money of both and of the difference, each with
        p10, p50, p90 and mean.
        """
        sent = PolicyPreviewSerializer(data=request.data, context=self.get_serializer_context())
        sent.is_valid(raise_exception=True)
        changes = dict(sent.validated_data)
        how = {name: changes.pop(name) for name in ("counted_by", "seed")}
        return accepted(
            start_preview_job(company=self.by.company, by=self.by, now=self.now, changes=changes, **how), self
        )

    @extend_schema(
        request=PolicyFrontierSerializer,
        responses={202: OpenApiResponse(JobSerializer, description="The job has been started.")},
    )
    @action(detail=False, methods=["post"])
    def frontier(self, request: Request) -> Response:
        """Hold the policy, at several prices of bad water, against fixed intervals of 3, 6 and 12 months.

        The result of the job holds, for each, visits, days at risk and money a site and year, and names the intervals
        that the policy's curve does not lie below.
        """
        sent = PolicyFrontierSerializer.read(self)
        return accepted(start_frontier_job(company=self.by.company, by=self.by, now=self.now, **sent), self)
