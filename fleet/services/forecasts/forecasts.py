"""Forecasts of every position of a company, stored as of the company's day."""

from collections import Counter
from collections.abc import Callable, Collection, Iterable, Mapping, Sequence
from contextlib import closing
from datetime import date, datetime, timedelta
from pathlib import Path
from typing import Any, Final

import numpy as np
from django.db import transaction

from accounts.jobs import claims
from accounts.jobs.models import Job
from accounts.models import Company, Membership
from fleet.forecasting.answer.forecast import forecast
from fleet.forecasting.wear.learned import Learned
from fleet.models import FleetLesson, Forecast, Position, Unit
from fleet.services import words
from fleet.services.events_out import forecasts_past_limit, is_past
from fleet.services.forecasts.sources import out_of_date
from fleet.services.forecasts.tables import end_of_day, list_units_in_use, load_fleet
from fleet.services.forecasts.workers import Forecasted, ForecastRun, forecast_blocks
from fleet.services.known import mark_of_code

BLOCK_UNITS: Final = 400
"""At most so many units are forecast together, to bound the memory; the same units form the same blocks in every run.
A company of one block teaches itself; a larger one is taught by units from all over it before the first block."""

TEACHERS: Final = 1000
"""Units that teach a large company's forecasts; more would only cost time."""

LESSON_DAYS: Final = 30
"""A refresh leans on a lesson not older than this."""

MOST_REFRESHED: Final = 0.4
"""When a larger share of the units is out of date, all are forecast."""

MOST_AT_ONCE: Final = 100
"""Units that are forecast right after a change; more wait for the night, so that a request takes seconds at most where
the work is done in its own process."""

JOB_KIND: Final = "forecasts"

Progress = Callable[[float, str], object]

_AT_ONCE: Final = 500
"""Rows written in one statement."""

#: Rooms of this package whose code says what forecasts are, and where a lesson keeps the mark of it.
_MAKES_FORECASTS: Final = ("engineering", "forecasting", "services/forecasts")
_MADE_BY: Final = "made_by"

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
    "fresh_life_p10_days",
    "fresh_life_p50_days",
    "fresh_life_p90_days",
    "daily_load",
    "daily_load_unit",
    "driver",
    "made_from",
    "evidence",
    "installer_sentence",
    "client_sentence",
)


def forecast_company(
    *,
    company: Company,
    now: datetime,
    units: Iterable[int] | None = None,
    progress: Progress | None = None,
) -> dict[str, int]:
    """Forecast a company's positions and store what changed; a second run on the same day and data changes nothing.

    Parameters
    ----------
    now
        The clock; forecasts are as of the company's day at this moment and know everything read that day.
    units
        Ids of the units whose forecasts to store; all when None. The units of their blocks are read all the same, so
        that the numbers are those of a run of all.
    progress
        Called with the share done and what is being done.

    Returns
    -------
    dict
        Counts: units, positions, created, changed, unchanged, unusable (records that had to be left out).
    """
    day = company.day_at(now)
    wanted_units = None if units is None else set(units)
    every_block = unit_blocks(company, day)
    blocks = [block for block in every_block if wanted_units is None or not wanted_units.isdisjoint(block)]
    if wanted_units is None:
        _retire(company, day)
    counts: Counter[str] = Counter(units=0, positions=0, created=0, changed=0, unchanged=0, unusable=0)
    learned = None
    if len(every_block) > 1 and blocks:
        if progress is not None:
            progress(0.0, words.learning())
        learned = _lesson(company, [pk for block in every_block for pk in block], day=day, now=now)
    task = ForecastRun(company, None if wanted_units is None else frozenset(wanted_units), day, learned)
    with closing(forecast_blocks(task, blocks)) as forecasted:
        for number, block_result in enumerate(forecasted, start=1):
            counts.update(_stored(block_result, company=company, day=day, now=now))
            if learned is None:
                _keep_lesson(company, block_result.learned, units=len(blocks[0]), day=day, now=now)
            if progress is not None:
                progress(number / len(blocks), words.units_forecast(counts["units"]))
    if progress is not None:
        progress(1.0, words.forecasts_stored())
    return dict(counts)


def refresh_forecasts(*, company: Company, now: datetime, progress: Progress | None = None) -> dict[str, int]:
    """Forecast anew the units about which something new is known, with what the whole fleet taught before.

    The others keep their latest forecasts, which say the same of the days to come. All are forecast when the fleet has
    taught nothing lately, when another release made the latest ones, when much of it is out of date, and, where there
    is any news at all, in a company of one block: there a single reading still teaches the others something, and a run
    of all costs little.

    Returns
    -------
    dict
        Counts as of `forecast_company`; `units` are those that were forecast.
    """
    day = company.day_at(now)
    ids = list_units_in_use(company, day)
    stale = units_out_of_date(company=company, now=now)
    if stale is None:
        return forecast_company(company=company, now=now, progress=progress)
    _retire(company, day)
    return forecast_with_lesson(company=company, now=now, units=ids, stale=stale, progress=progress)


def units_out_of_date(*, company: Company, now: datetime) -> list[int] | None:
    """Ids of the units to forecast anew; None where all are, for the reasons that `refresh_forecasts` gives."""
    day = company.day_at(now)
    ids = list_units_in_use(company, day)
    if _recent_lesson(company, len(ids), day) is None or not _is_of_this_release(company):
        return None
    stale = out_of_date(company, ids, day)
    most = MOST_REFRESHED * len(ids) if len(ids) > BLOCK_UNITS else 0
    return sorted(stale) if len(stale) <= most else None


def forecast_with_lesson(
    *,
    company: Company,
    now: datetime,
    units: Sequence[int],
    stale: Collection[int],
    progress: Progress | None = None,
) -> dict[str, int]:
    """Forecast those of some units that are out of date, by what the whole fleet taught before.

    They are forecast with the others of their block that are out of date, so that the rows do not depend on who
    forecasts which blocks. Nothing is forecast where the fleet has taught nothing lately.

    Returns
    -------
    dict
        Counts as of `forecast_company`; `units` are those that were forecast.
    """
    day = company.day_at(now)
    counts: Counter[str] = Counter(units=0, positions=0, created=0, changed=0, unchanged=0, unusable=0)
    ids = list_units_in_use(company, day)
    learned = _recent_lesson(company, len(ids), day)
    out, asked = set(stale), set(units)
    touched = [block for block in _in_blocks(ids) if not out.isdisjoint(block) and not asked.isdisjoint(block)]
    blocks = [[pk for pk in block if pk in out] for block in touched]
    total = sum(len(block) for block in blocks)
    if learned is None:
        return dict(counts)
    if progress is not None and blocks:
        progress(0.0, words.forecasting_units(total))
    with closing(forecast_blocks(ForecastRun(company, None, day, learned), blocks)) as forecasted:
        for number, block_result in enumerate(forecasted, start=1):
            counts.update(_stored(block_result, company=company, day=day, now=now))
            if progress is not None:
                progress(number / len(blocks), words.units_with_news_forecast(counts["units"], total))
    if progress is not None:
        progress(1.0, words.forecasts_stored())
    return dict(counts)


def prepare_blocks(*, company: Company, now: datetime, everything: bool = False) -> list[int] | None:
    """What is done once before the blocks of a company are forecast by several: units that are gone have no forecast
    any more, and where all are forecast the fleet teaches first.

    Returns
    -------
    list of int or None
        Ids of the units that are out of date; None: all are to be forecast.
    """
    day = company.day_at(now)
    _retire(company, day)
    stale = None if everything else units_out_of_date(company=company, now=now)
    ids = list_units_in_use(company, day)
    if stale is None and len(ids) > BLOCK_UNITS:
        _lesson(company, ids, day=day, now=now)
    return stale


def forecast_units(*, company: Company, units: Iterable[int], now: datetime) -> dict[str, int]:
    """Forecast anew those of some units about which something is new, by what the whole fleet taught before.

    A unit that has left service has no latest forecast any more. Nothing is forecast where the fleet has taught nothing
    lately, or of more than `MOST_AT_ONCE` units: the night does that. What is stored stays news for the night, in which
    the whole fleet learns from it.

    Returns
    -------
    dict
        Counts as of `forecast_company`.
    """
    counts = dict.fromkeys(("units", "positions", "created", "changed", "unchanged", "unusable"), 0)
    day = company.day_at(now)
    asked_units = set(units)
    units_in_use = list_units_in_use(company, day)
    _retire(company, day, asked_units)
    todo = sorted(asked_units.intersection(units_in_use))
    learned = _recent_lesson(company, len(units_in_use), day) if 0 < len(todo) <= MOST_AT_ONCE else None
    stale = {} if learned is None else out_of_date(company, todo, day)
    if not stale:
        return counts
    task = ForecastRun(company, None, day, learned)
    with closing(forecast_blocks(task, [sorted(stale)])) as forecasted:
        for block_result in forecasted:
            for fields in block_result.rows.values():
                fields["made_from"] = ""
            counts |= _stored(block_result, company=company, day=day, now=now)
    return counts


def start_forecast_job(*, company: Company, by: Membership | None, now: datetime) -> Job:
    """Start the job that forecasts a company, a chunk for each block of units."""
    blocks = unit_blocks(company, company.day_at(now))
    chunks = [{"first_unit": block[0], "units": block} for block in blocks]
    return claims.start_job(company=company, by=by, kind=JOB_KIND, chunks=chunks, now=now)


def forecast_chunk(work: claims.ChunkRun) -> Mapping[str, Any]:
    """Do one chunk of the job."""
    return forecast_company(
        company=work.company, now=work.now, units=[int(pk) for pk in work.payload["units"]], progress=work.progress
    )


def unit_blocks(company: Company, day: date) -> list[list[int]]:
    """The units in service on a day, in the blocks in which they are forecast."""
    return _in_blocks(list_units_in_use(company, day))


def _in_blocks(ids: Sequence[int]) -> list[list[int]]:
    """Blocks of about the same size, so that workers who share them are done at about the same time."""
    count = -(-len(ids) // BLOCK_UNITS)
    return [list(ids[len(ids) * k // count : len(ids) * (k + 1) // count]) for k in range(count)]


def _retire(company: Company, day: date, units: Iterable[int] | None = None) -> None:
    """A unit that is gone has no forecast any more; its old ones are history."""
    gone = Unit.objects.of_company(company).filter(Unit.is_retired_on(day))
    rows = Forecast.objects.of_company(company).filter(is_latest=True, as_of__lte=day, position__unit__in=gone)
    if units is not None:
        rows = rows.filter(position__unit__in=list(units))
    Forecast.objects.filter(pk__in=rows.values("pk")).update(is_latest=False)


def _recent_lesson(company: Company, units: int, day: date) -> Learned | None:
    """What a fleet of about as many units taught lately; None without it, or when it was kept by another release."""
    lesson = FleetLesson.objects.of_company(company).first()
    if lesson is None or not timedelta() <= day - lesson.as_of <= timedelta(days=LESSON_DAYS):
        return None
    if not 0.8 * units <= lesson.fleet_units <= 1.25 * units:
        return None
    try:
        return Learned.from_dict(lesson.learned)
    except ValueError:
        return None


def _is_of_this_release(company: Company) -> bool:
    """Whether the latest forecasts were made by the code that runs now: another would put them in other words too."""
    lesson = FleetLesson.objects.of_company(company).first()
    return lesson is not None and lesson.learned.get(_MADE_BY) == _release()


def _release() -> str:
    return mark_of_code(Path(__file__).resolve().parents[2], _MAKES_FORECASTS)


def _lesson(company: Company, unit_ids: Sequence[int], *, day: date, now: datetime) -> Learned:
    """What the whole fleet teaches, from units spread over it; chunks of one job find what the first one learned."""
    lesson = FleetLesson.objects.of_company(company).filter(as_of=day, computed_at=now).first()
    if lesson is not None:
        return Learned.from_dict(lesson.learned)
    step = max(len(unit_ids) / TEACHERS, 1.0)
    # One unit out of each stretch, not always at the same place in it: units often come in a rhythm.
    within = np.random.default_rng(0).random(min(TEACHERS, len(unit_ids)))
    teachers = [unit_ids[int((number + share) * step)] for number, share in enumerate(within)]
    loaded = load_fleet(company=company, unit_ids=teachers, as_of_day=end_of_day(company, day))
    learned = forecast(loaded.fleet, limits=loaded.limits).learned
    _keep_lesson(company, learned, units=len(teachers), fleet_units=len(unit_ids), day=day, now=now)
    return learned


def _keep_lesson(
    company: Company, learned: Learned, *, units: int, day: date, now: datetime, fleet_units: int | None = None
) -> None:
    """Store what was learned; an older day forecast again must not displace a newer lesson."""
    if FleetLesson.objects.of_company(company).filter(as_of__gt=day).exists():
        return
    lesson = FleetLesson(
        company=company,
        as_of=day,
        computed_at=now,
        unit_count=units,
        fleet_units=units if fleet_units is None else fleet_units,
        learned=learned.to_dict() | {_MADE_BY: _release()},
    )
    FleetLesson.objects.bulk_create(
        [lesson],
        update_conflicts=True,
        unique_fields=["company"],
        update_fields=["as_of", "computed_at", "unit_count", "fleet_units", "learned"],
    )


def _stored(block: Forecasted, *, company: Company, day: date, now: datetime) -> dict[str, int]:
    """Store a block; the counts."""
    stored = _store(block.rows, company=company, day=day, now=now)
    return {"units": block.units, "positions": len(block.rows), "unusable": block.unusable, **stored}


def _store(rows: Mapping[int, Mapping[str, Any]], *, company: Company, day: date, now: datetime) -> dict[str, int]:
    """Write what differs from the stored forecasts of the day, and move the mark of the latest one."""
    with transaction.atomic():
        # The lock makes two runs for the same positions follow one another, also when there is no forecast to lock yet.
        # A position that was deleted while its forecast was computed is no longer there to be locked.
        lock = Position.objects.filter(pk__in=list(rows)).order_by("pk").select_for_update(no_key=True)
        position_ids = list(lock.values_list("pk", flat=True))
        # By position alone: a join to the company makes the database look through all of its forecasts.
        own_forecasts = Forecast.objects.filter(position_id__in=position_ids)
        latest, was_past = {}, set()
        kept = own_forecasts.filter(is_latest=True)
        for pk, as_of, placement_id, state, p50 in kept.values_list(
            "position_id", "as_of", "placement_id", "state", "p50"
        ):
            latest[pk] = as_of
            if is_past(state, p50, as_of):
                was_past.add((pk, placement_id))
        today = own_forecasts.filter(as_of=day).values("position_id", "is_latest", *_FIELDS)
        stored = {row["position_id"]: row for row in today}
        created, changed, written = 0, 0, []
        for position_id in position_ids:
            fields = rows[position_id]
            row = stored.get(position_id)
            # An older day forecast again must not displace a newer one; a cartridge changed today has one of its own.
            is_latest = latest.get(position_id, day) <= day
            known = {"is_latest": is_latest, **fields}
            if row is not None and all(row[name] == known[name] for name in ("is_latest", *_FIELDS)):
                continue
            created, changed = created + (row is None), changed + (row is not None)
            written.append(Forecast(position_id=position_id, as_of=day, computed_at=now, is_latest=is_latest, **fields))
        if any(as_of < day for as_of in latest.values()):
            older = Forecast.objects.filter(position_id__in=position_ids, is_latest=True, as_of__lt=day)
            older.update(is_latest=False)
        Forecast.objects.bulk_create(
            written,
            batch_size=_AT_ONCE,
            update_conflicts=True,
            unique_fields=["position", "as_of"],
            update_fields=[*(_model_field(name) for name in _FIELDS), "computed_at", "is_latest"],
        )
        forecasts_past_limit(company.pk, [row for row in written if row.is_latest], was_past, now)
    unchanged = len(position_ids) - created - changed
    return {"created": created, "changed": changed, "unchanged": unchanged}


def _model_field(name: str) -> str:
    return "placement" if name == "placement_id" else name
