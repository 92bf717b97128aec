"""When each position will be exhausted, and how surely."""

from typing import Any

import django_filters
from drf_spectacular.utils import extend_schema
from rest_framework import serializers
from rest_framework.decorators import action
from rest_framework.request import Request
from rest_framework.response import Response

from accounts.api.filters import IdFilter, TenantFilterSet
from accounts.api.serializers import TenantModelSerializer
from accounts.api.viewsets import ReadOnlyViewSet
from fleet.api.jobs import JobSerializer, accepted
from fleet.models import Forecast, Position, Stage
from fleet.services.forecasts import start_forecast_job


class EvidenceSerializer(serializers.Serializer[Any]):
    """What a forecast stands on."""

    readings_used = serializers.IntegerField(required=False)
    readings_left_out = serializers.IntegerField(required=False)
    left_out_at_unit = serializers.DictField(
        child=serializers.IntegerField(), required=False, help_text="reason to count of values"
    )
    newest_reading_age_days = serializers.FloatField(required=False, allow_null=True)
    earlier_cartridges = serializers.IntegerField(required=False)
    leans_on = serializers.CharField(required=False, help_text="nominal, fleet or own_past")
    probability_age_limit_first = serializers.FloatField(required=False, allow_null=True)
    no_date_reason = serializers.CharField(required=False)


class ForecastSerializer(TenantModelSerializer):
    """A distribution of the exhaustion date of one position: by p10 it is exhausted with a probability of 10 %."""

    unit = serializers.IntegerField(source="position.unit_id", read_only=True)
    stage = serializers.ChoiceField(source="position.stage", choices=Stage.choices, read_only=True)
    role = serializers.ChoiceField(source="position.role", choices=Position.Role.choices, read_only=True)
    evidence = EvidenceSerializer(read_only=True)

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
            "remaining_share",
            "daily_load",
            "daily_load_unit",
            "driver",
            "evidence",
            "installer_sentence",
            "client_sentence",
        ]
        read_only_fields = fields


class ForecastFilterSet(TenantFilterSet):
    """Filters of forecasts; without `history` or `as_of` only the latest one of each position is listed."""

    position = IdFilter()
    unit = IdFilter(field_name="position__unit")
    site = IdFilter(field_name="position__unit__site")
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
        asked = self.form.cleaned_data
        return narrowed if asked.get("history") or asked.get("as_of") else narrowed.filter(is_latest=True)


class ForecastViewSet(ReadOnlyViewSet):
    """Forecasts of every position; they are estimates with stated uncertainty, and never the only safeguard."""

    resource = "forecast"
    queryset = Forecast.objects.select_related("position")
    serializer_class = ForecastSerializer
    filterset_class = ForecastFilterSet
    ordering_fields = ["p50", "p10", "p90", "as_of", "remaining_share", "position"]
    one_transaction = False

    @extend_schema(request=None, responses={202: JobSerializer}, filters=False)
    @action(detail=False, methods=["post"])
    def run(self, request: Request) -> Response:
        """Forecast every position of the company anew; the answer is the job that does it."""
        return accepted(start_forecast_job(company=self.by.company, by=self.by, now=self.now), self)
