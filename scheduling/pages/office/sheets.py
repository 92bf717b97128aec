"""A company's sheets by upload: first a trial that is shown row by row, then the same files for good."""

from io import BytesIO
from typing import Any
from zipfile import ZIP_DEFLATED, ZipFile

from django.core.files.uploadedfile import InMemoryUploadedFile, UploadedFile
from django.http import HttpResponse

from accounts.language import gettext
from scheduling.api.imports import ImportViewSet
from scheduling.company_files.bring_in import ORDER
from scheduling.pages.office.base import OfficeForms


class SheetsPage(OfficeForms):
    """Files are dropped, looked at, and stored when they are right."""

    template_name = "scheduling/office/bring_in.html"
    part_names = {"outcome": "scheduling/office/parts/outcome.html"}
    rights = {"get": ("import", "create"), "post": ("import", "create")}
    actions = {"trial": ("import", "create"), "store": ("import", "create")}

    def page(self, *, status: int = 200, **context: Any) -> HttpResponse:
        return self.show(status=status, kinds=[sheet.name.replace("_", " ") for sheet in ORDER], **context)

    def do_trial(self, form: Any) -> HttpResponse:
        """Say what would become of the files; nothing is stored."""
        return self._read_sheets("false")

    def do_store(self, form: Any) -> HttpResponse:
        """Store what is right of the files."""
        return self._read_sheets("true")

    def _read_sheets(self, store: str) -> HttpResponse:
        files = self.request.FILES.getlist("file")
        # none: the interface says itself what is missing
        sent = {"file": _as_one(files)} if files else {}
        answer = self.ask(ImportViewSet, "create", data={"store": store}, files=sent)
        if not answer.is_good:
            return self.refused(answer)
        pages = [{**page, "shown": _shown(page["rows"])} for page in answer.data["pages"]]
        totals = {name: sum(page[name] for page in pages) for name in ("made", "changed", "left", "refused")}
        return self.page(outcome={**answer.data, "pages": pages}, totals=totals)


_OUTCOMES = ("refused", "changed", "made", "left")


def _shown(rows: list[dict[str, Any]]) -> list[dict[str, Any]]:
    """The rows that have something to say; what is made or left without a remark is only counted."""
    with_words = [row for row in rows if row["remarks"] or row["changes"] or row["outcome"] == "refused"]
    for row in with_words:
        at_cells = {f"{cell['column']}: {cell['remark']}" for cell in row["cells"]}
        row["of_the_row"] = [remark for remark in row["remarks"] if remark not in at_cells]
    return sorted(with_words, key=lambda row: (_OUTCOMES.index(row["outcome"]), row["line"]))


def _as_one(files: list[UploadedFile]) -> UploadedFile:
    """One file as it is; several as the archive that the interface takes."""
    if len(files) == 1:
        return files[0]
    packed = BytesIO()
    with ZipFile(packed, "w", ZIP_DEFLATED) as archive:
        for file in files:
            archive.writestr(file.name or gettext("file"), file.read())
    size = packed.tell()
    packed.seek(0)
    return InMemoryUploadedFile(packed, "file", "sheets.zip", "application/zip", size, None)
