"""Places in the train of a unit."""

from typing import Any

from accounts.http.serializers import TenantModelSerializer
from accounts.http.viewsets import ReadWriteViewSet
from fleet.models import Position
from fleet.services.units import units


class PositionSerializer(TenantModelSerializer):
    """A place for one cartridge; `order` counts from the feed. A cartridge of another format is refused."""

    class Meta:
        model = Position
        fields = ["id", "unit", "order", "stage", "role", "cartridge_size", "connection", "flow_direction"]
        read_only_fields = ["id"]
        # Which places and roles can be is judged for the whole train.
        validators: list[Any] = []


class PositionViewSet(ReadWriteViewSet):
    """Places in the trains of units. One in which cartridges have stood keeps its stage and is not deleted."""

    resource = "position"
    company_first = True
    queryset = Position.objects.select_related("unit")
    serializer_class = PositionSerializer
    filterset_fields = {"unit": ["exact"], "unit__site": ["exact"], "stage": ["exact"], "role": ["exact"]}
    ordering_fields = ["unit", "order", "stage"]

    def perform_create(self, serializer: Any) -> Position:
        facts = {"role": Position.Role.SINGLE, **serializer.validated_data}
        return units.add_position(by=self.by, now=self.now, **facts)

    def perform_update(self, serializer: Any) -> Position:
        facts = {name: value for name, value in serializer.validated_data.items() if name != "unit"}
        return units.change_position(position=serializer.instance, by=self.by, now=self.now, **facts)

    def perform_destroy(self, instance: Position) -> None:
        units.delete_position(position=instance, by=self.by, now=self.now)
