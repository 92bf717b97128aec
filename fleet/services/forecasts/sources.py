"""What the forecast of each unit is made from, as a short mark: when the mark changes, the forecast is out of date.

The mark counts rows and takes the newest of them, so it sees what was added, corrected or taken away, at the price of
a few grouped queries for a whole company.
"""

from collections.abc import Sequence
from datetime import UTC, date, datetime, timedelta
from hashlib import blake2b
from typing import Any, Final

from django.db.models import Count, Max, Min, Q

from accounts.models import Company
from fleet.engineering.constants import SECONDS_PER_DAY
from fleet.models import FeedWaterSample, Forecast, Instrument, Placement, Position, Reading
from fleet.services.forecasts.tables import end_of_day, item_columns, unit_columns
from fleet.services.known import marks_of_limits
from fleet.services.limits import limits_of_units
from fleet.services.many_units import ids_to_name, of_units

OLDEST: Final = timedelta(days=35)
"""A forecast is made anew after this time even when nothing new is known: demand and season go on."""


def marks_of_units(company: Company, unit_ids: Sequence[int], day: date) -> dict[int, str]:
    """Unit id -> the mark of everything that its forecast on a day is made from."""
    known_by = datetime.fromtimestamp(end_of_day(company, day) * SECONDS_PER_DAY, tz=UTC)
    named = ids_to_name(company, unit_ids)

    def mine(rows: Any, path: str) -> Any:
        return of_units(rows.of_company(company) if named is None else rows, named, path)

    def grouped(rows: Any, key: str, **counts: Any) -> dict[int, tuple[Any, ...]]:
        values = rows.order_by().values(key).annotate(**counts).values_list(key, *counts)
        return {row[0]: row[1:] for row in values}

    readings = grouped(
        mine(Reading.objects.filter(taken_at__lte=known_by, voided_at__isnull=True), "unit_id"),
        "unit_id",
        number=Count("pk"),
        newest=Max("pk"),
    )
    placements = grouped(
        mine(Placement.objects.filter(placed_at__lte=known_by), "position__unit_id"),
        "position__unit_id",
        number=Count("pk"),
        newest=Max("pk"),
        first=Min("first_installed_at"),
        placed=Max("placed_at"),
        gone=Count("pk", filter=Q(removed_at__lte=known_by)),
        removed=Max("removed_at", filter=Q(removed_at__lte=known_by)),
    )
    positions = grouped(mine(Position.objects, "unit_id"), "unit_id", number=Count("pk"), newest=Max("pk"))
    meters = grouped(mine(Instrument.objects, "unit_id"), "unit_id", number=Count("pk"), finest=Min("resolution"))
    water = grouped(
        FeedWaterSample.objects.of_company(company).filter(taken_at__lte=known_by, voided_at__isnull=True),
        "site_id",
        number=Count("pk"),
        newest=Max("pk"),
    )
    items = item_columns(company)
    catalogue = _digest(tuple(zip(*items.values(), strict=True)))
    limits = marks_of_limits(limits_of_units(company, unit_ids))
    columns = unit_columns(company, unit_ids)
    rows = zip(*columns.values(), strict=True)
    marks = {}
    for unit_id, site_id, row in zip(columns["unit_id"], columns["site_id"], rows, strict=True):
        parts = [table.get(unit_id) for table in (readings, placements, positions, meters)]
        marks[unit_id] = _digest((catalogue, row, limits[unit_id], water.get(site_id), *parts))
    return marks


def out_of_date(company: Company, unit_ids: Sequence[int], day: date) -> dict[int, str]:
    """Units whose latest forecasts are not those of a day's knowledge -> their mark.

    A unit is out of date when its mark has changed or it has none, when a date that was thought likely has come
    (`p50`), or when its forecast is older than `OLDEST`.
    """
    marks = marks_of_units(company, unit_ids, day)
    # A row for each unit and not for each of its positions: a quiet night must cost little.
    rows = Forecast.objects.of_company(company).filter(is_latest=True, as_of__lte=day)
    likely = Q(state=Forecast.State.INSTALLED, p50__lte=day, as_of__lt=day)
    of_unit = (
        rows.order_by()
        .values("position__unit_id")
        .annotate(least=Min("made_from"), most=Max("made_from"), oldest=Min("as_of"), come=Count("pk", filter=likely))
    )
    fresh = {
        unit_id
        for unit_id, least, most, oldest, come in of_unit.values_list(
            "position__unit_id", "least", "most", "oldest", "come"
        )
        if least == most == marks.get(unit_id) and oldest > day - OLDEST and not come
    }
    return {unit_id: mark for unit_id, mark in marks.items() if unit_id not in fresh}


def _digest(value: Any) -> str:
    return blake2b(repr(value).encode(), digest_size=10).hexdigest()
