"""Query parameters of answers that are no lists of rows, read and refused as fields of a body are."""

from collections.abc import Iterator
from datetime import date
from typing import Any

from rest_framework import serializers

from accounts.http.faults import RequestFault, RequestInvalid
from accounts.http.serializers import StrictSerializer
from accounts.http.viewsets import TenantViewSet


class MonthField(serializers.RegexField):
    """A calendar month, such as 2026-03; read as its first day."""

    def __init__(self, **kwargs: Any) -> None:
        super().__init__(r"^(19|2\d)\d\d-(0[1-9]|1[0-2])\Z", **kwargs)
        self.error_messages["invalid"] = "Write a month as year and number, such as 2026-03."

    def run_validation(self, data: Any = serializers.empty) -> Any:
        """Check the text, and give the first day of the month."""
        text = super().run_validation(data)
        return date.fromisoformat(f"{text}-01") if text else None

    def to_representation(self, value: Any) -> str:
        return f"{value:%Y-%m}"


class ParametersSerializer(StrictSerializer):
    """Query parameters of one action."""

    @classmethod
    def names(cls) -> list[str]:
        """What can be asked."""
        return list(cls().fields)

    @classmethod
    def read(cls, view: TenantViewSet) -> dict[str, Any]:
        """Read and check the query of the view's request, but for its page; each fault names its parameter."""
        of_pages = getattr(view.paginator, "parameters", ())
        asked = {name: value for name, value in view.request.query_params.items() if name not in of_pages}
        serializer = cls(data=asked, context=view.get_serializer_context())
        if not serializer.is_valid():
            raise RequestInvalid(list(_faults(serializer.errors)))
        return dict(serializer.validated_data)


def _faults(errors: Any) -> Iterator[RequestFault]:
    for name, sentences in errors.items():
        for sentence in sentences:
            yield RequestFault("parameter", name, f"{name}: {sentence}")
