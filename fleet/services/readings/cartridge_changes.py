"""Which cartridge a reading saw: the one that stands there now, or the one that was changed on that visit."""

from collections.abc import Iterable, Sequence
from datetime import datetime
from typing import Any, Final

from fleet.engineering.constants import SECONDS_PER_DAY
from fleet.engineering.usual import SAME_VISIT_DAYS
from fleet.models import Placement, Position, Reading, Unit

LAST_ROLES: Final = (Position.Role.LAG, Position.Role.SINGLE)
"""What leaves a stage has passed the cartridge in one of these roles last."""


def saw_before(day: float, occasion: str, placed_day: Any) -> Any:
    """Whether a reading was taken before a cartridge was placed, so that it says nothing of it.

    A reading as found belongs to what stood before the work of that visit and one as left to what stands after it,
    whichever of the two was written down first. Any other counts from the moment after the change.

    Parameters
    ----------
    day
        When it was read, days since 1970-01-01 UTC.
    occasion
        `Reading.Occasion`.
    placed_day
        When the cartridge was placed, a number or an array of them.

    Examples
    --------
    >>> saw_before(100.0, "routine", 100.2), saw_before(100.3, "routine", 100.2)
    (True, False)
    >>> saw_before(100.3, "as_found", 100.2), saw_before(100.1, "as_left", 100.2)
    (True, False)
    """
    if occasion == Reading.Occasion.AS_FOUND:
        return placed_day > day - SAME_VISIT_DAYS
    if occasion == Reading.Occasion.AS_LEFT:
        return placed_day > day + SAME_VISIT_DAYS
    return placed_day >= day


def last_changed(unit: Unit, stage: str) -> datetime | None:
    """When the cartridge that water passes last at a stage was placed; None where none stands."""
    rows = Placement.objects.filter(
        position__unit=unit, position__stage=stage, position__role__in=LAST_ROLES, removed_at__isnull=True
    )
    return rows.order_by("-placed_at").values_list("placed_at", flat=True).first()


def of_present_cartridge(readings: Iterable[Reading], placed_at: datetime | None) -> Sequence[Reading]:
    """Those of some readings that saw the cartridge placed at a moment; all of them where none stands."""
    if placed_at is None:
        return list(readings)
    placed = placed_at.timestamp() / SECONDS_PER_DAY
    return [row for row in readings if not saw_before(row.taken_at.timestamp() / SECONDS_PER_DAY, row.occasion, placed)]
