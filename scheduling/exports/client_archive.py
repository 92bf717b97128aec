"""Everything that is stored of one client, packed as one ZIP archive."""

import json
import zipfile
from collections.abc import Iterable, Mapping, Sequence
from typing import IO, Any, Final

from django.core.serializers.json import DjangoJSONEncoder

from accounts.csv_rows import csv_text
from scheduling.exports import words

MEDIA_TYPE: Final = "application/zip"

Row = Mapping[str, Any]


def write_archive(
    target: IO[bytes], *, tables: Mapping[str, Sequence[Row]], pictures: Iterable[tuple[str, bytes]], title: str
) -> None:
    """Write an archive: each table as JSON and as CSV, pictures as they are, and a page that says what is where.

    Parameters
    ----------
    target
        Where the archive is written.
    tables
        Rows as the API answers them, by the name of the table.
    pictures
        Name of the file without its folder, and contents; read one at a time.
    title
        First line of the page.
    """
    with zipfile.ZipFile(target, "w", zipfile.ZIP_DEFLATED) as archive:
        counts = {}
        for name, rows in tables.items():
            counts[name] = len(rows)
            archive.writestr(f"{name}.json", json.dumps(rows, cls=DjangoJSONEncoder, ensure_ascii=False, indent=2))
            archive.writestr(f"{name}.csv", _csv_of(rows))
        picture_count = 0
        for name, content in pictures:
            picture_count += 1
            archive.writestr(zipfile.ZipInfo(f"pictures/{name}"), content)
        archive.writestr("README.txt", words.archive_page(title, counts, picture_count))


def _csv_of(rows: Sequence[Row]) -> str:
    """One line a row, one column a field; what is no single value stands as JSON in its cell."""
    columns = list(dict.fromkeys(name for row in rows for name in row))
    return csv_text(columns, ([_cell(row.get(name)) for name in columns] for row in rows))


def _cell(value: Any) -> str:
    if value is None:
        return ""
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, Mapping) and value.keys() == {"value", "unit"}:
        return "" if value["value"] is None else f"{value['value']} {value['unit']}".strip()
    if isinstance(value, Mapping | list | tuple):
        return json.dumps(value, cls=DjangoJSONEncoder, ensure_ascii=False) if value else ""
    return str(value)
