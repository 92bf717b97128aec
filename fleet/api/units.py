"""Units, with their train, what stands in it, and what it says."""

from collections import defaultdict
from collections.abc import Iterable, Iterator
from datetime import date
from typing import Any, ClassVar

from django.db.models import Case, DateField, Prefetch, Q, QuerySet, Value, When
from drf_spectacular.utils import extend_schema, extend_schema_field
from rest_framework import serializers
from rest_framework.decorators import action
from rest_framework.request import Request
from rest_framework.response import Response

from accounts.errors import InvalidInput
from accounts.http.fields import DayOrMomentField, TenantRelatedField
from accounts.http.retiring import RETIRED_FIELDS, RetireMixin
from accounts.http.serializers import AnswerSerializer, StrictSerializer, TenantModelSerializer
from accounts.http.viewsets import ReadWriteViewSet
from accounts.models import Client
from fleet.api.findings import FindingSerializer
from fleet.api.forecasts import (
    PROBABILITY_BY,
    FirstToFailSerializer,
    ForecastSerializer,
    context_of_day,
    requested_day,
)
from fleet.api.placements import PlacementSerializer
from fleet.api.quantities import QuantityModelSerializer, QuantityViewSet, unit_system_of
from fleet.api.readings import NewUnitReadingSerializer, ReadingDetailSerializer, store_one
from fleet.api.sizing import CommissioningSerializer, PromisedSerializer
from fleet.api.status import StatusSerializer
from fleet.engineering import units as kinds
from fleet.engineering.formats import CONNECTIONS, FLOW_DIRECTIONS, SIZES
from fleet.models import CatalogueItem, Finding, Forecast, Placement, Position, Reading, Stage, Unit
from fleet.services import retiring
from fleet.services.forecasts.groups import first_changes, first_changes_among, first_to_fail_of_unit
from fleet.services.sizing.sizing import check_commissioning
from fleet.services.status import status_of
from fleet.services.units import units

_LIVE = Q(state__in=Finding.LIVE)


class UnitSerializer(QuantityModelSerializer):
    """One RO or RO/DI unit."""

    assumed = serializers.ListField(
        child=serializers.CharField(),
        read_only=True,
        help_text="attributes that nobody told: what is usual of its use stands there until somebody does",
    )
    next_change_on = serializers.SerializerMethodField(
        help_text="the median date of its first position to be exhausted"
    )
    open_finding_count = serializers.SerializerMethodField()
    _of_page: tuple[Any, dict[int, date]] | None = None

    class Meta:
        model = Unit
        fields = [
            "id",
            "site",
            "client_since",
            "code",
            "name",
            "use",
            "kind",
            "commissioned_on",
            "retired_on",
            *RETIRED_FIELDS,
            "tank",
            "has_booster_pump",
            "has_float_valve",
            "has_automatic_shutoff_valve",
            "has_check_valve",
            "has_pressure_gauge",
            "restrictor",
            "design_recovery_fraction",
            "totaliser",
            "has_drinking_outlet",
            "notes",
            "assumed",
            "created_at",
            "next_change_on",
            "open_finding_count",
        ]
        read_only_fields = ["id", *RETIRED_FIELDS, "assumed", "created_at"]
        quantities: ClassVar = {
            "product_tds_target_mg_per_l": kinds.TDS.within(0.0, 5000.0),
            "weekly_demand_l": kinds.VOLUME.within(0.0, 1e6),
            "tank_volume_l": kinds.VOLUME.within(0.0, 1e5),
            "tank_precharge_kpa": kinds.QUANTITY_KINDS["tank_pressure_kpa"],
            "restrictor_flow_l_per_day": kinds.FLOW.within(0.0, 1e5),
            "restrictor_pressure_kpa": kinds.QUANTITY_KINDS["inlet_pressure_kpa"],
        }

    @extend_schema_field(serializers.DateField(allow_null=True))
    def get_next_change_on(self, unit: Unit) -> Any:
        """The date that its status and its forecast give."""
        return self._changes_beside(unit).get(unit.pk)

    def _changes_beside(self, unit: Unit) -> dict[int, date]:
        """The next change of every unit that is answered with this one, worked out at once."""
        page = self.parent.instance if isinstance(self.parent, serializers.ListSerializer) else None
        if page is None:
            return first_changes_among(_forecasts_at_hand([unit]))
        if self._of_page is None or self._of_page[0] is not page:
            self._of_page = page, first_changes_among(_forecasts_at_hand(page))
        return self._of_page[1]

    def get_open_finding_count(self, unit: Unit) -> int:
        """How many findings are open or confirmed."""
        return len(getattr(unit, "live_findings", ()))


def _forecasts_at_hand(units: Iterable[Unit]) -> Iterator[tuple[Forecast, int]]:
    for unit in units:
        for position in unit.positions.all():
            for row in getattr(position, "latest_forecasts", ()):
                yield row, unit.pk


class PositionDetailSerializer(TenantModelSerializer):
    """A place in the train: what stands in it, and until when."""

    installed = serializers.SerializerMethodField()
    forecast = serializers.SerializerMethodField()

    class Meta:
        model = Position
        fields = ["id", "order", "stage", "role", "installed", "forecast"]
        read_only_fields = fields

    @extend_schema_field(PlacementSerializer(allow_null=True))
    def get_installed(self, position: Position) -> Any:
        """The cartridge that stands there."""
        return self._one(PlacementSerializer, "installed_placements", position)

    @extend_schema_field(ForecastSerializer(allow_null=True))
    def get_forecast(self, position: Position) -> Any:
        """The latest forecast."""
        return self._one(ForecastSerializer, "latest_forecasts", position)

    def _one(self, serializer_class: Any, prefetched: str, position: Position) -> Any:
        rows = getattr(position, prefetched, [])
        return serializer_class(rows[0], context=self.context).data if rows else None


class UnitDetailSerializer(UnitSerializer):
    """A unit with its train, its newest reading and its open findings."""

    positions = PositionDetailSerializer(many=True, read_only=True)
    latest_reading = serializers.SerializerMethodField()
    open_findings = FindingSerializer(source="live_findings", many=True, read_only=True)

    class Meta(UnitSerializer.Meta):
        fields = [*UnitSerializer.Meta.fields, "positions", "latest_reading", "open_findings"]

    @extend_schema_field(ReadingDetailSerializer(allow_null=True))
    def get_latest_reading(self, unit: Unit) -> Any:
        """The newest reading that nothing corrects."""
        newest = (
            Reading.objects.current()
            .filter(unit=unit)
            .select_related("corrected_by", "indicators")
            .order_by("-taken_at", "-pk")
            .first()
        )
        return ReadingDetailSerializer(newest, context=self.context).data if newest is not None else None


class UnitFindingsSerializer(AnswerSerializer):
    """What the readings of a unit show, and when it was last read."""

    unit = serializers.IntegerField()
    read_at = DayOrMomentField(allow_null=True, help_text="of the newest reading")
    findings = FindingSerializer(many=True)


class NewPositionSerializer(StrictSerializer):
    """A place in the train of a new unit, and the cartridge that stands in it from the start."""

    stage = serializers.ChoiceField(choices=Stage.choices)
    role = serializers.ChoiceField(choices=Position.Role.choices, required=False, default=Position.Role.SINGLE.value)
    item = TenantRelatedField(queryset=CatalogueItem.objects.all(), required=False, allow_null=True, default=None)
    serial_or_lot = serializers.CharField(max_length=60, required=False, allow_blank=True, default="")
    placed_at = DayOrMomentField(
        required=False, allow_null=True, default=None, help_text="since commissioning when left out"
    )
    cartridge_size = serializers.ChoiceField(
        choices=list(SIZES.items()), required=False, allow_blank=True, default="", help_text="of what it takes"
    )
    connection = serializers.ChoiceField(
        choices=list(CONNECTIONS.items()), required=False, allow_blank=True, default="", help_text="of what it takes"
    )
    flow_direction = serializers.ChoiceField(
        choices=list(FLOW_DIRECTIONS.items()),
        required=False,
        allow_blank=True,
        default="",
        help_text="of what it takes",
    )


class NewUnitSerializer(UnitSerializer):
    """A unit with its train, in order from the feed; or the name of a common train."""

    positions = NewPositionSerializer(many=True, required=False)
    template = serializers.ChoiceField(choices=[(name, name) for name in units.TEMPLATES], required=False)
    client = TenantRelatedField(
        queryset=Client.objects.all(),
        required=False,
        allow_null=True,
        default=None,
        write_only=True,
        help_text="whose it is, where its site is not known yet and left out; left out as well: nobody knows",
    )

    class Meta(UnitSerializer.Meta):
        fields = [*UnitSerializer.Meta.fields, "client", "positions", "template"]

    def get_fields(self) -> dict[str, Any]:
        """Let the use say what the water must be, where the target is left out, and the site be found later."""
        fields = super().get_fields()
        fields["site"].required, fields["site"].allow_null, fields["site"].default = False, True, None
        fields["product_tds_target"].required = fields["weekly_demand"].required = False
        return fields


class UnitViewSet(QuantityViewSet, RetireMixin, ReadWriteViewSet):
    """Units. POST creates one with its positions and first cartridges; a unit with readings is retired, not deleted."""

    resource = "unit"
    company_first = True
    retire_service = staticmethod(retiring.retire)
    unretire_service = staticmethod(retiring.unretire)
    queryset = Unit.objects.all()
    serializer_class = UnitDetailSerializer
    filterset_fields = {
        "site": ["exact"],
        "site__client": ["exact"],
        "code": ["exact"],
        "use": ["exact"],
        "kind": ["exact"],
        "retired_on": ["isnull"],
        "has_booster_pump": ["exact"],
    }
    ordering_fields = ["code", "commissioned_on", "created_at", "next_change_on"]
    search_fields = ["code", "name", "site__code", "site__name", "site__client__name"]

    def get_queryset(self) -> Any:
        """Add what a list shows, and for a single unit its train; its status is read apart."""
        rows = super().get_queryset()
        if self.action == "status":
            return rows.select_related("site", "company")
        if "next_change_on" in self.request.query_params.get("ordering", ""):
            rows = rows.annotate(next_change_on=_next_change(_present_forecasts().filter(position__unit__in=rows)))
        live = Finding.objects.filter(_LIVE).order_by("-confidence", "pk")
        rows = rows.prefetch_related(Prefetch("findings", queryset=live, to_attr="live_findings"))
        return rows.prefetch_related(_forecasts() if self.action == "list" else _train())

    def get_serializer_class(self) -> Any:
        """A list shows the facts; a single unit also its train and what it says."""
        return UnitSerializer if self.action == "list" else UnitDetailSerializer

    def get_input_serializer(self, *args: Any, **kwargs: Any) -> Any:
        """The train is given once, when the unit is created."""
        kwargs.setdefault("context", self.get_serializer_context())
        return (NewUnitSerializer if self.action == "create" else UnitSerializer)(*args, **kwargs)

    @extend_schema(request=NewUnitSerializer, responses={201: UnitDetailSerializer})
    def create(self, request: Request, *args: Any, **kwargs: Any) -> Response:
        """Create a unit with its positions, in order from the feed, and the cartridges that stand in them."""
        return super().create(request, *args, **kwargs)

    @extend_schema(request=UnitSerializer, responses=UnitDetailSerializer)
    def partial_update(self, request: Request, *args: Any, **kwargs: Any) -> Response:
        """Change the facts of a unit; its train is changed at `/positions/`."""
        return super().partial_update(request, *args, **kwargs)

    def perform_create(self, serializer: Any) -> Unit:
        facts = dict(serializer.validated_data)
        positions, template = facts.pop("positions", None), facts.pop("template", None)
        if (positions is None) == (template is None):
            raise InvalidInput(
                "train_needed",
                "Give the train of the unit either as 'positions' or as 'template'.",
                pointer="/positions",
            )
        train = units.train_of(template) if template else [units.NewPosition(**position) for position in positions]
        return units.create_unit(positions=train, by=self.by, now=self.now, **facts)

    def perform_update(self, serializer: Any) -> Unit:
        return units.update_unit(unit=serializer.instance, by=self.by, now=self.now, **serializer.validated_data)

    def known_parameters(self) -> dict[str, bool]:
        own = {"probability_by": False} if self.action == "forecast" else {}
        return super().known_parameters() | own

    def perform_destroy(self, instance: Unit) -> None:
        units.delete_unit(unit=instance, by=self.by, now=self.now)

    @extend_schema(responses=StatusSerializer)
    @action(detail=True, methods=["get"])
    def status(self, request: Request, pk: str) -> Response:
        """Say whether the water is good now and what happens next."""
        status = status_of(unit=self.get_object(), now=self.now)
        return Response(StatusSerializer(status, context=self.get_serializer_context()).data)

    @extend_schema(request=PromisedSerializer, responses=CommissioningSerializer)
    @action(detail=True, methods=["post"], url_path="commissioning-check")
    def check_commissioning(self, request: Request, pk: str) -> Response:
        """Compare the first readings of this unit with what sizing promised; nothing is stored."""
        unit = self.get_object()
        serializer = PromisedSerializer(data=request.data, context=self.get_serializer_context())
        serializer.is_valid(raise_exception=True)
        context = self.get_serializer_context()
        verdict = check_commissioning(
            unit=unit,
            promised=serializer.validated_data,
            unit_system=unit_system_of(context),
            by=self.by,
            now=self.now,
        )
        return Response(CommissioningSerializer(verdict, context=context).data)

    @extend_schema(responses=UnitFindingsSerializer)
    @action(detail=True, methods=["get"], url_path="findings")
    def list_findings(self, request: Request, pk: str) -> Response:
        """Say what the stored readings of this unit show: findings that are open or confirmed, the surest first."""
        unit = self.get_object()
        newest = Reading.objects.current().taken_by(self.now).filter(unit=unit).order_by("-taken_at", "-pk")
        answer = {"unit": unit.pk, "read_at": getattr(newest.only("taken_on", "taken_at").first(), "taken_at", None)}
        answer["findings"] = unit.live_findings
        return Response(UnitFindingsSerializer(answer, context=self.get_serializer_context()).data)

    @extend_schema(responses=FirstToFailSerializer, parameters=[PROBABILITY_BY])
    @action(detail=True, methods=["get"])
    def forecast(self, request: Request, pk: str) -> Response:
        """Say when the first position of the unit will be exhausted, and how probable that is by any day."""
        first_to_fail = first_to_fail_of_unit(unit=self.get_object(), day=requested_day(request))
        return Response(FirstToFailSerializer(first_to_fail, context=context_of_day(self, request)).data)

    @extend_schema(
        request=NewUnitReadingSerializer, responses={200: ReadingDetailSerializer, 201: ReadingDetailSerializer}
    )
    @action(detail=True, methods=["post"], url_path="readings")
    def add_reading(self, request: Request, pk: str) -> Response:
        """Store a reading of this unit: 201 when it is new, 200 when its reference was stored before."""
        unit = self.get_object()
        row = request.data
        if isinstance(row, dict):
            if "unit" in row:
                raise InvalidInput("unit_is_given", "The address names the unit; leave it out.", pointer="/unit")
            row = {"unit": unit.pk, **row}
        return store_one(self, row)


def _present_forecasts() -> QuerySet[Forecast]:
    """The latest forecasts of what stands there now, without those of cartridges that were changed since."""
    return Forecast.objects.filter(is_latest=True, placement__removed_at__isnull=True)


def _next_change(forecasts: QuerySet[Forecast]) -> Case:
    """The date that each of their units shows, to sort by: a database cannot work it out of the distributions."""
    units_by_date: dict[date, list[int]] = defaultdict(list)
    for unit, day in first_changes(forecasts).items():
        units_by_date[day].append(unit)
    return Case(
        *(When(pk__in=ids, then=Value(day)) for day, ids in units_by_date.items()),
        default=None,
        output_field=DateField(),
    )


def _forecasts() -> Any:
    """Positions, each with its latest forecast."""
    latest = Prefetch("forecasts", queryset=_present_forecasts(), to_attr="latest_forecasts")
    return Prefetch("positions", queryset=Position.objects.prefetch_related(latest))


def _train() -> Any:
    """Positions in order, each with what stands in it and its latest forecast."""
    installed = Placement.objects.filter(removed_at__isnull=True).select_related("position", "item")
    latest = _present_forecasts().select_related("position")
    return Prefetch(
        "positions",
        queryset=Position.objects.order_by("order", "pk").prefetch_related(
            Prefetch("placements", queryset=installed, to_attr="installed_placements"),
            Prefetch("forecasts", queryset=latest, to_attr="latest_forecasts"),
        ),
    )
