"""Forecasts of every position of a company, stored as of the company's day."""

from collections import Counter
from collections.abc import Callable, Iterable, Mapping, Sequence
from datetime import date, datetime
from typing import Any, Final
from zoneinfo import ZoneInfo

from django.db import transaction

from accounts.models import Company, Membership
from fleet.forecasting.forecast import forecast
from fleet.forecasting.policy import Policy
from fleet.models import Forecast, Job, Position
from fleet.services import jobs
from fleet.services.fleet_tables import company_day, end_of_day, load_fleet, standing_units
from fleet.services.forecast_rows import forecast_rows

BLOCK_UNITS: Final = 400
"""Units that are forecast together. A forecast learns from the units beside it, so blocks are large, and the same units
form the same blocks in every run; a company of less is one block."""

JOB_KIND: Final = "forecasts"

Progress = Callable[[float, str], object]

_AT_ONCE: Final = 500
"""Rows written in one statement."""

_FIELDS: Final = (
    "placement_id",
    "state",
    "date_grid",
    "p05",
    "p10",
    "p25",
    "p50",
    "p75",
    "p90",
    "p95",
    "remaining_share",
    "daily_load",
    "daily_load_unit",
    "driver",
    "evidence",
    "installer_sentence",
    "client_sentence",
)


def forecast_company(
    *,
    company: Company,
    now: datetime,
    units: Iterable[int] | None = None,
    policy: Policy | None = None,
    progress: Progress | None = None,
) -> dict[str, int]:
    """Forecast a company's positions and store what changed; a second run on the same day and data changes nothing.

    Parameters
    ----------
    now
        The clock; forecasts are as of the company's day at this moment and know everything read that day.
    units
        Ids of the units whose forecasts to store; all when None. Units beside them are read all the same, since
        forecasts learn from them.
    progress
        Called with the share done and what is being done.

    Returns
    -------
    dict
        Counts: units, positions, created, changed, unchanged, unusable (records that had to be left out).
    """
    day = company_day(company, now)
    wanted = None if units is None else set(units)
    blocks = [block for block in unit_blocks(company, day) if wanted is None or not wanted.isdisjoint(block)]
    if wanted is None:
        _retire(company, day)
    counts: Counter[str] = Counter(units=0, positions=0, created=0, changed=0, unchanged=0, unusable=0)
    for number, block in enumerate(blocks):
        if progress is not None:
            progress(number / len(blocks), f"forecasting units {number * BLOCK_UNITS + 1} and following")
        counts.update(_forecast_block(company, block, wanted, day=day, now=now, policy=policy))
    if progress is not None:
        progress(1.0, "forecasts stored")
    return dict(counts)


def start_forecast_job(*, company: Company, by: Membership | None, now: datetime) -> Job:
    """Start the job that forecasts a company, a chunk for each block of units."""
    blocks = unit_blocks(company, company_day(company, now))
    chunks = [{"first_unit": block[0], "units": block} for block in blocks]
    return jobs.start_job(company=company, by=by, kind=JOB_KIND, chunks=chunks, now=now)


def forecast_chunk(work: jobs.Work) -> Mapping[str, Any]:
    """Do one chunk of the job."""
    return forecast_company(
        company=work.company, now=work.now, units=[int(pk) for pk in work.payload["units"]], progress=work.progress
    )


def unit_blocks(company: Company, day: date) -> list[list[int]]:
    """The units in service on a day, in the blocks in which they are forecast."""
    ids = standing_units(company, day)
    return [ids[start : start + BLOCK_UNITS] for start in range(0, len(ids), BLOCK_UNITS)]


def _retire(company: Company, day: date) -> None:
    """A unit that is gone has no forecast any more; its old ones are history."""
    Forecast.objects.filter(
        pk__in=Forecast.objects.of_company(company)
        .filter(is_latest=True, as_of__lte=day, position__unit__retired_on__lt=day)
        .values("pk")
    ).update(is_latest=False)


def _forecast_block(
    company: Company,
    block: Sequence[int],
    wanted: set[int] | None,
    *,
    day: date,
    now: datetime,
    policy: Policy | None,
) -> dict[str, int]:
    policy = policy or Policy()
    loaded = load_fleet(company=company, unit_ids=block, as_of_day=end_of_day(company, day))
    answer = forecast(loaded.fleet, policy=policy)
    rows = forecast_rows(loaded, answer, wanted=wanted, zone=ZoneInfo(company.time_zone), policy=policy)
    stored = _store(company, rows, day=day, now=now)
    units = len(loaded.fleet.units) if wanted is None else len(wanted.intersection(block))
    return {"units": units, "positions": len(rows), "unusable": len(loaded.faults), **stored}


def _store(company: Company, rows: Mapping[int, Mapping[str, Any]], *, day: date, now: datetime) -> dict[str, int]:
    """Write what differs from the stored forecasts of the day, and move the mark of the latest one."""
    position_ids = sorted(rows)
    with transaction.atomic():
        # The lock makes two runs for the same positions follow one another, also when there is no forecast to lock yet.
        lock = Position.objects.filter(pk__in=position_ids).order_by("pk").select_for_update(no_key=True)
        list(lock.values_list("pk"))
        mine = Forecast.objects.of_company(company).filter(position_id__in=position_ids)
        latest = dict(mine.filter(is_latest=True).values_list("position_id", "as_of"))
        today = mine.filter(as_of=day).values("position_id", *_FIELDS)
        stored = {row["position_id"]: row for row in today}
        created, changed, written = 0, 0, []
        for position_id in position_ids:
            fields = rows[position_id]
            row = stored.get(position_id)
            if row is not None and all(row[name] == fields[name] for name in _FIELDS):
                continue
            created, changed = created + (row is None), changed + (row is not None)
            # An older day forecast again must not displace a newer one.
            is_latest = latest.get(position_id, day) <= day
            written.append(Forecast(position_id=position_id, as_of=day, computed_at=now, is_latest=is_latest, **fields))
        if any(as_of < day for as_of in latest.values()):
            older = Forecast.objects.filter(position_id__in=position_ids, is_latest=True, as_of__lt=day)
            older.update(is_latest=False)
        Forecast.objects.bulk_create(
            written,
            batch_size=_AT_ONCE,
            update_conflicts=True,
            unique_fields=["position", "as_of"],
            update_fields=[*(_model_field(name) for name in _FIELDS), "computed_at"],
        )
    unchanged = len(position_ids) - created - changed
    return {"created": created, "changed": changed, "unchanged": unchanged}


def _model_field(name: str) -> str:
    return "placement" if name == "placement_id" else name
