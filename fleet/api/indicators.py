"""What engineering makes of a reading."""

from typing import Any, Final

from drf_spectacular.utils import extend_schema_field
from rest_framework import serializers

from fleet.api.quantities import shown, unit_system_of
from fleet.engineering import units
from fleet.models import ReadingIndicators

# The unit at the end of an indicator's name, and the kind it is shown as.
_KINDS: Final = (
    ("_l_per_day", units.FLOW),
    ("_mg_per_l", units.TDS),
    ("_kpa", units.PRESSURE),
    ("_degc", units.TEMPERATURE),
    ("_l", units.VOLUME),
)


class IndicatorSerializer(serializers.Serializer[Any]):
    """A derived value; the unit is empty for ratios and fractions."""

    value = serializers.FloatField()
    unit = serializers.CharField(allow_blank=True)


class IndicatorsSerializer(serializers.ModelSerializer[ReadingIndicators]):
    """Rejection, recovery, driving pressure, normalised flow and the like; a missing one says why."""

    values = serializers.SerializerMethodField()
    reasons = serializers.DictField(child=serializers.CharField(), read_only=True)

    class Meta:
        model = ReadingIndicators
        fields = ["values", "reasons", "valid_for_trend", "computed_at"]
        read_only_fields = fields

    @extend_schema_field(serializers.DictField(child=IndicatorSerializer()))
    def get_values(self, indicators: ReadingIndicators) -> dict[str, Any]:
        """Every indicator in the caller's system, its name without the unit."""
        system = unit_system_of(self.context)
        return dict(shown_indicator(name, value, system) for name, value in indicators.values.items())


def shown_indicator(name: str, value: float, system: str) -> tuple[str, dict[str, Any]]:
    """Public name and value of an indicator in a system of units."""
    for suffix, kind in _KINDS:
        if name.endswith(suffix):
            return name.removesuffix(suffix), shown(value, kind, system)
    return name, {"value": value, "unit": ""}
