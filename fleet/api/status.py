"""A unit as its client sees it."""

from rest_framework import serializers

from accounts.http.fields import DayOrMomentField
from accounts.http.serializers import AnswerSerializer
from fleet.api.quantities import QuantityField
from fleet.engineering.nomenclature import without_unit
from fleet.engineering.units import TDS
from fleet.models import Position, Stage
from fleet.services.status import JUDGED


class ChangeSerializer(AnswerSerializer):
    """What is expected to be changed next; an estimate."""

    position = serializers.IntegerField(source="position_id")
    stage = serializers.ChoiceField(choices=Stage.choices)
    role = serializers.ChoiceField(choices=Position.Role.choices)
    on = serializers.DateField(help_text="the median date")
    from_day = serializers.DateField(allow_null=True, help_text="by this day with a probability of 10 %")
    to_day = serializers.DateField(allow_null=True, help_text="by this day with a probability of 90 %")
    sentence = serializers.CharField()


class StatusSerializer(AnswerSerializer):
    """Is my water good now, and what happens next?"""

    unit = serializers.IntegerField(source="unit_id")
    water = serializers.ChoiceField(
        choices=[("good", "within the limit"), ("not_good", "outside the limit"), ("unknown", "not known")]
    )
    sentence = serializers.CharField()
    read_at = DayOrMomentField(allow_null=True)
    measured = serializers.ChoiceField(
        choices=[without_unit(name) for name in JUDGED], help_text="the quantity the verdict rests on"
    )
    value = QuantityField(TDS, source="value_mg_per_l", allow_null=True)
    limit = QuantityField(TDS, source="limit_mg_per_l")
    next_change = ChangeSerializer(allow_null=True)
    please_read = serializers.CharField(
        help_text="what the client is asked to read, or to look for without a meter, and to send as a reading of the "
        "unit; empty where nothing is"
    )
    asks = serializers.ListField(
        child=serializers.CharField(), help_text="names of those quantities, and of those `observations`"
    )
    findings = serializers.ListField(child=serializers.CharField())
    cautions = serializers.ListField(child=serializers.CharField())
