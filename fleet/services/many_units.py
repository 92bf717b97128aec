"""How rows of many units are asked for: by the names of the units, or by the company they belong to."""

from collections.abc import Collection
from typing import Any, Final

from accounts.models import Company
from fleet.models import Unit

MOST_NAMED: Final = 2000
"""A longer list of ids is slower to look up than the company they belong to."""

_FEW: Final = 200
"""So many are named whatever the company has: its units need not be counted for them."""


def ids_to_name(company: Company, unit_ids: Collection[int]) -> list[int] | None:
    """The ids to name when rows of some units are asked for; None: rows of the whole company are had sooner.

    Whoever asks for those of the company gets rows of other units too, and leaves them alone.
    """
    if len(unit_ids) > MOST_NAMED:
        return None
    if len(unit_ids) > _FEW and 2 * len(unit_ids) > Unit.objects.of_company(company).count():
        return None
    return list(unit_ids)


def of_units(rows: Any, named: list[int] | None, path: str) -> Any:
    """Rows of a company, narrowed to the units named along a path such as 'position__unit_id'."""
    return rows if named is None else rows.filter(**{f"{path}__in": named})
