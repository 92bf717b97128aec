"""Cells of a file under known columns become rows; numbers that are none become faults."""

from collections.abc import Sequence

from fleet.intake.cells import CellError, number_digits
from fleet.intake.columns import Column
from fleet.intake.rows import Row, Sent
from fleet.intake.tables import TextTable


def read_rows(table: TextTable, columns: Sequence[Column]) -> list[Row]:
    """Make rows of the cells; numbers that are none become faults."""
    width = len(table.headers)
    rows = []
    for line, cells in table.rows:
        row = Row(line=line, raw=cells_by_header(table, cells))
        rows.append(row)
        if table.is_too_wide(cells):
            row.refuse(
                "row",
                "too_many_cells",
                f"The row has {len(cells)} cells, the header {width}; quote a text that holds a separator, and write a "
                "point for decimals where commas separate.",
            )
            continue
        for column in columns:
            text = cells[column.index] if column.index < len(cells) else ""
            if not text:
                continue
            row.labels[column.name] = column.header
            if not column.is_quantity:
                row.words[column.name] = text
                continue
            try:
                row.sent[column.name] = Sent(number_digits(text, decimal_comma=table.decimal_comma), column.unit)
            except CellError as error:
                row.refuse(column.name, "not_a_number", str(error))
    return rows


def cells_by_header(table: TextTable, cells: Sequence[str]) -> dict[str, str]:
    """The row by header; cells beyond the header by their place."""
    cell_of = {}
    for index, cell in enumerate(cells):
        header = table.headers[index] if index < len(table.headers) and table.headers[index] else f"column {index + 1}"
        if cell:
            cell_of[header] = cell
    return cell_of
