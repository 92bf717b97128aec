"""A company's sheets by upload: first as a trial, then for good."""

from typing import Any

from drf_spectacular.utils import extend_schema
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from accounts.http.parsers import FileParser
from accounts.http.serializers import AnswerSerializer, StrictSerializer
from accounts.http.viewsets import TenantViewSet
from fleet.api.intake import uploaded
from fleet.models import Unit
from scheduling.company_files.bring_in import ORDER, bring_in
from scheduling.company_files.outcome import Outcome
from scheduling.company_files.pages import files_of_upload

MOST_ROWS_ANSWERED = 1000
"""So many rows of a page are answered one by one, those with a remark before the others."""


class ImportSerializer(StrictSerializer):
    """Sheets to bring in: one .csv or .xlsx file, or a .zip archive of several."""

    file = serializers.FileField(
        help_text=f"named after what it holds, {', '.join(sheet.name for sheet in ORDER)}; or a workbook of such pages"
    )
    store = serializers.BooleanField(
        required=False, default=False, help_text="true: store the rows; else it is a trial that stores nothing"
    )


class FieldChangeSerializer(AnswerSerializer):
    """What a row changes of a record that is there."""

    field = serializers.CharField(help_text="the column as the file heads it, else the field")
    old = serializers.CharField(help_text="what stands there; empty: nothing")
    new = serializers.CharField(help_text="what the row says")


class CellRemarkSerializer(AnswerSerializer):
    """What is told of one cell of a row."""

    column = serializers.CharField(help_text="the column as the file heads it, else the field")
    written = serializers.CharField(help_text="what is written there; empty: nothing")
    remark = serializers.CharField(help_text="why it was not taken, or how it was understood")


class ImportedRowSerializer(AnswerSerializer):
    """What became of a row."""

    line = serializers.IntegerField(help_text="line of the file, the header being 1")
    name = serializers.CharField(help_text="what the row is called, where it says")
    outcome = serializers.ChoiceField(
        choices=[(outcome.value, outcome.value) for outcome in Outcome],
        help_text="what the row did, or in a trial would do",
    )
    remarks = serializers.ListField(
        child=serializers.CharField(), help_text="what was not taken of it and why, with what would be right"
    )
    changes = FieldChangeSerializer(many=True, help_text="field by field what it changes of a record that is there")
    cells = CellRemarkSerializer(many=True, help_text="those of the remarks that are about one cell, with its place")


class ImportedPageSerializer(AnswerSerializer):
    """What became of a file, or of a page of a workbook."""

    origin = serializers.CharField(help_text="the file, and the page")
    sheet = serializers.CharField(help_text="what it was read as; empty when nobody could tell")
    remarks = serializers.ListField(child=serializers.CharField(), help_text="what holds for the whole page")
    made = serializers.IntegerField(help_text="rows that are new")
    changed = serializers.IntegerField(help_text="rows that changed something")
    left = serializers.IntegerField(help_text="rows that said nothing new")
    refused = serializers.IntegerField(help_text="rows that could not be stored")
    rows = ImportedRowSerializer(many=True, help_text="rows with a remark first; 1000 of a page at most")


class ImportedSerializer(AnswerSerializer):
    """What became of everything that was sent."""

    is_trial = serializers.BooleanField(help_text="whether nothing was stored")
    troubles = serializers.DictField(child=serializers.CharField(), help_text="files that cannot be read: why")
    pages = ImportedPageSerializer(many=True, help_text="in the order in which they refer to one another")


class ImportViewSet(TenantViewSet):
    """The sheets in which a company keeps its clients, sites, units, cartridges, stock and readings."""

    resource = "import"
    queryset = Unit.objects.none()
    serializer_class = ImportedSerializer
    input_serializer_class = ImportSerializer
    parser_classes = [FileParser]
    # The same sheets again change nothing.
    keeps_answers = False

    @extend_schema(request={"multipart/form-data": ImportSerializer}, responses={200: ImportedSerializer})
    def create(self, request: Request, *args: Any, **kwargs: Any) -> Response:
        """Bring sheets in: a trial tells row by row what would be made, changed, left and refused; with `store` the
        rows are stored, each kind in one transaction. The same sheets again change nothing."""
        is_trial = not self.valid_input().validated_data["store"]
        files = files_of_upload(*uploaded(request))
        result = bring_in(by=self.by, files=files, now=self.now, is_trial=is_trial)
        pages = [
            {
                "origin": page.origin,
                "sheet": page.sheet,
                "remarks": page.remarks,
                **{outcome.value: page.count(outcome) for outcome in Outcome},
                "rows": sorted(page.rows, key=lambda row: (not (row.remarks or row.changes), row.line))[
                    :MOST_ROWS_ANSWERED
                ],
            }
            for page in result.pages
        ]
        answer = {"is_trial": result.is_trial, "troubles": result.troubles, "pages": pages}
        return Response(ImportedSerializer(answer, context=self.get_serializer_context()).data)
