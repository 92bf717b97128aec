"""What each kind of problem means: the pages that the `type` of a problem points to."""

from typing import Any

from drf_spectacular.utils import extend_schema
from rest_framework import serializers
from rest_framework.exceptions import NotFound
from rest_framework.request import Request
from rest_framework.response import Response

from accounts.http.problems import KINDS
from accounts.http.views import PublicView


class ProblemKindSerializer(serializers.Serializer[Any]):
    """A kind of problem."""

    kind = serializers.CharField()
    status = serializers.IntegerField()
    meaning = serializers.CharField()


class ProblemKindsView(PublicView):
    """Every kind of problem an answer can be."""

    @extend_schema(responses=ProblemKindSerializer(many=True), operation_id="problems_list")
    def get(self, request: Request) -> Response:
        """Read what every type of problem means."""
        return Response([_kind(status) for status in KINDS])


class ProblemKindView(PublicView):
    """One kind of problem: the page its `type` points to."""

    @extend_schema(responses=ProblemKindSerializer, operation_id="problems_retrieve")
    def get(self, request: Request, kind: str) -> Response:
        """Read what one type of problem means."""
        for status, (name, _) in KINDS.items():
            if name == kind:
                return Response(_kind(status))
        raise NotFound("There is no such kind of problem; /api/v1/problems/ lists them.")


def _kind(status: int) -> dict[str, Any]:
    name, meaning = KINDS[status]
    return {"kind": name, "status": status, "meaning": meaning}
