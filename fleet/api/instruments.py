"""Meters and gauges."""

from typing import Any

from rest_framework import serializers

from accounts.http.retiring import RETIRED_FIELDS, RetireMixin
from accounts.http.serializers import TenantModelSerializer
from accounts.http.viewsets import ReadWriteViewSet
from fleet.intake.names import READING_COLUMNS, public_name
from fleet.models import Instrument
from fleet.services import instruments


class MeasuresField(serializers.ListField):
    """Names of reading quantities, kept as stored columns and shown as the API names them."""

    child = serializers.ChoiceField(choices=sorted(READING_COLUMNS))

    def to_internal_value(self, data: object) -> list[str]:
        """Stored columns of the names sent."""
        names = super().to_internal_value(data)  # type: ignore[arg-type]
        return [READING_COLUMNS[name] for name in dict.fromkeys(names)]

    def to_representation(self, data: list[str]) -> list[str]:
        """Names of the stored columns."""
        return [public_name(str(column)) for column in data or ()]


class InstrumentSerializer(TenantModelSerializer):
    """A meter or gauge: fitted to one unit, or carried in a van (no unit)."""

    measures = MeasuresField(required=False, max_length=len(READING_COLUMNS))

    class Meta:
        model = Instrument
        fields = [
            "id",
            "unit",
            "name",
            "measures",
            "tds_factor",
            "compensates_temperature",
            "accuracy_fraction",
            "resolution",
            *RETIRED_FIELDS,
        ]
        read_only_fields = ["id", *RETIRED_FIELDS]


class InstrumentViewSet(RetireMixin, ReadWriteViewSet):
    """Meters and gauges. The factor of a TDS meter, and whether it compensates temperature, decide what a reading
    means; put them right before readings come in. Accuracy and resolution may be put right later: how well the
    indicators of earlier readings are known is worked out again."""

    resource = "instrument"
    queryset = Instrument.objects.all()
    serializer_class = InstrumentSerializer
    filterset_fields = {"unit": ["exact", "isnull"], "name": ["icontains"]}
    ordering_fields = ["name"]

    def perform_create(self, serializer: Any) -> Instrument:
        return instruments.create_instrument(
            company=self.by.company, by=self.by, now=self.now, **serializer.validated_data
        )

    def perform_update(self, serializer: Any) -> Instrument:
        return instruments.update_instrument(
            instrument=serializer.instance, by=self.by, now=self.now, **serializer.validated_data
        )

    def perform_destroy(self, instance: Instrument) -> None:
        instruments.delete_instrument(instrument=instance, by=self.by, now=self.now)
