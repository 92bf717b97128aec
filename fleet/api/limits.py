"""What the company counts as exhausted, where it is stricter than usual."""

from typing import Any, ClassVar

from rest_framework import serializers

from accounts.http.viewsets import ReadWriteViewSet
from fleet.api.quantities import QuantityModelSerializer, QuantityViewSet, shown, unit_system_of
from fleet.engineering.units import QUANTITY_KINDS
from fleet.intake.names import public_name
from fleet.models import ExhaustionLimits, Unit
from fleet.services import stated_limits

_KINDS = {
    "product_tds_mg_per_l": QUANTITY_KINDS["product_tds_mg_per_l"],
    "prefilter_differential_pressure_kpa": QUANTITY_KINDS["line_pressure_kpa"],
    "chlorine_mg_per_l": QUANTITY_KINDS["total_chlorine_mg_per_l"],
}
_FRACTIONS = ("minimum_rejection_fraction", "membrane_flow_fraction", "lead_carbon_fraction", "lead_resin_fraction")
_LIMITS = (*_KINDS, *_FRACTIONS, "carbon_maximum_service_time_days")


class ExhaustionLimitsSerializer(QuantityModelSerializer):
    """The limits of one use, or with an empty `use` of every use; null keeps the usual limit.

    Product TDS and rejection may differ between uses; the other limits hold for every use alike.
    """

    use = serializers.ChoiceField(choices=Unit.Use.choices, allow_blank=True, default="", help_text="empty: every use")

    class Meta:
        model = ExhaustionLimits
        fields = ["id", "use", *_FRACTIONS, "carbon_maximum_service_time_days"]
        read_only_fields = ["id"]
        quantities = _KINDS
        # `validate` says the whole range at once.
        extra_kwargs: ClassVar = {
            name: {"min_value": None, "max_value": None} for name in (*_FRACTIONS, "carbon_maximum_service_time_days")
        }
        validators: list[Any] = []

    def validate(self, attrs: dict[str, Any]) -> dict[str, Any]:
        """Refuse limits that are looser than usual, and those that cannot differ between uses."""
        use = attrs.get("use", getattr(self.instance, "use", ""))
        faults = {}
        for column in _LIMITS:
            value = attrs.get(column)
            if value is None:
                continue
            if use and column not in ExhaustionLimits.FOR_ANY_USE:
                faults[public_name(column)] = "This holds for every use alike; set it in the limits with an empty use."
                continue
            low, high = ExhaustionLimits.RANGES[column]
            if not low <= value <= high:
                between = self._range(low, high, column)
                faults[public_name(column)] = f"Limits only get stricter: it must be between {between}."
        rows = ExhaustionLimits.objects.of_company(self.acting_member.company).filter(use=use)
        if self.instance is not None:
            rows = rows.exclude(pk=self.instance.pk)
        if rows.exists():
            faults["use"] = "Limits for this use exist already; change those."
        if faults:
            raise serializers.ValidationError(faults)
        return attrs

    def _range(self, low: float, high: float, column: str) -> str:
        if column not in _KINDS:
            return f"{low:g} and {high:g}"
        ends = [shown(value, _KINDS[column], unit_system_of(self.context)) for value in (low, high)]
        return " and ".join(f"{end['value']:g} {end['unit']}" for end in ends)


class ExhaustionLimitsViewSet(QuantityViewSet, ReadWriteViewSet):
    """Stricter limits of exhaustion. Every unit they concern is judged and forecast by them anew."""

    resource = "exhaustion_limits"
    queryset = ExhaustionLimits.objects.all()
    serializer_class = ExhaustionLimitsSerializer
    filterset_fields = {"use": ["exact"]}
    ordering_fields = ["use"]

    def perform_create(self, serializer: Any) -> ExhaustionLimits:
        return stated_limits.create_limits(
            company=self.by.company, by=self.by, now=self.now, **serializer.validated_data
        )

    def perform_update(self, serializer: Any) -> ExhaustionLimits:
        return stated_limits.update_limits(
            limits=serializer.instance, by=self.by, now=self.now, **serializer.validated_data
        )

    def perform_destroy(self, instance: ExhaustionLimits) -> None:
        stated_limits.delete_limits(limits=instance, by=self.by, now=self.now)
