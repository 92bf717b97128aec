"""Days without an hour, which were kept at their noon, are days.

Of readings a flag said so. Of placements and samples nothing did: to be taken out as a day it was enough that the moment
was noon to the second, and that is what counts here too.
"""

from collections.abc import Callable
from datetime import date, datetime, time
from typing import Any
from zoneinfo import ZoneInfo

from django.db import migrations

AT_ONCE = 1000
OF_READINGS = "day_only"


def _day_at_noon(at: datetime | None, zone: str) -> date | None:
    local = at.astimezone(ZoneInfo(zone)) if at is not None else None
    return local.date() if local is not None and local.time() == time(12) else None


def _change(rows: Any, zone_of: str, columns: dict[str, str], day_of: Callable[[Any, str, str], date | None]) -> None:
    changed = []
    model, fields = rows.model, list(columns.values())
    for row in rows.select_related(zone_of.rpartition("__")[0]).order_by("pk").iterator(chunk_size=AT_ONCE):
        zone: Any = row
        for name in zone_of.split("__"):
            zone = getattr(zone, name)
        days = {column: day_of(row, name, zone) for name, column in columns.items()}
        if any(days.values()):
            for column, day in days.items():
                setattr(row, column, day)
            changed.append(row)
        if len(changed) >= AT_ONCE:
            model._base_manager.bulk_update(changed, fields)
            changed = []
    model._base_manager.bulk_update(changed, fields)


def forwards(apps: Any, schema_editor: Any) -> None:
    reading = apps.get_model("fleet", "Reading")
    flagged = []
    for row in reading.objects.exclude(flags=[]).select_related("unit__site").iterator(chunk_size=AT_ONCE):
        if any(flag.get("code") == OF_READINGS for flag in row.flags):
            row.taken_on = row.taken_at.astimezone(ZoneInfo(row.unit.site.time_zone)).date()
            row.flags = [flag for flag in row.flags if flag.get("code") != OF_READINGS]
            flagged.append(row)
    reading.objects.bulk_update(flagged, ["taken_on", "flags"], batch_size=AT_ONCE)

    def at_noon(row: Any, name: str, zone: str) -> date | None:
        return _day_at_noon(getattr(row, name), zone)

    sample = apps.get_model("fleet", "FeedWaterSample")
    _change(sample._base_manager.all(), "site__time_zone", {"taken_at": "taken_on"}, at_noon)
    placement = apps.get_model("fleet", "Placement")
    of_placements = {"placed_at": "placed_on", "removed_at": "removed_on", "first_installed_at": "first_installed_on"}
    _change(placement._base_manager.all(), "position__unit__company__time_zone", of_placements, at_noon)


class Migration(migrations.Migration):
    dependencies = [("fleet", "0036_days_without_an_hour")]

    operations = [migrations.RunPython(forwards, migrations.RunPython.noop)]
