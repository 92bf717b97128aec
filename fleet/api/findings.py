"""What the readings say is wrong."""

from drf_spectacular.utils import extend_schema, extend_schema_field
from rest_framework import serializers
from rest_framework.decorators import action
from rest_framework.request import Request
from rest_framework.response import Response

from accounts.http.serializers import StrictSerializer, TenantModelSerializer
from accounts.http.viewsets import ReadOnlyViewSet
from accounts.language import gettext
from fleet.engineering.diagnosis import TITLES
from fleet.models import Finding
from fleet.services.findings.decisions import decide


@extend_schema_field({"type": "object", "additionalProperties": {"type": ["number", "string"]}})
class NumbersField(serializers.JSONField):
    """Values by name, the unit in the name."""


class FindingSerializer(TenantModelSerializer):
    """A pattern in the readings of a unit, its likely cause, and the check that would confirm it."""

    title = serializers.SerializerMethodField(help_text="what it is called in a list")
    numbers = NumbersField(read_only=True, help_text="the values it rests on, units in the names")

    class Meta:
        model = Finding
        fields = [
            "id",
            "unit",
            "position",
            "reading",
            "rule",
            "title",
            "cause",
            "state",
            "confidence",
            "numbers",
            "opened_at",
            "last_seen_at",
            "decided_at",
            "decision_note",
            "closed_at",
            "confirming_check",
            "action",
            "caution",
            "installer_sentence",
            "client_sentence",
        ]
        read_only_fields = fields

    def get_title(self, finding: Finding) -> str:
        """The title of its rule; a rule that is no more leaves its cause."""
        return gettext(TITLES.get(finding.rule, finding.cause.replace("_", " ")))


class DecisionSerializer(StrictSerializer):
    """A word on why."""

    note = serializers.CharField(max_length=2000, required=False, allow_blank=True, default="")


class FindingViewSet(ReadOnlyViewSet):
    """Findings open by themselves and close when the pattern is gone; a person confirms or dismisses them."""

    resource = "finding"
    queryset = Finding.objects.all()
    serializer_class = FindingSerializer
    filterset_fields = {
        "unit": ["exact"],
        "unit__site": ["exact"],
        "position": ["exact"],
        "state": ["exact", "in"],
        "cause": ["exact"],
        "rule": ["exact"],
        "confidence": ["gte"],
        "last_seen_at": ["gte", "lt"],
    }
    ordering_fields = ["last_seen_at", "opened_at", "confidence"]

    @extend_schema(request=DecisionSerializer, responses=FindingSerializer)
    @action(detail=True, methods=["post"])
    def confirm(self, request: Request, pk: str) -> Response:
        """Say that the finding is true. Where stored readings are wrong because of it, corrections are added."""
        return self._decide(Finding.State.CONFIRMED)

    @extend_schema(request=DecisionSerializer, responses=FindingSerializer)
    @action(detail=True, methods=["post"])
    def dismiss(self, request: Request, pk: str) -> Response:
        """Say that the finding is not true; it does not come back while the pattern lasts."""
        return self._decide(Finding.State.DISMISSED)

    def _decide(self, decision: str) -> Response:
        serializer = DecisionSerializer(data=self.request.data, context=self.get_serializer_context())
        serializer.is_valid(raise_exception=True)
        with self.transaction():
            finding = decide(
                finding=self.locked_object(), decision=decision, by=self.by, now=self.now, **serializer.validated_data
            )
            return self.answer(self.reread(finding))
