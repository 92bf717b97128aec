"""What the demo tells between its tables; spoken through `accounts.language`."""

from accounts.language import gettext, ngettext


def refused_rows(rows: int) -> str:
    """Heading over the rows of the logs that were refused."""
    words = ngettext(
        "Refused, {rows} row: correct it in the log and upload it again",
        "Refused, {rows} rows: correct them in the log and upload it again",
        rows,
    )
    return words.format(rows=rows)


def doubtful_rows(rows: int, units: int) -> str:
    """How many rows are kept and doubtful for one reason, and of how many units."""
    return gettext("{rows} of {units}").format(
        rows=ngettext("{count} row", "{count} rows", rows).format(count=rows),
        units=ngettext("{count} unit", "{count} units", units).format(count=units),
    )
