"""How good the company's forecasts have been, by its own past."""

from typing import Any

import django_filters
from drf_spectacular.utils import OpenApiResponse, extend_schema
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from accounts.http.filters import TenantFilterSet
from accounts.http.serializers import StrictSerializer, TenantModelSerializer
from accounts.http.viewsets import ReadOnlyViewSet
from accounts.jobs.api import JobSerializer, accepted
from fleet.models import ForecastScore
from fleet.services.forecasts.quality import start_quality_job


class ForecastScoreSerializer(TenantModelSerializer):
    """How good one method of forecasting was for one group of positions; other methods are there to compare with."""

    class Meta:
        model = ForecastScore
        fields = [
            "id",
            "computed_at",
            "is_latest",
            "first_cut",
            "last_cut",
            "known_until",
            "grouping",
            "group",
            "method",
            "forecasts",
            "observed",
            "pinball_share",
            "median_error_share",
            "median_error_days",
            "coverage_50",
            "coverage_80",
            "coverage_90",
            "driver_named",
        ]
        read_only_fields = fields


class QualityRequestSerializer(StrictSerializer):
    """Which days of the past to judge the forecasts of; all of it when left out."""

    first_cut = serializers.DateField(required=False, allow_null=True, default=None)
    last_cut = serializers.DateField(required=False, allow_null=True, default=None)


class ForecastScoreFilterSet(TenantFilterSet):
    """Filters of scores; without `history` only the latest ones are listed."""

    grouping = django_filters.ChoiceFilter(choices=ForecastScore.Grouping.choices)
    method = django_filters.ChoiceFilter(choices=ForecastScore.Method.choices)
    group = django_filters.CharFilter()
    history = django_filters.BooleanFilter(method="with_history", label="also the scores of earlier days")

    class Meta:
        model = ForecastScore
        fields: list[str] = []

    def with_history(self, queryset: Any, name: str, value: bool) -> Any:
        """Every score is asked for; nothing to narrow."""
        return queryset

    def filter_queryset(self, queryset: Any) -> Any:
        """Narrow to the latest scores unless earlier ones are asked for."""
        narrowed = super().filter_queryset(queryset)
        return narrowed if self.form.cleaned_data.get("history") else narrowed.filter(is_latest=True)


class ForecastScoreViewSet(ReadOnlyViewSet):
    """Forecasts replayed at monthly days of the past with what was known then, held against what happened.

    `pinball_share` is the mean pinball loss as a share of the life by the label, smaller is better. A life that had not
    ended when last seen counts with the least loss it can have. An 80 % interval should cover 80 %.
    """

    resource = "forecast_score"
    queryset = ForecastScore.objects.all()
    serializer_class = ForecastScoreSerializer
    input_serializer_class = QualityRequestSerializer
    filterset_class = ForecastScoreFilterSet
    ordering_fields = ["computed_at", "pinball_share", "group"]
    # The job must be committed before it runs, and without a broker it runs at once.
    one_transaction = False

    @extend_schema(
        request=QualityRequestSerializer,
        responses={202: OpenApiResponse(JobSerializer, description="The job has been started.")},
    )
    def create(self, request: Request, *args: Any, **kwargs: Any) -> Response:
        """Judge the forecasts by the company's past anew; the answer is the job that does it."""
        cuts = self.valid_input().validated_data
        job = start_quality_job(
            company=self.by.company,
            by=self.by,
            now=self.now,
            first=cuts.get("first_cut"),
            last=cuts.get("last_cut"),
        )
        return accepted(job, self)
