"""What would these readings say? A diagnosis that stores nothing."""

from typing import Any, Final

from drf_spectacular.utils import extend_schema, extend_schema_field
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from accounts.http.fields import FiniteFloatField
from accounts.http.serializers import AnswerSerializer, StrictSerializer
from fleet.api.indicators import IndicatorSerializer, name_without_unit, shown_indicator
from fleet.api.quantities import UNIT, QuantityField, QuantityViewSet, shown, unit_system_of
from fleet.api.readings import IdOrCodeField
from fleet.engineering import units as kinds
from fleet.engineering.diagnosis import CAUSES, CONTEXT_KEYS, TITLES, Match
from fleet.engineering.diagnosis.facts import FLAGS, TEXTS
from fleet.engineering.diagnosis.record import STEPS
from fleet.engineering.units import QUANTITY_KINDS, Kind
from fleet.intake.cells import CellError
from fleet.intake.directory import unit_directory
from fleet.intake.names import public_name
from fleet.models import Unit
from fleet.services import words
from fleet.services.findings.diagnosis import OTHER_FACTS, READING_FACTS, Diagnosis, what_if

# Facts with a dimension, by the unit at the end of their name.
_BY_SUFFIX: Final[tuple[tuple[str, Kind], ...]] = (
    ("_l_per_day", kinds.FLOW.within(0.0, 50000.0)),
    ("_mg_per_l", kinds.TDS),
    ("_differential_pressure_kpa", kinds.PRESSURE_DIFFERENCE.within(0.0, 2000.0)),
    ("_kpa", kinds.PRESSURE.within(0.0, 2000.0)),
    ("_degc", kinds.TEMPERATURE.within(0.0, 45.0)),
    ("_l", kinds.VOLUME.within(0.0, 1e5)),
    ("_ph", kinds.PH.within(3.0, 12.0)),
    ("recovery_fraction", kinds.FRACTION.within(0.0, 1.0)),
    ("_fraction", kinds.FRACTION.within(-1.0, 10.0)),
)
# Numbers of a match carry short names; these are in kPa, mg/L, L/day, litres and degC.
_OF_NUMBER: Final[tuple[tuple[str, Kind], ...]] = (
    ("_kpa", kinds.PRESSURE),
    ("_degc", kinds.TEMPERATURE),
    ("chlorine", kinds.CHLORINE),
    ("_tds", kinds.TDS),
    ("_meter", kinds.TDS),
    ("_flow", kinds.FLOW),
    ("totaliser", kinds.VOLUME),
)
_MOST: Final = 1e6


def _field_of(name: str) -> serializers.Field[Any, Any, Any, Any]:
    about: dict[str, Any] = {"required": False, "help_text": CONTEXT_KEYS.get(name)}
    if name in FLAGS:
        return serializers.BooleanField(**about)
    if name in TEXTS:
        return serializers.ChoiceField(choices=[word for word in TEXTS[name] if word], **about)
    if name in QUANTITY_KINDS:
        return QuantityField(name, **about)
    for suffix, kind in _BY_SUFFIX:
        if name.endswith(suffix):
            return QuantityField(kind, **about)
    low = -10.0 if name.endswith("_index") else 0.0
    return FiniteFloatField(min_value=low, max_value=_MOST, **about)


class _FactsSerializer(StrictSerializer):
    """Fields for facts of the diagnosis, under their public names; read into their stored names."""

    names: tuple[str, ...] = ()

    def get_fields(self) -> dict[str, Any]:
        """Add a field for each fact."""
        return {public_name(name): _field_of(name) for name in self.names}

    def to_internal_value(self, data: Any) -> Any:
        """Give the facts by their stored names."""
        stored = {public_name(name): name for name in self.names}
        return {stored[name]: value for name, value in super().to_internal_value(data).items()}


class SupposedReadingSerializer(_FactsSerializer):
    """What the gauges would show; leave out what was not read."""

    names = READING_FACTS


class SupposedFactsSerializer(_FactsSerializer):
    """Baselines, facts of the unit and observations; leave out what is not known."""

    names = OTHER_FACTS


class UnitField(IdOrCodeField):
    """A unit the acting member may see, by id (a number) or by code (a text)."""

    def to_internal_value(self, data: Any) -> Any:
        """Find it."""
        if isinstance(data, int) and not isinstance(data, bool):
            unit_name = f"#{data}" if 0 < data < 10**18 else str(data)
        else:
            unit_name = super().to_internal_value(data)
        by = self.context["membership"]
        try:
            place = unit_directory(by.company, by, [unit_name]).place(unit_name)
        except CellError as error:
            raise serializers.ValidationError(str(error)) from None
        return Unit.objects.visible_to(by).get(pk=place.pk)


class SuppositionSerializer(StrictSerializer):
    """A reading, and the unit behind it: one that is stored, or its facts, or both."""

    unit = UnitField(
        required=False, help_text="id or code of the unit that was read; its facts, baselines and feed water are used"
    )
    reading = SupposedReadingSerializer(required=False)
    facts = SupposedFactsSerializer(required=False, help_text="these override what is stored of the unit")


@extend_schema_field(
    {
        "type": "object",
        "additionalProperties": {
            "type": "object",
            "required": ["value", "unit"],
            "properties": {
                "value": {
                    "type": ["number", "string", "boolean"],
                    "description": "a number in the unit beside it, a word, or whether it is so",
                },
                "unit": UNIT,
            },
        },
    }
)
class NamedValuesField(serializers.Field[Any, Any, Any, Any]):
    """Values by name in the caller's system; the unit is empty where there is none."""


#: Rows of the diagnosis table as they are today, with their titles.
RULE_CHOICES: Final = tuple(TITLES.items())


class MatchSerializer(AnswerSerializer):
    """A pattern that is there: its likely causes, and the check that would confirm it."""

    rule = serializers.ChoiceField(choices=RULE_CHOICES, source="rule.id")
    title = serializers.CharField(help_text="what it is called in a list")
    pattern = serializers.CharField(source="rule.pattern")
    step = serializers.ChoiceField(choices=STEPS, source="rule.step", help_text="its place in the order of work")
    causes = serializers.ListField(
        child=serializers.ChoiceField(choices=sorted(CAUSES)), help_text="the likeliest first"
    )
    confidence = serializers.FloatField(min_value=0, max_value=1)
    numbers = serializers.SerializerMethodField()
    doubted_by = serializers.ListField(
        child=serializers.ChoiceField(choices=RULE_CHOICES), help_text="rules that put the reading itself in doubt"
    )
    confirming_check = serializers.CharField()
    action = serializers.CharField()
    caution = serializers.CharField()
    limit_source = serializers.CharField()
    installer_sentence = serializers.CharField(source="for_installer")
    client_sentence = serializers.CharField(source="for_client")

    @extend_schema_field(NamedValuesField())
    def get_numbers(self, match: Match) -> dict[str, Any]:
        """The values it rests on."""
        system = unit_system_of(self.context)
        return dict(_shown_number(name, value, system) for name, value in match.numbers.items())


class DoubtSerializer(AnswerSerializer):
    """Something about the reading that is possible but unusual."""

    field = serializers.CharField()
    sentence = serializers.CharField()


class DiagnosisSerializer(AnswerSerializer):
    """Every pattern the reading shows, in the order of work. Several may hold: confirm, do not pick one."""

    unit = serializers.IntegerField(source="unit_id", allow_null=True)
    matches = MatchSerializer(many=True)
    indicators = serializers.SerializerMethodField()
    reasons = serializers.SerializerMethodField(help_text="why an indicator cannot be had")
    doubts = DoubtSerializer(many=True)
    facts = serializers.SerializerMethodField()
    note = serializers.SerializerMethodField()

    @extend_schema_field(serializers.DictField(child=IndicatorSerializer()))
    def get_indicators(self, diagnosis: Diagnosis) -> dict[str, Any]:
        """What engineering makes of the reading."""
        system = unit_system_of(self.context)
        return dict(shown_indicator(name, value, system) for name, value in diagnosis.indicators.items())

    @extend_schema_field(serializers.DictField(child=serializers.CharField()))
    def get_reasons(self, diagnosis: Diagnosis) -> dict[str, str]:
        """Why an indicator cannot be had."""
        return {name_without_unit(name): sentence for name, sentence in diagnosis.reasons.items()}

    @extend_schema_field(NamedValuesField())
    def get_facts(self, diagnosis: Diagnosis) -> dict[str, Any]:
        """Everything the rules were given."""
        system = unit_system_of(self.context)
        return {
            public_name(name): _shown_fact(name, value, system)
            for name, value in diagnosis.context.items()
            if value is not None and value != ""
        }

    def get_note(self, diagnosis: Diagnosis) -> str:
        """What an empty list does not mean."""
        return words.likely_causes()


def _shown_number(name: str, value: float | str, system: str) -> tuple[str, dict[str, Any]]:
    if isinstance(value, str):
        return name, {"value": value, "unit": ""}
    number = float(f"{float(value):.6g}")
    for suffix, kind in _OF_NUMBER:
        if name.endswith(suffix):
            return name_without_unit(name), shown(number, kind, system)
    return name, {"value": number, "unit": ""}


def _shown_fact(name: str, value: Any, system: str) -> dict[str, Any]:
    if isinstance(value, bool | str):
        return {"value": value, "unit": ""}
    field = _field_of(name)
    if isinstance(field, QuantityField):
        return shown(float(value), field.kind, system)
    return {"value": float(f"{float(value):.6g}"), "unit": ""}


class DiagnosisViewSet(QuantityViewSet):
    """What would a reading say of a unit? Nothing is stored."""

    resource = "diagnosis"
    queryset = Unit.objects.all()
    serializer_class = DiagnosisSerializer
    input_serializer_class = SuppositionSerializer
    # Nothing is done that a repetition could do twice.
    keeps_answers = False

    @extend_schema(request=SuppositionSerializer, responses={200: DiagnosisSerializer})
    def create(self, request: Request, *args: Any, **kwargs: Any) -> Response:
        """Diagnose a reading that is only supposed, of a stored unit or of facts that are given; nothing is stored."""
        facts = self.valid_input().validated_data
        diagnosis = what_if(
            reading=facts.get("reading", {}),
            facts=facts.get("facts", {}),
            unit=facts.get("unit"),
            by=self.by,
            now=self.now,
        )
        return Response(self.get_serializer(diagnosis).data)
