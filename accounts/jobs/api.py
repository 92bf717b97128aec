"""Long work that can be watched and stopped."""

from typing import Any

from django.urls import reverse
from drf_spectacular.utils import extend_schema, extend_schema_field
from rest_framework import serializers
from rest_framework.decorators import action
from rest_framework.request import Request
from rest_framework.response import Response

from accounts.http.serializers import AnswerSerializer, TenantModelSerializer
from accounts.http.viewsets import ReadOnlyViewSet
from accounts.jobs import claims
from accounts.jobs.models import Job

# A value of any kind; what stands in it depends on what was sent or done.
# Generators of clients want to know what is in an array, however deep: in one within arrays, no further array.
_SCALARS = ["number", "string", "boolean", "object", "null"]
_DEEPEST = {"type": [*_SCALARS, "array"], "items": {"type": _SCALARS}}
_INSIDE = {"type": [*_SCALARS, "array"], "items": _DEEPEST}
ANY_JSON = {
    "oneOf": [
        {"type": ["number", "string", "boolean", "null"]},
        {"type": "array", "items": _INSIDE},
        {"type": "object", "additionalProperties": _INSIDE},
    ]
}

_OBJECT = {"type": "object", "additionalProperties": ANY_JSON}


@extend_schema_field(_OBJECT)
class ObjectField(serializers.JSONField):
    """An object whose keys depend on the kind of job."""


class JobProblemSerializer(AnswerSerializer):
    """Why a job failed."""

    code = serializers.CharField()
    sentence = serializers.CharField()


class JobSerializer(TenantModelSerializer):
    """A piece of long work: how far it is, what it is doing, how it ended."""

    parameters = ObjectField(read_only=True)
    result = ObjectField(read_only=True, allow_null=True)
    problem = JobProblemSerializer(read_only=True, allow_null=True)

    class Meta:
        model = Job
        fields = [
            "id",
            "kind",
            "parameters",
            "state",
            "share_done",
            "doing",
            "result",
            "problem",
            "stop_requested",
            "created_at",
            "started_at",
            "finished_at",
        ]
        read_only_fields = fields


class JobViewSet(ReadOnlyViewSet):
    """Long work of the company. Ask again until `state` is done, failed or stopped."""

    resource = "job"
    queryset = Job.objects.all()
    serializer_class = JobSerializer
    filterset_fields = {"kind": ["exact"], "state": ["exact"], "created_at": ["gte", "lt"]}
    ordering_fields = ["created_at", "finished_at"]

    @extend_schema(request=None, responses=JobSerializer)
    @action(detail=True, methods=["post"])
    def stop(self, request: Request, pk: str) -> Response:
        """Ask a job to stop; it ends at its next report."""
        return self.answer(claims.stop_job(job=self.get_object(), by=self.by, now=self.now))


def accepted(job: Job, view: Any) -> Response:
    """Answer with a job that has been started: 202, and where to watch it."""
    # Without a broker the work was done when the transaction ended, so the row has changed since it was made.
    job.refresh_from_db()
    data = JobSerializer(job, context=view.get_serializer_context()).data
    return Response(data, status=202, headers={"Location": reverse("job-detail", args=[job.pk])})
