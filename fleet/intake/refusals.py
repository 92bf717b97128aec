"""The refused rows of a batch as a sheet: to be read, put right, and sent again."""

from accounts.csv_rows import csv_text
from accounts.language import gettext
from fleet.models import IntakeBatch


def refused_csv(batch: IntakeBatch) -> str:
    """Every refused row by its line, with its reasons, under the headers of what was sent."""
    refused = list(batch.refused_rows.order_by("line", "pk"))
    headers = list(dict.fromkeys(str(name) for row in refused for name in row.row))
    rows = (
        [
            row.line,
            " ".join(f"{fault['field']}: {fault['sentence']}" for fault in row.faults),
            *(row.row.get(name, "") for name in headers),
        ]
        for row in refused
    )
    return csv_text([gettext("line"), gettext("what was wrong, and what would be right"), *headers], rows)
