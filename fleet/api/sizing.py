"""What to offer for a site, from the company's catalogue; nothing is stored."""

from typing import Any, Final

from drf_spectacular.utils import extend_schema, extend_schema_field
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from accounts.http.fields import FiniteFloatField, TenantRelatedField
from accounts.http.serializers import AnswerSerializer, StrictSerializer
from fleet.api.quantities import UNIT, VALUE, QuantityField, QuantityViewSet, shown, unit_system_of
from fleet.engineering import units as kinds
from fleet.engineering.purposes import PURPOSES
from fleet.engineering.sizing import AIMS, BACTERIA_TESTS, DISINFECTANTS, LIMITED_BY, Check
from fleet.engineering.sizing.words.comparison import expected_values
from fleet.intake.names import public_name
from fleet.models import CatalogueItem, Position, Site, Stage, Unit
from fleet.services.sizing.sizing import AskedUse, size_for

_TEMPERATURE: Final = kinds.TEMPERATURE.within(1.0, 45.0)
_VOLUME: Final = kinds.VOLUME.within(0.0, 1e5)
_SURVEY: Final = (
    "lowest_line_pressure_kpa",
    "lowest_temperature_degc",
    "usual_temperature_degc",
    "feed_tds_mg_per_l",
    "hardness_mg_per_l_as_caco3",
    "alkalinity_mg_per_l_as_caco3",
    "ph",
    "silica_mg_per_l",
    "total_chlorine_mg_per_l",
    "iron_mg_per_l",
    "manganese_mg_per_l",
    "disinfectant",
    "peak_draw_l",
    "draw_window_h",
    "highest_temperature_degc",
    "highest_static_pressure_kpa",
    "is_own_well",
    "bacteria_test",
)
_SHOWN: Final = {
    "type": ["object", "null"],
    "description": "A number with its unit, in the system chosen by ?units= or that of the company; null where none.",
    "required": ["value", "unit"],
    "properties": {"value": VALUE, "unit": UNIT},
}
_LIMITS: Final = (
    "has_power",
    "most_cartridges",
    "largest_tank_l",
    "water_price_per_m3",
    "starts_per_day",
    "flush_l_per_start",
    "reserve_days",
    "run_hours_per_day",
    "membranes",
)


class AskedUseSerializer(StrictSerializer):
    """One use of the water: its weekly demand, or for an aquarium its volume and the share changed in a week."""

    use = serializers.ChoiceField(choices=Unit.Use.choices)
    weekly_demand = QuantityField(_VOLUME, source="weekly_demand_l", required=False)
    aquarium_volume = QuantityField(_VOLUME, source="aquarium_volume_l", required=False)
    weekly_change = QuantityField(
        kinds.FRACTION, source="weekly_change_fraction", required=False, help_text="share of the volume, as '10 %'"
    )
    daily_evaporation = QuantityField(
        kinds.FRACTION.within(0.0, 0.2),
        source="daily_evaporation_fraction",
        required=False,
        help_text="share of the volume that is topped up each day; 1 % when left out",
    )
    highest_tds = QuantityField(
        kinds.TDS.within(0.01, 5000.0),
        source="highest_tds_mg_per_l",
        required=False,
        help_text="highest TDS of the use 'other', which has no usual limit; left out for every other use",
    )
    target_hardness = QuantityField(
        kinds.HARDNESS.within(0.0, 500.0),
        source="hardness_mg_per_l_as_caco3",
        required=False,
        help_text="coffee alone: what the blended water is to have; 70 mg/L as CaCO3 when left out",
    )
    target_alkalinity = QuantityField(
        kinds.ALKALINITY.within(0.0, 500.0),
        source="alkalinity_mg_per_l_as_caco3",
        required=False,
        help_text="coffee alone: what the blended water is to have; 45 mg/L as CaCO3 when left out",
    )


class SizingRequestSerializer(StrictSerializer):
    """A site, its water, and what it is wanted for. What is not known is left out; the answer says what it assumed."""

    uses = AskedUseSerializer(many=True, allow_empty=False, max_length=5)  # type: ignore[call-arg]
    site = TenantRelatedField(
        queryset=Site.objects.all(), required=False, help_text="its newest feed water fills in what is left out"
    )
    lowest_line_pressure = QuantityField(
        kinds.PRESSURE.within(1.0, 1034.0),
        source="lowest_line_pressure_kpa",
        help_text="while flowing, at the worst time of day",
    )
    lowest_temperature = QuantityField(
        _TEMPERATURE, source="lowest_temperature_degc", required=False, help_text="coldest feed water of the year"
    )
    highest_temperature = QuantityField(
        _TEMPERATURE,
        source="highest_temperature_degc",
        required=False,
        help_text="warmest feed water of the year, at which no scale may form either",
    )
    highest_static_pressure = QuantityField(
        kinds.PRESSURE.within(1.0, 2500.0),
        source="highest_static_pressure_kpa",
        required=False,
        help_text="with all taps shut, at its highest of the day; decides on a pressure regulator",
    )
    usual_temperature = QuantityField(_TEMPERATURE, source="usual_temperature_degc", required=False)
    feed_tds = QuantityField(kinds.TDS.within(0.1, 5000.0), source="feed_tds_mg_per_l", required=False)
    hardness = QuantityField("hardness_mg_per_l_as_caco3", required=False, source="hardness_mg_per_l_as_caco3")
    alkalinity = QuantityField("alkalinity_mg_per_l_as_caco3", required=False, source="alkalinity_mg_per_l_as_caco3")
    ph = QuantityField("ph", required=False)
    silica = QuantityField("silica_mg_per_l", required=False, source="silica_mg_per_l")
    total_chlorine = QuantityField("total_chlorine_mg_per_l", required=False, source="total_chlorine_mg_per_l")
    iron = QuantityField("iron_mg_per_l", required=False, source="iron_mg_per_l")
    manganese = QuantityField("manganese_mg_per_l", required=False, source="manganese_mg_per_l")
    disinfectant = serializers.ChoiceField(choices=[(name, name) for name in DISINFECTANTS], required=False)
    own_well = serializers.BooleanField(
        source="is_own_well", required=False, help_text="whether the water comes from an own well; no when left out"
    )
    bacteria_test = serializers.ChoiceField(
        choices=[(name, name) for name in BACTERIA_TESTS],
        required=False,
        help_text="what a laboratory found in the own well; unknown when left out",
    )
    peak_draw = QuantityField(
        _VOLUME,
        source="peak_draw_l",
        required=False,
        help_text="the largest draw; half a day's water of a tap when left out",
    )
    draw_window_h = FiniteFloatField(min_value=0, max_value=168, required=False, help_text="hours it is spread over")
    has_power = serializers.BooleanField(required=False, help_text="whether a pump can be supplied; yes when left out")
    most_cartridges = serializers.IntegerField(
        min_value=1, max_value=20, required=False, help_text="places for cartridges and membrane, all together"
    )
    largest_tank = QuantityField(_VOLUME, source="largest_tank_l", required=False)
    water_price_per_m3 = FiniteFloatField(
        min_value=0, max_value=1000, required=False, help_text="supply and drain, in the company's currency"
    )
    starts_per_day = FiniteFloatField(
        min_value=0, max_value=200, required=False, help_text="how often the unit starts; twice when left out"
    )
    flush_per_start = QuantityField(
        kinds.VOLUME.within(0.0, 50.0),
        source="flush_l_per_start",
        required=False,
        help_text="feed water that flushes one membrane at each start; 1.5 L when left out",
    )
    run_hours_per_day = FiniteFloatField(
        min_value=0.5, max_value=24, required=False, help_text="how long it may run in winter; 8 when left out"
    )
    membranes = serializers.IntegerField(
        min_value=1, max_value=20, required=False, help_text="side by side; as few as do when left out"
    )
    reserve_days = FiniteFloatField(
        min_value=0,
        max_value=60,
        required=False,
        help_text="days of the usual demand to store for when the unit stops; when left out, what the draw asks for",
    )


class LifeSerializer(AnswerSerializer):
    """Days of service: the middle, and the range that holds in eight cases of ten."""

    days = serializers.FloatField()
    from_days = serializers.FloatField()
    to_days = serializers.FloatField()
    limited_by = serializers.ChoiceField(choices=list(LIMITED_BY.items()))


class SentencesSerializer(AnswerSerializer):
    """A sentence for who fits the unit, and one for who pays it."""

    installer_sentence = serializers.CharField(source="for_installer")
    client_sentence = serializers.CharField(source="for_client")


class SizedPartSerializer(SentencesSerializer):
    """Cartridges of one kind in their place of the train, and why."""

    stage = serializers.ChoiceField(choices=Stage.choices)
    role = serializers.ChoiceField(choices=Position.Role.choices)
    count = serializers.IntegerField()
    item = serializers.CharField(source="item.code", help_text="code in the catalogue")
    name = serializers.CharField(source="item.name")
    price = serializers.FloatField(source="item.price", help_text="of one")
    life = LifeSerializer()
    cost_per_year = serializers.FloatField(help_text="of all of them")


class SizedFittingSerializer(SentencesSerializer):
    """Something beside the cartridges; no item where the catalogue has none that fits."""

    purpose = serializers.ChoiceField(choices=list(PURPOSES.items()))
    count = serializers.IntegerField()
    item = serializers.SerializerMethodField()
    price = serializers.SerializerMethodField()
    size = serializers.CharField()

    def get_item(self, fitting: Any) -> str | None:
        """Its code in the catalogue."""
        return fitting.item.code if fitting.item is not None else None

    def get_price(self, fitting: Any) -> float | None:
        """Of one piece."""
        return fitting.item.price if fitting.item is not None else None


class OutletSerializer(SentencesSerializer):
    """Where one use takes its water, and what it gets there."""

    use = serializers.ChoiceField(choices=Unit.Use.choices)
    weekly_demand = QuantityField(kinds.VOLUME, source="demand_l_per_week")
    branch = serializers.ChoiceField(choices=[("membrane", "behind the membrane"), ("resin", "behind the resin")])
    tds = QuantityField(
        kinds.TDS, source="tds_mg_per_l", allow_null=True, help_text="expected; null behind resin, below what shows"
    )
    limit = QuantityField(
        kinds.TDS,
        source="limit_mg_per_l",
        help_text="highest that is allowed for the use",
    )


class RemarkSerializer(SentencesSerializer):
    """What is to be said, under a code a program can compare."""

    code = serializers.CharField()


class AlternativeSerializer(SentencesSerializer):
    """One configuration with its numbers."""

    best_for = serializers.ListField(child=serializers.ChoiceField(choices=list(AIMS.items())))
    layout = serializers.ChoiceField(
        choices=[("ro", "RO"), ("ro_di", "RO/DI"), ("tee", "RO with a branch behind resin")]
    )
    parts = SizedPartSerializer(many=True, help_text="the train from the feed on")
    fittings = SizedFittingSerializer(many=True)
    outlets = OutletSerializer(many=True, help_text="each use with the branch it takes its water from")
    has_booster_pump = serializers.BooleanField()
    inlet_pressure = QuantityField(kinds.PRESSURE, source="inlet_pressure_kpa")
    usual_permeate_flow = QuantityField(kinds.FLOW, source="usual_permeate_flow_l_per_day")
    winter_permeate_flow = QuantityField(
        kinds.FLOW, source="winter_permeate_flow_l_per_day", help_text="of an aged membrane in the coldest water"
    )
    usual_run_hours_per_day = serializers.FloatField()
    winter_run_hours_per_day = serializers.FloatField()
    waste_ratio = serializers.FloatField(help_text="concentrate over permeate")
    recovery_fraction = serializers.FloatField()
    restrictor_ml_per_min = serializers.FloatField()
    waste_per_week = QuantityField(kinds.VOLUME, source="waste_l_per_week", help_text="with the flush water")
    flush_per_week = QuantityField(kinds.VOLUME, source="flush_l_per_week", help_text="of it, flushed at starts")
    feed_per_week = QuantityField(kinds.VOLUME, source="feed_l_per_week")
    permeate_tds = QuantityField(kinds.TDS, source="permeate_tds_mg_per_l")
    concentrate_langelier_index = serializers.FloatField(allow_null=True)
    tank_usable_volume = QuantityField(kinds.VOLUME, source="tank_usable_volume_l")
    reserve_hours = serializers.FloatField(
        help_text="how long full stores last at the usual demand when the unit stops; 0 where a use has none"
    )
    first_cost = serializers.FloatField(help_text="cartridges and fittings the catalogue has, without labour")
    consumables_per_year = serializers.FloatField()
    consumables_per_1000_l = serializers.FloatField()
    water_per_year = serializers.FloatField()
    labour_per_year = serializers.FloatField(
        help_text="of the visits for replacements, as the company's policy prices them, driving aside"
    )
    running_cost_per_year = serializers.FloatField()
    reasons = RemarkSerializer(many=True)
    missing = RemarkSerializer(many=True, help_text="what it needs and the catalogue does not have")


class OfferSerializer(AnswerSerializer):
    """Alternatives side by side; none where the catalogue cannot serve, and then what it lacks."""

    alternatives = AlternativeSerializer(many=True)
    missing = RemarkSerializer(many=True)
    remarks = RemarkSerializer(many=True, help_text="on the alternatives beside each other")
    note = serializers.SerializerMethodField()

    def get_note(self, offer: Any) -> str:
        """What the numbers are."""
        return expected_values()


class SizingViewSet(QuantityViewSet):
    """What to offer for a site. Nothing is stored."""

    resource = "sizing"
    queryset = CatalogueItem.objects.all()
    serializer_class = OfferSerializer
    input_serializer_class = SizingRequestSerializer
    keeps_answers = False

    @extend_schema(request=SizingRequestSerializer, responses={200: OfferSerializer})
    def create(self, request: Request, *args: Any, **kwargs: Any) -> Response:
        """Lay out a unit for a site and its uses: alternatives from the catalogue, with a reason for every choice."""
        question = self.valid_input().validated_data
        offer = size_for(
            uses=[AskedUse(**use) for use in question["uses"]],
            survey={name: question[name] for name in _SURVEY if name in question},
            limits={name: question[name] for name in _LIMITS if name in question},
            site=question.get("site"),
            unit_system=unit_system_of(self.get_serializer_context()),
            by=self.by,
        )
        return Response(self.get_serializer(offer).data)


class PromisedSerializer(StrictSerializer):
    """What was promised of a unit; what is left out follows from the unit and the label of its membrane."""

    waste_ratio = FiniteFloatField(min_value=0.1, max_value=50, required=False, help_text="concentrate over permeate")
    temperature = QuantityField(
        "temperature_degc",
        source="temperature_degc",
        required=False,
        help_text="of the water that the waste ratio was promised for; 14 degC or that of the reading when left out",
    )
    inlet_pressure = QuantityField("inlet_pressure_kpa", source="inlet_pressure_kpa", required=False)
    product_tds = QuantityField("product_tds_mg_per_l", source="product_tds_mg_per_l", required=False)
    membranes = serializers.IntegerField(
        min_value=1, max_value=20, required=False, help_text="side by side, all of one label; one when left out"
    )


class CheckSerializer(SentencesSerializer):
    """One promise against the first readings, in the caller's system; a ratio has no unit."""

    quantity = serializers.SerializerMethodField()
    verdict = serializers.ChoiceField(
        choices=[("kept", "kept"), ("not_kept", "not kept"), ("not_read", "not read, or not with what it is judged by")]
    )
    promised = serializers.SerializerMethodField()
    measured = serializers.SerializerMethodField()
    low = serializers.SerializerMethodField()
    high = serializers.SerializerMethodField()

    def get_quantity(self, check: Check) -> str:
        """Its name in the API."""
        return public_name(check.quantity)

    @extend_schema_field(_SHOWN)
    def get_promised(self, check: Check) -> dict[str, Any] | None:
        """As promised, at the condition of the reading."""
        return self._shown(check, check.promised)

    @extend_schema_field(_SHOWN)
    def get_measured(self, check: Check) -> dict[str, Any] | None:
        """As read."""
        return self._shown(check, check.measured)

    @extend_schema_field(_SHOWN)
    def get_low(self, check: Check) -> dict[str, Any] | None:
        """Lowest value that keeps the promise."""
        return self._shown(check, check.low)

    @extend_schema_field(_SHOWN)
    def get_high(self, check: Check) -> dict[str, Any] | None:
        """Highest value that keeps the promise."""
        return self._shown(check, check.high)

    def _shown(self, check: Check, value: float | None) -> dict[str, Any] | None:
        if value is None:
            return None
        if check.quantity not in kinds.QUANTITY_KINDS:
            return {"value": float(f"{value:.6g}"), "unit": ""}
        return shown(value, check.quantity, unit_system_of(self.context))


class CommissioningSerializer(AnswerSerializer):
    """The first readings of a unit against what sizing promised."""

    unit = serializers.IntegerField(source="unit_id")
    verdict = serializers.ChoiceField(
        choices=[("kept", "kept"), ("not_kept", "not kept"), ("not_read", "nothing to judge by")]
    )
    readings = serializers.ListField(child=serializers.IntegerField(), help_text="ids of the readings used")
    checks = CheckSerializer(many=True)
