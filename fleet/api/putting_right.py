"""What the answers and requests about corrections have in common."""

from typing import Any

from rest_framework import serializers

from accounts.http.serializers import StrictSerializer
from accounts.models import Membership


class ReasonSerializer(StrictSerializer):
    """Why something is taken back."""

    reason = serializers.CharField(max_length=300, help_text="what was wrong, for whoever reads the old one")


def read_body(view: Any, serializer_class: type[StrictSerializer]) -> dict[str, Any]:
    """Read the body of an action, or refuse it with every fault."""
    serializer = serializer_class(data=view.request.data, context=view.get_serializer_context())
    serializer.is_valid(raise_exception=True)
    return dict(serializer.validated_data)


def read_reason(view: Any) -> dict[str, Any]:
    """Read why something is taken back."""
    return read_body(view, ReasonSerializer)


def without_voided_for_clients(view: Any, rows: Any) -> Any:
    """Leave out what was taken back where a client reads: that is the company's own business."""
    by = getattr(view.request, "membership", None)
    return rows.filter(voided_at__isnull=True) if by is not None and by.role == Membership.Role.CLIENT else rows
