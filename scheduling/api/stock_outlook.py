"""Half a year of stock, item by item, with the positions behind the numbers."""

from collections.abc import Sequence
from functools import cached_property
from typing import Any

from django.db.models import Q
from drf_spectacular.utils import extend_schema
from rest_framework import serializers
from rest_framework.decorators import action
from rest_framework.request import Request
from rest_framework.response import Response

from accounts.http.pagination import WorkedOutPagination
from accounts.http.serializers import AnswerSerializer
from accounts.http.viewsets import ReadOnlyViewSet
from fleet.engineering.positions import position_name
from fleet.models import CatalogueItem
from scheduling.api.parameters import ParametersSerializer
from scheduling.services.stock.outlook import DatedWeek, ItemOutlook, Place, StockOutlook, WantedAt


class OutlookWeekSerializer(AnswerSerializer):
    """One item by the end of a week; all numbers count from today."""

    day = serializers.DateField(help_text="last day of the week")
    wanted_p10 = serializers.IntegerField(
        source="numbers.wanted_p10", help_text="pieces that suffice until then with 10 %"
    )
    wanted_p50 = serializers.IntegerField(
        source="numbers.wanted_p50", help_text="pieces that suffice until then with 50 %"
    )
    wanted_p90 = serializers.IntegerField(
        source="numbers.wanted_p90", help_text="pieces that suffice until then with 90 %"
    )
    expected = serializers.SerializerMethodField(help_text="pieces wanted until then on average")
    there = serializers.IntegerField(
        source="numbers.there",
        help_text="pieces at hand today and on order that can be used by then, without those that expire unused before",
    )
    chance_missing = serializers.SerializerMethodField(
        help_text="probability, 0 to 1, that more is wanted by then than is there, if none is ordered"
    )

    def get_expected(self, week: DatedWeek) -> float:
        """Rounded."""
        return round(week.numbers.expected, 2)

    def get_chance_missing(self, week: DatedWeek) -> float:
        """Rounded."""
        return round(week.numbers.chance_missing, 3)


class WantedAtSerializer(AnswerSerializer):
    """A position that wants pieces of the item within these weeks."""

    position = serializers.IntegerField(help_text="id of the position")
    position_name = serializers.SerializerMethodField(help_text="such as 'lead resin'")
    unit = serializers.IntegerField(help_text="id of the unit")
    unit_code = serializers.CharField(help_text="code of the unit")
    forecast = serializers.IntegerField(help_text="id of the forecast it follows")
    exhausted_p50 = serializers.DateField(
        allow_null=True, help_text="day by which what stands there is exhausted with 50 %"
    )
    chance = serializers.SerializerMethodField(help_text="probability, 0 to 1, that it wants at least one")
    expected = serializers.SerializerMethodField(help_text="pieces it wants on average, the next ones too")

    def get_position_name(self, at: WantedAt) -> str:
        """What a practitioner calls the position."""
        return position_name(at.stage, at.role)

    def get_chance(self, at: WantedAt) -> float:
        """Rounded."""
        return round(at.chance, 3)

    def get_expected(self, at: WantedAt) -> float:
        """Rounded."""
        return round(at.expected, 2)


class ItemOutlookSerializer(AnswerSerializer):
    """One item in the weeks to come."""

    id = serializers.IntegerField(source="item.pk", help_text="id of the item")
    item_code = serializers.CharField(source="item.code", help_text="code of the item")
    item_name = serializers.CharField(source="item.name", help_text="name of the item")
    on_hand = serializers.IntegerField(help_text="pieces in the store and in the vans that can be used")
    on_order = serializers.IntegerField(help_text="pieces that were ordered and have not come")
    unplanned_per_week = serializers.SerializerMethodField(
        help_text="pieces a week that are used without a plan, on average of the past year"
    )
    runs_out_on = serializers.DateField(
        allow_null=True,
        help_text="end of the first week by which one is missing more likely than not, if none is ordered",
    )
    sentence = serializers.CharField(help_text="all of it in words")
    weeks = OutlookWeekSerializer(many=True, help_text="the coming weeks")

    def get_unplanned_per_week(self, outlook: ItemOutlook) -> float:
        """Rounded."""
        return round(outlook.unplanned_per_week, 2)


class OneItemOutlookSerializer(ItemOutlookSerializer):
    """One item in the weeks to come, with the positions behind its numbers."""

    wanted_at = WantedAtSerializer(
        many=True, allow_null=True, help_text="the positions that want it, the surest first; null where not asked for"
    )


class PositionsParameters(ParametersSerializer):
    """What comes with one item."""

    with_positions = serializers.BooleanField(
        required=False,
        default=True,
        help_text="whether the positions behind its numbers come with it, all at once; page by page they have a list "
        "of their own",
    )


class StockOutlookViewSet(ReadOnlyViewSet):
    """What will be wanted of each item in the coming 26 weeks, and when it runs out if none is ordered.

    Every position whose cartridge has a forecast counts, and what is fitted there afterwards; visits count on their
    days. One item, by its id, comes with the positions behind its numbers. Small parts count with the work that is
    known, and not again with what comes after it.
    """

    resource = "stock_outlook"
    queryset = CatalogueItem.objects.select_related("supplier")
    serializer_class = ItemOutlookSerializer
    filterset_fields = {"kind": ["exact"], "supplier": ["exact"]}
    search_fields = ["code", "name"]
    ordering_fields = ["code"]

    def known_parameters(self) -> dict[str, bool]:
        known = super().known_parameters()
        return known | dict.fromkeys(PositionsParameters.names(), False) if self.action == "retrieve" else known

    def list(self, request: Request, *args: Any, **kwargs: Any) -> Response:
        is_wanted = Q(pk__in=[int(key) for key in self._outlook.items])
        in_use = ~CatalogueItem.is_retired_on(self.by.company.day_at(self.now))
        items = self.filter_queryset(self.get_queryset().filter(is_wanted | in_use))
        outlooks = self._outlook.of_all(self.paginate_queryset(items) or [])
        rows = ItemOutlookSerializer(outlooks, many=True, context=self.get_serializer_context())
        return self.get_paginated_response(rows.data)

    @extend_schema(parameters=[PositionsParameters], responses=OneItemOutlookSerializer)
    def retrieve(self, request: Request, *args: Any, **kwargs: Any) -> Response:
        asked = PositionsParameters.read(self)
        item = self.get_object()
        context = self.get_serializer_context()
        data = dict(ItemOutlookSerializer(self._outlook.of(item), context=context).data)
        places = self._outlook.places(item) if asked["with_positions"] else None
        data["wanted_at"] = self._rows_of(places) if places is not None else None
        return Response(data)

    @extend_schema(responses=WantedAtSerializer(many=True), filters=False)
    @action(
        detail=True, methods=["get"], url_path="wanted-at", pagination_class=WorkedOutPagination, filter_backends=[]
    )
    def list_wanted_at(self, request: Request, pk: str) -> Response:
        """List the positions behind an item's numbers, the surest first."""
        places = self._outlook.places(self.get_object())
        return self.get_paginated_response(self._rows_of(self.paginate_queryset(places) or []))

    @cached_property
    def _outlook(self) -> StockOutlook:
        return StockOutlook(company=self.by.company, now=self.now)

    def _rows_of(self, places: Sequence[Place]) -> Any:
        rows = self._outlook.wanted_at(places)
        return WantedAtSerializer(rows, many=True, context=self.get_serializer_context()).data
