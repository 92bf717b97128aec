"""Which readings are wanted first: what knowing them would save, and what they cost."""

from django.db.models import F
from drf_spectacular.utils import extend_schema_field
from rest_framework import serializers

from accounts.http.serializers import TenantModelSerializer
from accounts.http.viewsets import ReadOnlyViewSet
from fleet.engineering.observations import ASKED_WITHOUT_METER
from fleet.engineering.positions import position_name
from fleet.engineering.quantities import READING_QUANTITIES, names_of
from fleet.intake.names import public_name
from scheduling.models import Need

#: Public names of what can be read of a unit.
QUANTITIES = tuple(sorted(public_name(column) for column in names_of(READING_QUANTITIES)))
#: Whoever has no meter is asked for what can be seen.
READS = (*QUANTITIES, *ASKED_WITHOUT_METER)


class WantedReadingSerializer(TenantModelSerializer):
    """A reading of one unit, the best way to have it, and what that costs and saves."""

    unit_code = serializers.CharField(source="unit.code", read_only=True)
    position = serializers.PrimaryKeyRelatedField[Need](
        source="reading_of",
        read_only=True,
        allow_null=True,
        help_text="id of the position of which it tells most; null: all of the unit is to be read",
    )
    position_name = serializers.SerializerMethodField(help_text="such as 'lead resin'; empty without a position")
    reads = serializers.SerializerMethodField(
        help_text="names of what is to be read, or looked for where there is no meter"
    )
    reading_way = serializers.ChoiceField(choices=Need.ReadingWay.choices, read_only=True)
    saves = serializers.FloatField(
        source="reading_saves",
        read_only=True,
        help_text="money that is expected to be saved as the work is planned by the answer; of 'send' with the visit "
        "that is then not made",
    )
    price = serializers.FloatField(source="reading_price", read_only=True, help_text="money that having it costs")
    net = serializers.SerializerMethodField(help_text="saves less price; the list begins with the largest")

    class Meta:
        model = Need
        fields = [
            "id",
            "site",
            "unit",
            "unit_code",
            "position",
            "position_name",
            "reads",
            "reading_way",
            "saves",
            "price",
            "net",
            "reason",
            "created_at",
            "updated_at",
        ]
        read_only_fields = fields

    def get_position_name(self, need: Need) -> str:
        """What a practitioner calls the position."""
        position = need.reading_of
        return position_name(position.stage, position.role) if position is not None else ""

    def get_net(self, need: Need) -> float:
        """Money that is gained in the end."""
        return round(need.reading_saves - need.reading_price, 2)

    @extend_schema_field(serializers.ListField(child=serializers.ChoiceField(choices=READS)))
    def get_reads(self, need: Need) -> list[str]:
        """Public names of what is to be read."""
        return [public_name(str(column)) for column in need.reads]


class WantedReadingViewSet(ReadOnlyViewSet):
    """Readings that are wanted, the most worth first.

    A reading is wanted where knowing it before parts are replaced is expected to save more than it costs, and at units
    that were never read, whatever it saves. The client is asked where gauges fitted to the unit, or those the client
    has read before, show it; else it is read at the next visit; somebody is sent where that pays. The `id` is that of
    the need, which closes by itself when the reading comes or is not worth its price any more.
    """

    resource = "wanted_reading"
    queryset = (
        Need.objects.filter(state=Need.State.OPEN)
        .exclude(reading_way="")
        .annotate(net=F("reading_saves") - F("reading_price"))
        .select_related("unit", "reading_of")
        .order_by("-net", "pk")
    )
    serializer_class = WantedReadingSerializer
    filterset_fields = {"site": ["exact"], "unit": ["exact"], "reading_way": ["exact"]}
    ordering_fields = ["created_at", "updated_at"]
