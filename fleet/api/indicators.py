"""What engineering makes of a reading."""

from typing import Any, Final

from drf_spectacular.utils import extend_schema_field
from rest_framework import serializers

from accounts.http.serializers import AnswerSerializer, FieldsByRole
from fleet.api.quantities import shown, unit_system_of
from fleet.engineering import units
from fleet.engineering.indicators.words import in_words
from fleet.models import ReadingIndicators

# The unit at the end of an indicator's name, and the kind it is shown as.
_KINDS: Final = (
    ("_l_per_day", units.FLOW),
    ("_mg_per_l", units.TDS),
    ("_kpa", units.PRESSURE),
    ("_degc", units.TEMPERATURE),
    ("_l", units.VOLUME),
)


# Shares of something, said in percent; the other bare numbers are parts or times.
_TIMES: Final = ("waste_ratio", "normalised_salt_passage_ratio", "creep_ratio")


class IndicatorSerializer(AnswerSerializer):
    """A derived value; the unit is empty for ratios and fractions."""

    value = serializers.FloatField()
    unit = serializers.CharField(allow_blank=True)
    uncertainty = serializers.FloatField(
        required=False, help_text="standard uncertainty from the meters, in the same unit; twice it covers about 95 %"
    )
    installer_sentence = serializers.CharField()
    client_sentence = serializers.CharField()


class IndicatorsSerializer(FieldsByRole, serializers.ModelSerializer[ReadingIndicators]):
    """Rejection, recovery, driving pressure, normalised flow and the like; a missing one says why."""

    values = serializers.SerializerMethodField()
    reasons = serializers.SerializerMethodField()

    class Meta:
        model = ReadingIndicators
        fields = ["values", "reasons", "valid_for_trend", "computed_at"]
        read_only_fields = fields

    @extend_schema_field(serializers.DictField(child=serializers.CharField()))
    def get_reasons(self, indicators: ReadingIndicators) -> dict[str, str]:
        """Why an indicator cannot be had, its name without the unit."""
        return {name_without_unit(name): sentence for name, sentence in indicators.reasons.items()}

    @extend_schema_field(serializers.DictField(child=IndicatorSerializer()))
    def get_values(self, indicators: ReadingIndicators) -> dict[str, Any]:
        """Every indicator in the caller's system, its name without the unit."""
        system = unit_system_of(self.context)
        uncertainties = indicators.uncertainties
        rows = (
            shown_indicator(name, value, system, uncertainties.get(name)) for name, value in indicators.values.items()
        )
        serializer = IndicatorSerializer(context=self.context)
        return {name: {field: row[field] for field in row if field not in serializer.hidden} for name, row in rows}


def shown_indicator(
    name: str, value: float, system: str, uncertainty: float | None = None
) -> tuple[str, dict[str, Any]]:
    """Public name of an indicator; its value in a system of units, how well it is known, and both in words."""
    kind = next((kind for suffix, kind in _KINDS if name.endswith(suffix)), None)
    if kind is None:
        answer: dict[str, Any] = {"value": value, "unit": ""}
        text = f"{value:.2g}" if name in _TIMES else f"{100.0 * abs(value):.3g} %"
    else:
        answer = shown(value, kind, system)
        text = f"{answer['value']:g} {answer['unit']}"
    if uncertainty is not None:
        scaled = uncertainty if kind is None else units.to_unit(uncertainty, answer["unit"], kind)
        answer["uncertainty"] = float(f"{scaled:.2g}")
    words = in_words(name, text)
    answer.update(installer_sentence=words.for_installer, client_sentence=words.for_client)
    return name_without_unit(name), answer


def name_without_unit(name: str) -> str:
    """Public name of a derived value, the unit of which stands beside it."""
    return next((name.removesuffix(suffix) for suffix, _ in _KINDS if name.endswith(suffix)), name)
