"""Forecasts of every position of a company, stored as of the company's day."""

from collections import Counter
from collections.abc import Callable, Iterable, Mapping, Sequence
from datetime import date, datetime, timedelta
from typing import Any, Final
from zoneinfo import ZoneInfo

import numpy as np
from django.db import transaction

from accounts.models import Company, Membership
from fleet.forecasting import vocabulary as words
from fleet.forecasting.explain import sentence_for_client, sentence_for_installer
from fleet.forecasting.forecast import forecast
from fleet.forecasting.policy import Policy
from fleet.forecasting.results import Forecasts
from fleet.forecasting.tables import Fleet
from fleet.models import Forecast, Job, Position
from fleet.services import jobs
from fleet.services.fleet_tables import company_day, end_of_day, load_fleet, standing_units

BLOCK_UNITS: Final = 400
"""Units that are forecast together. A forecast learns from the units beside it, so blocks are large, and the same units
form the same blocks in every run; a company of less is one block."""

JOB_KIND: Final = "forecasts"

Progress = Callable[[float, str], object]

_EPOCH: Final = date(1970, 1, 1)
_FIELDS: Final = (
    "placement_id",
    "state",
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
    fleet, faults = load_fleet(company=company, unit_ids=block, as_of_day=end_of_day(company, day))
    answer = forecast(fleet, policy=policy)
    rows = _rows(fleet, answer, wanted, ZoneInfo(company.time_zone))
    stored = _store(company, rows, day=day, now=now)
    units = len(fleet.units) if wanted is None else len(wanted.intersection(block))
    return {"units": units, "positions": len(rows), "unusable": len(faults), **stored}


def _rows(fleet: Fleet, answer: Forecasts, wanted: set[int] | None, zone: ZoneInfo) -> dict[int, dict[str, Any]]:
    """Position id -> the fields of its forecast."""
    dates = _dates(answer.quantile_day, zone, answer.as_of_day)
    left_out = _left_out(fleet, answer)
    placement_ids = fleet.placements.placement_id
    rows: dict[int, dict[str, Any]] = {}
    for row, position_id in enumerate(fleet.positions.position_id):
        unit_row = int(fleet.positions.unit_index[row])
        if wanted is not None and fleet.units.unit_id[unit_row] not in wanted:
            continue
        standing = int(answer.placement_index[row])
        p05, p10, p25, p50, p75, p90, p95 = dates[row]
        rows[position_id] = {
            "placement_id": placement_ids[standing] if standing >= 0 else None,
            "state": words.STATES[answer.state[row]],
            "p05": p05,
            "p10": p10,
            "p25": p25,
            "p50": p50,
            "p75": p75,
            "p90": p90,
            "p95": p95,
            "remaining_share": _number(answer.remaining_share[row], 4),
            "daily_load": _number(answer.daily_load[row], 4),
            "daily_load_unit": words.LOAD_UNITS[answer.daily_load_unit[row]],
            "driver": words.DRIVERS[answer.driver[row]],
            "evidence": {
                "readings_used": int(answer.readings_used[row]),
                "readings_left_out": int(answer.readings_excluded[row]),
                "left_out_at_unit": left_out.get(unit_row, {}),
                "newest_reading_age_days": _number(answer.newest_reading_age_days[row], 1),
                "earlier_cartridges": int(answer.past_lives[row]),
                "leans_on": words.PRIORS[answer.priors[row]],
                "probability_age_limit_first": _number(answer.probability_time_cap[row], 3),
                "no_date_reason": answer.no_date_reason[row],
            },
            "installer_sentence": sentence_for_installer(fleet, answer, row),
            "client_sentence": sentence_for_client(fleet, answer, row),
        }
    return rows


def _dates(days: Any, zone: ZoneInfo, as_of_day: float) -> list[list[date | None]]:
    """Calendar dates of day numbers in the company's zone; its offset on the day of the forecast serves for all."""
    moment = datetime(1970, 1, 1, tzinfo=ZoneInfo("UTC")) + timedelta(days=as_of_day)
    offset = moment.astimezone(zone).utcoffset() or timedelta()
    whole = np.floor(np.asarray(days) + offset.total_seconds() / 86400.0)
    return [[None if day != day else _EPOCH + timedelta(days=int(day)) for day in row] for row in whole.tolist()]


def _left_out(fleet: Fleet, answer: Forecasts) -> dict[int, dict[str, int]]:
    """Row of a unit -> why values of its readings were left out, and how often."""
    found: dict[int, dict[str, int]] = {}
    units = fleet.readings.unit_index[answer.exclusions.reading_index].tolist()
    for unit_row, reason in zip(units, answer.exclusions.reason.tolist(), strict=True):
        counts = found.setdefault(unit_row, {})
        name = words.EXCLUSION_REASONS[reason]
        counts[name] = counts.get(name, 0) + 1
    return found


def _number(value: Any, digits: int) -> float | None:
    number = float(value)
    return round(number, digits) if np.isfinite(number) else None


def _store(company: Company, rows: Mapping[int, Mapping[str, Any]], *, day: date, now: datetime) -> dict[str, int]:
    """Write what differs from the stored forecasts of the day, and move the mark of the latest one."""
    position_ids = sorted(rows)
    with transaction.atomic():
        # The lock makes two runs for the same positions follow one another, also when there is no forecast to lock yet.
        lock = Position.objects.filter(pk__in=position_ids).order_by("pk").select_for_update(no_key=True)
        list(lock.values_list("pk"))
        mine = Forecast.objects.of_company(company).filter(position_id__in=position_ids)
        latest = dict(mine.filter(is_latest=True).values_list("position_id", "as_of"))
        stored = {row.position_id: row for row in mine.filter(as_of=day)}
        fresh, changed = [], []
        for position_id in position_ids:
            fields = rows[position_id]
            # An older day forecast again must not displace a newer one.
            is_latest = latest.get(position_id, day) <= day
            row = stored.get(position_id)
            if row is None:
                fresh.append(
                    Forecast(position_id=position_id, as_of=day, computed_at=now, is_latest=is_latest, **fields)
                )
            elif any(getattr(row, name) != fields[name] for name in _FIELDS):
                for name in _FIELDS:
                    setattr(row, name, fields[name])
                row.computed_at = now
                changed.append(row)
        Forecast.objects.filter(pk__in=mine.filter(is_latest=True, as_of__lt=day).values("pk")).update(is_latest=False)
        Forecast.objects.bulk_create(fresh)
        Forecast.objects.bulk_update(
            changed, [*(_model_field(name) for name in _FIELDS), "computed_at"], batch_size=200
        )
    unchanged = len(position_ids) - len(fresh) - len(changed)
    return {"created": len(fresh), "changed": len(changed), "unchanged": unchanged}


def _model_field(name: str) -> str:
    return "placement" if name == "placement_id" else name
