"""The body of moves that need no more than a remark."""

from typing import Any

from rest_framework import serializers

from accounts.http.serializers import StrictSerializer
from accounts.http.viewsets import TenantViewSet


class SentSerializer(StrictSerializer):
    """A body that a custom action reads."""

    @classmethod
    def read(cls, view: TenantViewSet) -> dict[str, Any]:
        """Read and check the body of the view's request."""
        serializer = cls(data=view.request.data, context=view.get_serializer_context())
        serializer.is_valid(raise_exception=True)
        return dict(serializer.validated_data)


class NoteSerializer(SentSerializer):
    """A remark, kept with what is done."""

    note = serializers.CharField(max_length=1000, required=False, allow_blank=True, default="")
