"""What units and clients cost in a period."""

from datetime import timedelta
from typing import Any, Final

from drf_spectacular.utils import extend_schema, extend_schema_field
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from accounts.http.faults import parameter_fault
from accounts.http.fields import TenantRelatedField
from accounts.http.pagination import LARGEST_PAGE, WorkedOutPagination, whole_number
from accounts.http.serializers import AnswerSerializer
from accounts.http.viewsets import TenantViewSet
from accounts.models import Client, Company
from fleet.engineering.constants import DAYS_PER_YEAR
from fleet.models import Unit
from scheduling.api.parameters import ParametersSerializer
from scheduling.services.money.costs import CostRow, report_costs

#: Sizing weighs many trains for each unit, so that it is asked of a few at a time.
MOST_SIZED: Final = 25
_LONGEST: Final = timedelta(days=3660)


#: What a row of costs can be of.
ROWS_OF: Final = ("unit", "client")


class CostParameters(ParametersSerializer):
    """Which period, and how its costs are put together."""

    before = serializers.DateField(required=False, help_text="the day after its last; empty: tomorrow")
    by = serializers.ChoiceField(choices=ROWS_OF, required=False, default="unit", help_text="what a row is of")
    client = TenantRelatedField(
        queryset=Client.objects.all(), required=False, help_text="id or name of the only client"
    )
    unit = TenantRelatedField(queryset=Unit.objects.all(), required=False, help_text="id or code of the only unit")
    page = serializers.IntegerField(required=False, min_value=1, help_text="page of the rows; the first when left out")
    page_size = serializers.IntegerField(
        required=False,
        min_value=1,
        max_value=LARGEST_PAGE,
        help_text=f"rows on a page; {LARGEST_PAGE} when left out",
    )
    sized = serializers.BooleanField(
        required=False,
        default=False,
        help_text=f"whether each unit is set beside what sizing says of it; for {MOST_SIZED} units at most",
    )

    def get_fields(self) -> Any:
        """Name the first day as the word is, which Python keeps for itself."""
        first = serializers.DateField(required=False, help_text="its first day; empty: a year before its end")
        return {"from": first, **super().get_fields()}


def _amount(help_text: str, source: str, **kwargs: Any) -> serializers.DecimalField:
    return serializers.DecimalField(
        max_digits=14, decimal_places=2, read_only=True, help_text=help_text, source=source, **kwargs
    )


class CostFigures(AnswerSerializer):
    """What was spent, in the company's currency."""

    parts = _amount("pieces used, at what they cost the company", "money.parts")
    labour = _amount("minutes of work, by the policy", "money.labour")
    travel = _amount("its share of the rounds, by the policy", "money.travel")
    total = _amount("parts, labour and travel", "money.total")
    per_1000_l = _amount("total for 1,000 L of product water; null without water", "money.per_1000_l", allow_null=True)
    parts_per_1000_l = _amount(
        "parts for 1,000 L of product water; null without water", "money.parts_per_1000_l", allow_null=True
    )
    waste = _amount("what was left in cartridges when they were changed, at their price", "money.waste")
    changes = serializers.IntegerField(source="money.changes", help_text="cartridges that were changed for good")
    waste_unknown = serializers.IntegerField(
        source="money.waste_unknown", help_text="of them, those of which nobody knows what was left"
    )
    reports = serializers.IntegerField(source="money.reports", help_text="reports of work, each at its first unit")
    minutes = serializers.SerializerMethodField(help_text="minutes of work")
    km = serializers.SerializerMethodField(help_text="kilometres of its share of the rounds")
    litres = serializers.SerializerMethodField(help_text="product water, in litres")
    remarks = serializers.ListField(
        source="money.remarks", child=serializers.CharField(), help_text="what is left out or assumed, in sentences"
    )

    @extend_schema_field(serializers.FloatField())
    def get_minutes(self, row: Any) -> float:
        return round(row.money.minutes, 1)

    @extend_schema_field(serializers.FloatField())
    def get_km(self, row: Any) -> float:
        return round(row.money.km, 1)

    @extend_schema_field(serializers.FloatField())
    def get_litres(self, row: Any) -> float:
        return round(row.money.litres, 1)


class SizedCostSerializer(AnswerSerializer):
    """What sizing says that the unit costs with the cartridges that stand in it, driving and the price of water
    aside; each figure is null where it cannot be worked out, and the reason says why."""

    per_year = serializers.SerializerMethodField(help_text="cartridges and the visits for them, a year")
    per_1000_l = serializers.SerializerMethodField(help_text="the same for 1,000 L of product water")
    parts_per_year = serializers.SerializerMethodField(help_text="cartridges, a year")
    parts_per_1000_l = serializers.SerializerMethodField(help_text="cartridges for 1,000 L of product water")
    reason = serializers.CharField(help_text="why there is no figure; empty where there is")

    @extend_schema_field(serializers.FloatField(allow_null=True))
    def get_per_year(self, sized: Any) -> float | None:
        return _money(sized.per_year)

    @extend_schema_field(serializers.FloatField(allow_null=True))
    def get_per_1000_l(self, sized: Any) -> float | None:
        return _per_1000_l(sized.per_year, sized.litres_per_year)

    @extend_schema_field(serializers.FloatField(allow_null=True))
    def get_parts_per_year(self, sized: Any) -> float | None:
        return _money(sized.parts_per_year)

    @extend_schema_field(serializers.FloatField(allow_null=True))
    def get_parts_per_1000_l(self, sized: Any) -> float | None:
        return _per_1000_l(sized.parts_per_year, sized.litres_per_year)


class CostRowSerializer(CostFigures):
    """What one unit, or one client, cost."""

    client = serializers.IntegerField(
        source="client.pk", allow_null=True, default=None, help_text="id of the client who had it then"
    )
    client_name = serializers.CharField(
        source="client.name", allow_null=True, default=None, help_text="name of that client"
    )
    unit = serializers.IntegerField(
        source="unit.pk",
        allow_null=True,
        default=None,
        help_text="id of the unit; null of a client, and of work at a site without any",
    )
    unit_code = serializers.CharField(
        source="unit.code", allow_null=True, default=None, help_text="code of the unit; null where `unit` is"
    )
    water_sources = serializers.SerializerMethodField(help_text="how the litres are known, in words")
    per_year = serializers.SerializerMethodField(help_text="total, brought to a year of 365.25 days")
    sized = SizedCostSerializer(
        allow_null=True, help_text="what sizing says of the unit; null unless `sized=true` asks for it"
    )

    def get_water_sources(self, row: CostRow) -> list[str]:
        return sorted(row.water_sources)

    @extend_schema_field(serializers.FloatField())
    def get_per_year(self, row: CostRow) -> float:
        days: int = self.context["days"]
        return round(float(row.money.total) * DAYS_PER_YEAR / days, 2)


class CostReportSerializer(AnswerSerializer):
    """Costs of a period."""

    first_day = serializers.DateField(help_text="first day of the period")
    before = serializers.DateField(help_text="the day after its last")
    by = serializers.ChoiceField(choices=ROWS_OF, help_text="what a row is of")
    currency = serializers.CharField(source="company.currency")
    count = serializers.IntegerField(help_text="rows on all pages together")
    next = serializers.URLField(allow_null=True, help_text="address of the next page; null on the last one")
    previous = serializers.URLField(allow_null=True, help_text="address of the page before; null on the first one")
    rows = CostRowSerializer(many=True, help_text="the dearest first; those of this page")
    total = CostFigures(source="together", help_text="all rows together")


class CostPagination(WorkedOutPagination):
    """Pages of as many rows as there may be on one: all, but of a large company."""

    def get_page_size(self, request: Request) -> int:
        return whole_number(request, "page_size", LARGEST_PAGE, LARGEST_PAGE)


class CostViewSet(TenantViewSet):
    """What was spent, by unit or by client."""

    resource = "cost"
    queryset = Company.objects.all()
    serializer_class = CostReportSerializer
    pagination_class = CostPagination
    filter_backends = ()

    def known_parameters(self) -> dict[str, bool]:
        return dict.fromkeys(CostParameters.names(), False)

    @extend_schema(parameters=[CostParameters], responses=CostReportSerializer)
    def report(self, request: Request) -> Response:
        """Say what units or clients cost in a period: parts, minutes, travel, for 1,000 L, and what early changes of
        cartridges threw away.

        Pieces cost what the newest order before their day paid, else what the catalogue says; minutes and kilometres
        cost what the policy says. A visit bears its share of the round of the published plan.
        """
        asked = CostParameters.read(self)
        before = asked.get("before") or self.by.company.day_at(self.now) + timedelta(days=1)
        try:
            first_day = asked.get("from") or before - timedelta(days=365)
        except OverflowError:
            raise parameter_fault("before", "before: there is no year before that day.") from None
        if not timedelta(0) < before - first_day <= _LONGEST:
            raise parameter_fault(
                "from",
                f"from is {first_day} and before is {before}: give a period of at least a day, ten years at most.",
            )
        narrowed = {name: asked[name] for name in ("client", "unit") if name in asked}
        if asked["sized"]:
            self._refuse_too_many(asked)
        report = report_costs(
            company=self.by.company,
            first_day=first_day,
            before=before,
            by=asked["by"],
            now=self.now,
            with_sizing=asked["sized"],
            **narrowed,
        )
        context = {**self.get_serializer_context(), "days": (before - first_day).days}
        rows = self.paginate_queryset(report.rows)
        pages = {name: self.get_paginated_response([]).data[name] for name in ("count", "next", "previous")}
        answer = {
            "first_day": report.first_day,
            "before": report.before,
            "by": report.by,
            "company": report.company,
            "rows": rows,
            "together": report.together,
            **pages,
        }
        return Response(CostReportSerializer(answer, context=context).data)

    def _refuse_too_many(self, asked: dict[str, Any]) -> None:
        if asked["by"] != "unit":
            raise parameter_fault("sized", "sized: sizing speaks of units; ask with by=unit.")
        units = Unit.objects.of_company(self.by.company)
        if "client" in asked:
            units = units.filter(site__client=asked["client"])
        count = 1 if "unit" in asked else units.count()
        if count > MOST_SIZED:
            raise parameter_fault(
                "sized", f"sized: {count} units are more than {MOST_SIZED}; narrow it with client or unit."
            )


def _money(amount: float | None) -> float | None:
    return round(amount, 2) if amount is not None else None


def _per_1000_l(amount: float | None, litres: float | None) -> float | None:
    return round(amount / litres * 1000.0, 2) if amount is not None and litres else None
