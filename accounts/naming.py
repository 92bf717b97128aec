"""One row by what people call it: its code or name, whatever its case, among the rows that the caller may see."""

import difflib
from typing import Any, Final

from accounts.tenancy import TenantQuerySet

_CLOSE: Final = 0.6
_MOST_COMPARED: Final = 2000
_MOST_SHOWN: Final = 5
_LONGEST: Final = 300


class NotNamedError(ValueError):
    """No row, or more than one, is called that; the message is the sentence for the sender."""


def row_named(rows: TenantQuerySet, text: str) -> Any:
    """Find the row that is called so.

    Parameters
    ----------
    rows
        What the caller may see of one model: what another company calls its rows is neither found nor suggested.
    text
        Code or name, in any case; of a position unit, stage and role, as 'S02-1/resin/lead'.

    Raises
    ------
    NotNamedError
        When the model has no codes, no row is called so, or several are; with the nearest that exists.
    """
    tidy = " ".join(text.split())
    condition = rows.model.named(tidy)
    kind = rows.model._meta.verbose_name
    if condition is None:
        raise NotNamedError(f"No text names the {kind}; give its id, a number.")
    if "\x00" in tidy or len(tidy) > _LONGEST:
        raise NotNamedError(f"There is no {kind} of such a name: '{tidy[:40]}'.".replace("\x00", ""))
    matches = rows_named(rows, tidy)
    exact = [row for row in matches if row.spoken_name == tidy]
    if len(exact) == 1 or len(matches) == 1:
        return (exact or matches)[0]
    if matches:
        shown = " or ".join(f"'{row.spoken_name}'" for row in matches[:_MOST_SHOWN])
        raise NotNamedError(f"'{tidy[:80]}' may be {shown}; write the one that is meant.")
    raise NotNamedError(f"There is no {kind} '{tidy[:80]}', or none you may see.{_hint(rows, tidy)}")


def rows_named(rows: TenantQuerySet, text: str) -> list[Any]:
    """Rows that are called so in any case, a few at most; none where only an id names a row."""
    condition = rows.model.named(text)
    if condition is None or "\x00" in text:
        return []
    matches = list(rows.filter(condition).order_by("pk")[: _MOST_SHOWN + 1])
    if matches or text.isascii() or rows.model.NAMED_BY is None:
        return matches
    # SQLite knows the case of plain letters alone: there 'CAFÉ' is not 'Café'.
    names = rows.order_by("pk").values_list("pk", rows.model.NAMED_BY)
    same = [pk for pk, name in names if str(name).casefold() == text.casefold()]
    return list(rows.filter(pk__in=same[: _MOST_SHOWN + 1]).order_by("pk"))


def _hint(rows: TenantQuerySet, text: str) -> str:
    """The nearest name there is."""
    # A large company is not read to comment on a slip.
    names = [row.spoken_name for row in rows.select_related().order_by("pk")[:_MOST_COMPARED]]
    folded = {name.casefold(): name for name in names}
    close = difflib.get_close_matches(text.casefold(), list(folded), n=1, cutoff=_CLOSE)
    return f" Did you mean '{folded[close[0]]}'?" if close else ""
