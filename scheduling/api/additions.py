"""Work that would be added to a confirmed visit, and the office's word on it."""

from rest_framework import serializers

from accounts.http.fields import MomentField, TenantRelatedField
from accounts.http.serializers import StrictSerializer, TenantModelSerializer
from scheduling.api.notes import NoteSerializer, SentSerializer
from scheduling.models import Need, VisitAddition


class ExtraPartSerializer(StrictSerializer):
    """Pieces that a visit takes along in addition."""

    item = serializers.IntegerField(help_text="id of the catalogue item")
    quantity = serializers.IntegerField()


class VisitAdditionSerializer(TenantModelSerializer):
    """A need that would cost less along with the confirmed visit than on one of its own."""

    kind = serializers.ChoiceField(choices=Need.Kind.choices, source="need.kind")
    label = serializers.CharField(source="need.label")  # type: ignore[assignment]
    unit = serializers.IntegerField(source="need.unit_id")
    unit_code = serializers.CharField(source="need.unit.code")
    position = serializers.IntegerField(source="need.position_id", allow_null=True)
    is_other_unit = serializers.SerializerMethodField(
        help_text="whether the client must give access to a unit that they were not told of"
    )
    minutes = serializers.IntegerField(help_text="how much longer the visit takes with it")
    parts = ExtraPartSerializer(many=True, read_only=True)
    reason = serializers.CharField(help_text="why on this visit, in money")
    created_at = MomentField(help_text="when it was proposed first")

    class Meta:
        model = VisitAddition
        fields = [
            "need",
            "kind",
            "label",
            "unit",
            "unit_code",
            "position",
            "is_other_unit",
            "minutes",
            "parts",
            "reason",
            "created_at",
        ]
        read_only_fields = fields

    def get_is_other_unit(self, addition: VisitAddition) -> bool:
        visit = addition.visit
        return addition.need.unit_id not in visit.units_known_to_client(task.need.unit_id for task in visit.tasks.all())


class AdditionsAcceptedSerializer(SentSerializer):
    """Which additions are accepted."""

    needs = TenantRelatedField(
        queryset=Need.objects.all(),
        many=True,
        required=False,
        help_text="ids of the needs; all that are proposed when left out",
    )
    outside_access_hours = serializers.BooleanField(
        required=False, default=False, help_text="the client keeps the site open beyond its hours for the longer visit"
    )


class AdditionsDeclinedSerializer(NoteSerializer):
    """Which additions are declined, and why."""

    needs = TenantRelatedField(
        queryset=Need.objects.all(),
        many=True,
        required=False,
        help_text="ids of the needs; all that are proposed when left out",
    )
