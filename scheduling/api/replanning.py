"""What has gone wrong with a plan, as it is told; and what a plan changes, as it is answered."""

from typing import Any

from rest_framework import serializers

from accounts.http.fields import FiniteFloatField, MomentField, TenantRelatedField
from accounts.http.serializers import StrictSerializer
from fleet.models import Position, Unit
from scheduling.api.notes import SentSerializer
from scheduling.models import Installer, Need, Visit
from scheduling.planning.rounds import DifferenceKind
from scheduling.services.rounds.replanning import Happened, InstallerIsOut, UrgentCall, VisitIsOff, VisitOverruns

DIFFERENCES = [(kind.value, kind.value) for kind in DifferenceKind]
DISTURBANCES = [
    (kind, kind.replace("_", " ")) for kind in ("installer_out", "overrun", "visit_cancelled", "urgent_call")
]


class InstallerOutSerializer(StrictSerializer):
    """An installer does not work."""

    installer = TenantRelatedField(queryset=Installer.objects.all())
    from_at = MomentField(required=False, allow_null=True, default=None, help_text="from when on; empty: from now on")
    through = serializers.DateField(
        required=False, allow_null=True, default=None, help_text="last day of it; empty: the day on which it begins"
    )


class OverrunSerializer(StrictSerializer):
    """The visit an installer is at takes longer."""

    visit = TenantRelatedField(queryset=Visit.objects.all())
    minutes = serializers.IntegerField(help_text="minutes beyond the end that the plan says, 1 to 720")


class VisitOffSerializer(StrictSerializer):
    """A client calls a visit off."""

    visit = TenantRelatedField(queryset=Visit.objects.all())
    note = serializers.CharField(max_length=1000, required=False, allow_blank=True, default="")


class UrgentCallSerializer(StrictSerializer):
    """A client needs somebody now; what is to be done becomes an urgent need of the unit."""

    unit = TenantRelatedField(queryset=Unit.objects.all())
    kind = serializers.ChoiceField(choices=Need.Kind.choices, required=False, default=Need.Kind.REPAIR.value)
    position = TenantRelatedField(
        queryset=Position.objects.all(),
        required=False,
        allow_null=True,
        default=None,
        help_text="id of the position, one of that unit's",
    )
    reason = serializers.CharField(max_length=1000)


class ReplanSerializer(SentSerializer):
    """What has happened since the plan was published; all empty: only what the records say by now."""

    installers_out = InstallerOutSerializer(many=True, required=False, default=list)
    overruns = OverrunSerializer(many=True, required=False, default=list)
    cancelled_visits = VisitOffSerializer(many=True, required=False, default=list)
    urgent_calls = UrgentCallSerializer(many=True, required=False, default=list)
    days = serializers.IntegerField(
        required=False,
        allow_null=True,
        default=None,
        help_text="planned again, today included, 1 to 7; empty: today and tomorrow, and on through the last day on "
        "which something of the plan does not fit what is known",
    )
    publish = serializers.BooleanField(
        required=False, default=False, help_text="installers drive by the answer at once; else it is a draft"
    )
    seconds = FiniteFloatField(
        required=False, allow_null=True, default=None, help_text="time to search, at most 60; instead of iterations"
    )
    iterations = serializers.IntegerField(
        required=False, allow_null=True, default=None, help_text="steps of the search, at most 20000"
    )
    seed = serializers.IntegerField(required=False, default=0, help_text="of the random choices")

    def validate(self, attrs: dict[str, Any]) -> dict[str, Any]:
        """Put what happened into the words of the service."""
        happened = Happened(
            installers_out=[InstallerIsOut(**row) for row in attrs.pop("installers_out")],
            overruns=[VisitOverruns(**row) for row in attrs.pop("overruns")],
            cancelled=[VisitIsOff(**row) for row in attrs.pop("cancelled_visits")],
            urgent=[UrgentCall(**row) for row in attrs.pop("urgent_calls")],
        )
        return {**attrs, "happened": happened}


class SlotSerializer(StrictSerializer):
    """Who comes, and when the work starts."""

    installer = serializers.IntegerField()
    starts_at = MomentField()


class DifferenceSerializer(StrictSerializer):
    """One visit that is not as in the published plan before."""

    visit = serializers.IntegerField()
    site_name = serializers.CharField()
    kind = serializers.ChoiceField(choices=DIFFERENCES, help_text="how its visit changed")
    sentence = serializers.CharField()
    before = SlotSerializer(allow_null=True)
    after = SlotSerializer(allow_null=True)
    tell_client = serializers.BooleanField()
    tell_installers = serializers.ListField(child=serializers.IntegerField())


class HappenedSerializer(StrictSerializer):
    """One thing that went wrong; of the fields those that belong to its kind."""

    kind = serializers.ChoiceField(choices=DISTURBANCES)
    installer = serializers.IntegerField(required=False)
    from_at = MomentField(required=False)
    through = serializers.DateField(required=False)
    visit = serializers.IntegerField(required=False)
    minutes = serializers.IntegerField(required=False)
    unit = serializers.IntegerField(required=False)
    need = serializers.IntegerField(required=False)
