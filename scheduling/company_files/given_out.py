"""Rows of a log that this company was taken out with under names of ours: known again by their ids."""

import math
import re
from collections.abc import Sequence
from datetime import datetime, timedelta
from typing import Any, Final
from zoneinfo import ZoneInfo

from accounts.day_alone import known_day
from fleet.intake.rows import Row
from scheduling.company_files.rows import Bringing

OWN_NAME: Final = re.compile(r"^row-(\d{1,18})$")
_SAME_MOMENT: Final = timedelta(seconds=1)


def own_name(pk: int) -> str:
    """What a row without a reference of its sender is called where it is taken out and another refers to it."""
    return f"row-{pk}"


def known_again(rows: Sequence[Row], *, model: Any, owner: str, bringing: Bringing) -> list[Row]:
    """Rows that are stored here already under their ids; one with other values is refused, as rows are corrected.

    What a new row corrects by such a name becomes the id.

    Parameters
    ----------
    model, owner
        `Reading` or `FeedWaterSample`, and its foreign key: 'unit' or 'site'.
    """
    named = {
        name for row in rows for word in ("reference", "corrects") if OWN_NAME.match(name := row.words.get(word, ""))
    }
    stored_rows = model.objects.of_company(bringing.company)
    # Brought into another company, the name is the sender's own reference there.
    named -= set(stored_rows.filter(reference__in=named).values_list("reference", flat=True))
    ids = [int(name.partition("-")[2]) for name in named]
    place = "site" if owner == "site" else "unit__site"
    by_name = {own_name(row.pk): row for row in stored_rows.filter(pk__in=ids).select_related(place)}
    stored_before = []
    for row in rows:
        stored = by_name.get(row.words.get("reference", ""))
        if stored is not None and _is_about(row, stored, owner):
            if _says_the_same(row, stored, model):
                stored_before.append(row)
            else:
                sentence = "is stored with other values; send what is right as a new row, with this name in 'corrects'."
                row.refuse("reference", "other_values", f"'{row.words['reference']}' {sentence}")
            continue
        corrected = by_name.get(row.words.get("corrects", ""))
        if corrected is not None and getattr(corrected, owner).code.casefold() == row.words.get(owner, "").casefold():
            row.words["corrects"] = f"#{corrected.pk}"
    return stored_before


def _is_about(row: Row, stored: Any, owner: str) -> bool:
    if getattr(stored, owner).code.casefold() != row.words.get(owner, "").casefold() or row.faults:
        return False
    written, day = row.words.get("taken_at", ""), known_day(stored.taken_at)
    if day is not None:
        return written == day.isoformat()
    try:
        taken_at = datetime.fromisoformat(written)
    except ValueError:
        return False
    if taken_at.tzinfo is None:
        site = stored.site if owner == "site" else stored.unit.site
        taken_at = taken_at.replace(tzinfo=ZoneInfo(site.time_zone))
    return abs(taken_at - stored.taken_at) < _SAME_MOMENT


def _says_the_same(row: Row, stored: Any, model: Any) -> bool:
    values = {name: value for name in model.QUANTITIES if (value := getattr(stored, name)) is not None}
    sent = {name: float(value.digits) for name, value in row.sent.items() if name in model.QUANTITIES}
    return values.keys() == sent.keys() and all(
        math.isclose(sent[name], value, rel_tol=1e-9, abs_tol=1e-12) for name, value in values.items()
    )
