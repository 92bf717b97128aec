"""When each position will be exhausted, and how surely."""

from datetime import date
from typing import Any

import django_filters
from drf_spectacular.types import OpenApiTypes
from drf_spectacular.utils import OpenApiParameter, extend_schema, extend_schema_field, extend_schema_view
from rest_framework import serializers
from rest_framework.decorators import action
from rest_framework.request import Request
from rest_framework.response import Response

from accounts.http.faults import RequestFault, RequestInvalid
from accounts.http.filters import RowFilter, TenantFilterSet
from accounts.http.serializers import AnswerSerializer, TenantModelSerializer
from accounts.http.viewsets import ReadOnlyViewSet, TenantViewSet
from accounts.jobs.api import JobSerializer, accepted
from fleet.models import Forecast, Position, Stage
from fleet.services import words
from fleet.services.forecasts.changes import sentence_of_change
from fleet.services.forecasts.forecasts import start_forecast_job
from fleet.services.forecasts.groups import probability_exhausted_by


class LeftOutSerializer(AnswerSerializer):
    """A value of a reading that was not used, and why."""

    reading = serializers.IntegerField(help_text="id of the reading")
    day = serializers.DateField()
    quantity = serializers.CharField(allow_blank=True, help_text="empty: the whole reading")
    code = serializers.CharField()
    sentence = serializers.CharField()


class PriorSerializer(AnswerSerializer):
    """What was assumed of this cartridge before it had been read."""

    code = serializers.ChoiceField(
        choices=[("nominal", "label alone"), ("fleet", "the company's fleet"), ("own_past", "earlier cartridges here")]
    )
    sentence = serializers.CharField()
    usual_share_of_label = serializers.FloatField(
        required=False,
        help_text="capacity of such cartridges as a share of their label; of a membrane: time until its limit as a "
        "share of three years",
    )
    spread_between_places = serializers.FloatField(
        required=False, help_text="standard deviation of the natural logarithm of that share, between positions"
    )
    spread_between_cartridges = serializers.FloatField(
        required=False,
        help_text="standard deviation of the natural logarithm of that share, between cartridges of one position",
    )
    places_that_taught = serializers.IntegerField(required=False)


class ExhaustedBecauseSerializer(AnswerSerializer):
    """Why a position counts as exhausted by now."""

    code = serializers.ChoiceField(
        choices=[
            ("maximum_service_time", "its maximum service time"),
            ("reading", "a reading shows it"),
            ("load", "what has passed through"),
        ]
    )
    sentence = serializers.CharField()
    reading = serializers.IntegerField(allow_null=True, help_text="id of the reading that shows it")


class EvidenceSerializer(AnswerSerializer):
    """What a forecast stands on."""

    readings_used = serializers.IntegerField(required=False)
    newest_reading_age_days = serializers.FloatField(required=False, allow_null=True)
    readings_left_out = serializers.IntegerField(required=False)
    left_out_counts = serializers.DictField(
        child=serializers.IntegerField(), required=False, help_text="code of the reason to count of values"
    )
    left_out = LeftOutSerializer(many=True, required=False, help_text="the newest of them")
    earlier_cartridges = serializers.IntegerField(required=False)
    prior = PriorSerializer(required=False)
    probability_maximum_service_time_first = serializers.FloatField(required=False, allow_null=True)
    no_date_reason = serializers.CharField(required=False)
    exhausted_because = ExhaustedBecauseSerializer(required=False)


class ForecastSerializer(TenantModelSerializer):
    """A distribution of the exhaustion date of one position: by p10 it is exhausted with a probability of 10 %."""

    unit = serializers.IntegerField(source="position.unit_id", read_only=True)
    stage = serializers.ChoiceField(source="position.stage", choices=Stage.choices, read_only=True)
    role = serializers.ChoiceField(source="position.role", choices=Position.Role.choices, read_only=True)
    evidence = EvidenceSerializer(read_only=True)
    probability = serializers.SerializerMethodField(
        help_text="that it is exhausted by the end of the day asked with `probability_by`; null when none was asked, "
        "when there is no date, or when the day lies before the forecast"
    )

    class Meta:
        model = Forecast
        fields = [
            "id",
            "unit",
            "position",
            "stage",
            "role",
            "placement",
            "as_of",
            "computed_at",
            "is_latest",
            "state",
            "p05",
            "p10",
            "p25",
            "p50",
            "p75",
            "p90",
            "p95",
            "probability",
            "remaining_share",
            "fresh_life_p10_days",
            "fresh_life_p50_days",
            "fresh_life_p90_days",
            "daily_load",
            "daily_load_unit",
            "driver",
            "evidence",
            "installer_sentence",
            "client_sentence",
        ]
        read_only_fields = fields

    @extend_schema_field(serializers.FloatField(allow_null=True))
    def get_probability(self, forecast: Forecast) -> float | None:
        """Probability of exhaustion by the day asked about."""
        day = self.context.get("probability_by")
        return None if day is None else probability_exhausted_by(forecast, day)


class ForecastChangeSerializer(AnswerSerializer):
    """A forecast beside the one of the same position before it."""

    before = ForecastSerializer(allow_null=True)
    after = ForecastSerializer()
    sentence = serializers.CharField(help_text="how the date moved and on what evidence")


class FirstToFailSerializer(AnswerSerializer):
    """When the first position of a unit or site will be exhausted, which one it most likely is, and how surely."""

    as_of = serializers.DateField(allow_null=True, help_text="day of the oldest forecast used")
    position_count = serializers.IntegerField()
    dated_count = serializers.IntegerField(help_text="positions that have a date")
    p05 = serializers.DateField(source="quantiles.p05", allow_null=True)
    p10 = serializers.DateField(source="quantiles.p10", allow_null=True)
    p25 = serializers.DateField(source="quantiles.p25", allow_null=True)
    p50 = serializers.DateField(source="quantiles.p50", allow_null=True)
    p75 = serializers.DateField(source="quantiles.p75", allow_null=True)
    p90 = serializers.DateField(source="quantiles.p90", allow_null=True)
    p95 = serializers.DateField(source="quantiles.p95", allow_null=True)
    probability = serializers.FloatField(
        allow_null=True,
        help_text="that at least one position is exhausted by the end of the day asked with `probability_by`",
    )
    first = ForecastSerializer(source="forecast", allow_null=True, help_text="the position most likely to be the first")
    installer_sentence = serializers.CharField()
    client_sentence = serializers.CharField()


PROBABILITY_BY = OpenApiParameter(
    "probability_by", OpenApiTypes.DATE, description="a day; answers how probable exhaustion is by the end of it"
)


def requested_day(request: Request) -> date | None:
    """The day of `probability_by`, None when it is not asked.

    Raises
    ------
    RequestInvalid
        When it is no date.
    """
    text = request.query_params.get("probability_by")
    if text is None:
        return None
    try:
        return date.fromisoformat(text)
    except ValueError:
        sentence = f"probability_by is '{text[:40]}': write a date as 2026-12-24."
        raise RequestInvalid([RequestFault("parameter", "probability_by", sentence)]) from None


def context_of_day(view: TenantViewSet, request: Request) -> dict[str, Any]:
    """Context of a serializer that answers for the day asked about."""
    return {**view.get_serializer_context(), "probability_by": requested_day(request)}


class ForecastFilterSet(TenantFilterSet):
    """Filters of forecasts; without `history` or `as_of` only the latest one of each position is listed."""

    position = RowFilter()
    unit = RowFilter(field_name="position__unit")
    site = RowFilter(field_name="position__unit__site")
    stage = django_filters.ChoiceFilter(field_name="position__stage", choices=Stage.choices)
    state = django_filters.ChoiceFilter(choices=Forecast.State.choices)
    driver = django_filters.ChoiceFilter(choices=Forecast.Driver.choices)
    as_of = django_filters.DateFilter()
    p50_before = django_filters.DateFilter(field_name="p50", lookup_expr="lte")
    p10_before = django_filters.DateFilter(field_name="p10", lookup_expr="lte")
    history = django_filters.BooleanFilter(method="with_history", label="also the forecasts of earlier days")

    class Meta:
        model = Forecast
        fields: list[str] = []

    def with_history(self, queryset: Any, name: str, value: bool) -> Any:
        """Every day's forecasts are asked for; nothing to narrow."""
        return queryset

    def filter_queryset(self, queryset: Any) -> Any:
        """Narrow to the latest forecasts unless older ones are asked for."""
        narrowed = super().filter_queryset(queryset)
        parameters = self.form.cleaned_data
        return narrowed if parameters.get("history") or parameters.get("as_of") else narrowed.filter(is_latest=True)


@extend_schema_view(
    list=extend_schema(parameters=[PROBABILITY_BY]), retrieve=extend_schema(parameters=[PROBABILITY_BY])
)
class ForecastViewSet(ReadOnlyViewSet):
    """Forecasts of every position; they are estimates with stated uncertainty, and never the only safeguard."""

    resource = "forecast"
    queryset = Forecast.objects.select_related("position")
    serializer_class = ForecastSerializer
    filterset_class = ForecastFilterSet
    ordering_fields = ["p50", "p10", "p90", "as_of", "remaining_share", "position"]
    one_transaction = False

    def known_parameters(self) -> dict[str, bool]:
        own = {"probability_by": False} if self.action in ("list", "retrieve") else {}
        return super().known_parameters() | own

    def get_serializer_context(self) -> dict[str, Any]:
        context = super().get_serializer_context()
        if self.action in ("list", "retrieve") and not getattr(self, "swagger_fake_view", False):
            context["probability_by"] = requested_day(self.request)
        return context

    @extend_schema(responses=ForecastChangeSerializer)
    @action(detail=True, methods=["get"])
    def change(self, request: Request, pk: str) -> Response:
        """Say how the date moved since the forecast before this one, and on what evidence."""
        after = self.get_object()
        earlier = self.get_queryset().filter(position=after.position_id, as_of__lt=after.as_of)
        before = earlier.order_by("-as_of").first()
        sentence = words.first_forecast()
        if before is not None:
            sentence = sentence_of_change(before=before, after=after)
        change = {"before": before, "after": after, "sentence": sentence}
        return Response(ForecastChangeSerializer(change, context=self.get_serializer_context()).data)

    @extend_schema(request=None, responses={202: JobSerializer}, filters=False)
    @action(detail=False, methods=["post"])
    def run(self, request: Request) -> Response:
        """Forecast every position of the company anew; the answer is the job that does it."""
        return accepted(start_forecast_job(company=self.by.company, by=self.by, now=self.now), self)
