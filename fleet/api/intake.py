"""What came in as files and lists, and what of it was refused."""

from typing import Any, Final

from django.core.files.uploadedfile import UploadedFile
from django.http import HttpResponse
from drf_spectacular.types import OpenApiTypes
from drf_spectacular.utils import extend_schema, extend_schema_field
from rest_framework import serializers
from rest_framework.decorators import action
from rest_framework.renderers import JSONRenderer
from rest_framework.request import Request
from rest_framework.response import Response

from accounts.csv_rows import MEDIA_TYPE as CSV_MEDIA_TYPE
from accounts.errors import InvalidInput
from accounts.http.parsers import FileParser
from accounts.http.renderers import CSVRenderer, inline_file
from accounts.http.serializers import AnswerSerializer, TenantModelSerializer
from accounts.http.viewsets import ListMixin, ReadOnlyViewSet
from accounts.jobs.api import ANY_JSON, accepted
from fleet.intake.logs import Log
from fleet.intake.refusals import refused_csv
from fleet.intake.tables import MOST_BYTES, MOST_BYTES_IN_PIECES
from fleet.intake.uploads import start_upload
from fleet.models import FeedWaterSample, IntakeBatch, Reading, RefusedRow

SHOWN_ROWS = 200

BESIDE_A_LOG: Final = 1_000_000
"""Bytes of a form beside its log: boundaries, and fields that nothing reads."""


class FileSerializer(serializers.Serializer[Any]):
    """A log file."""

    file = serializers.FileField(help_text="CSV separated by commas, semicolons or tabs; the headers carry the unit")


class RowFaultSerializer(AnswerSerializer):
    """One reason why a row was refused."""

    field = serializers.CharField()
    code = serializers.CharField()
    sentence = serializers.CharField(help_text="what was wrong, and what would be right")


@extend_schema_field({"type": "object", "additionalProperties": ANY_JSON, "description": "the row as it came"})
class RowField(serializers.JSONField):
    """A row as it came."""


class RefusedRowSerializer(TenantModelSerializer):
    """A row that was not stored, and every reason."""

    row = RowField(read_only=True)
    faults = RowFaultSerializer(many=True, read_only=True)

    class Meta:
        model = RefusedRow
        fields = ["id", "batch", "line", "row", "faults"]
        read_only_fields = fields


class FlaggedRowSerializer(AnswerSerializer):
    """A row that was stored although something about it looks doubtful."""

    id = serializers.IntegerField(help_text="of the stored reading or sample")
    line = serializers.IntegerField(allow_null=True)
    flags = RowFaultSerializer(many=True)


class IntakeBatchSerializer(TenantModelSerializer):
    """One log file or list with its counts, and the first 200 rows that were refused and that look doubtful."""

    refused_rows = serializers.SerializerMethodField()
    flagged_rows = serializers.SerializerMethodField()

    class Meta:
        model = IntakeBatch
        fields = [
            "id",
            "kind",
            "name",
            "digest",
            "received_at",
            "rows",
            "stored",
            "flagged",
            "duplicates",
            "refused",
            "job",
            "refused_rows",
            "flagged_rows",
        ]
        read_only_fields = fields

    @extend_schema_field(RefusedRowSerializer(many=True))
    def get_refused_rows(self, batch: IntakeBatch) -> Any:
        """The first refused rows, by line."""
        if not batch.refused:
            return []
        return RefusedRowSerializer(
            batch.refused_rows.order_by("line", "pk")[:SHOWN_ROWS], many=True, context=self.context
        ).data

    @extend_schema_field(FlaggedRowSerializer(many=True))
    def get_flagged_rows(self, batch: IntakeBatch) -> Any:
        """The first rows that look doubtful, by line."""
        if not batch.flagged:
            return []
        model = Reading if batch.kind == IntakeBatch.Kind.READINGS else FeedWaterSample
        rows = model.objects.filter(batch=batch).exclude(flags=[]).order_by("line", "pk")[:SHOWN_ROWS]
        return FlaggedRowSerializer(rows, many=True, context=self.context).data


class IntakeBatchListSerializer(TenantModelSerializer):
    """One log file or list with its counts."""

    class Meta:
        model = IntakeBatch
        fields = [name for name in IntakeBatchSerializer.Meta.fields if not name.endswith("_rows")]
        read_only_fields = fields


class IntakeBatchViewSet(ReadOnlyViewSet):
    """What came in as files and lists."""

    resource = "intake_batch"
    queryset = IntakeBatch.objects.all()
    serializer_class = IntakeBatchSerializer
    filterset_fields = {"kind": ["exact"], "digest": ["exact"], "received_at": ["gte", "lt"], "refused": ["gte"]}
    ordering_fields = ["received_at", "rows", "refused"]

    def get_serializer_class(self) -> Any:
        """A list shows the counts only."""
        return IntakeBatchListSerializer if self.action == "list" else IntakeBatchSerializer

    @extend_schema(responses={(200, CSV_MEDIA_TYPE): OpenApiTypes.STR})
    @action(detail=True, methods=["get"], renderer_classes=[CSVRenderer, JSONRenderer])
    def csv(self, request: Request, pk: str) -> HttpResponse:
        """Give every refused row as CSV: its line, what was wrong and would be right, and the row as it came."""
        batch = self.get_object()
        return inline_file(refused_csv(batch), CSV_MEDIA_TYPE, f"refused-{batch.pk}.csv")


class RefusedRowViewSet(ListMixin):
    """Every refused row, with its reasons."""

    resource = "refused_row"
    queryset = RefusedRow.objects.select_related("batch")
    serializer_class = RefusedRowSerializer
    filterset_fields = {"batch": ["exact"], "batch__kind": ["exact"], "line": ["exact"]}
    ordering_fields = ["batch", "line"]


class LogParser(FileParser):
    """A form with a log, which may be longer than a file that is read at once."""

    @property
    def most_bytes(self) -> int:
        """The longest log, and a little for the fields beside it."""
        return MOST_BYTES_IN_PIECES + BESIDE_A_LOG


def uploaded_file(request: Request) -> UploadedFile:
    """The uploaded file.

    Raises
    ------
    InvalidInput
        When there is none.
    """
    data = request.data
    file = data.get("file") if hasattr(data, "get") else None
    if not isinstance(file, UploadedFile):
        raise InvalidInput("no_file", "Send the file as multipart/form-data in the field 'file'.", pointer="/file")
    return file


def uploaded(request: Request) -> tuple[str, bytes]:
    """Name and content of an uploaded file that is read at once.

    Raises
    ------
    InvalidInput
        When there is none, or it is larger than is read at once.
    """
    file = uploaded_file(request)
    if (file.size or 0) > MOST_BYTES:
        raise InvalidInput(
            "file_too_large", f"The file has {file.size} bytes; at most {MOST_BYTES} are read at once.", pointer="/file"
        )
    return file.name or "", file.read()


def take_upload(view: Any, request: Request, log: Log) -> Response:
    """Take a log in, and answer with the job that reads it."""
    job = start_upload(log=log, company=view.by.company, by=view.by, file=uploaded_file(request), now=view.now)
    return accepted(job, view)
