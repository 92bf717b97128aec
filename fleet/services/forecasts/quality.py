"""The forecasts of a company judged by its own past, and the verdict stored."""

from collections.abc import Callable, Mapping
from datetime import date, datetime, timedelta
from typing import Any, Final

import numpy as np
from django.db import transaction

from accounts.errors import InvalidInput
from accounts.jobs import claims
from accounts.jobs.models import Job
from accounts.models import Company, Membership
from fleet.forecasting.judging.judge import RICHNESS, QualityRow, judge
from fleet.forecasting.judging.replay import METHODS, monthly_cuts, replay
from fleet.models import ForecastScore, Unit
from fleet.services import words
from fleet.services.forecasts.tables import end_of_day, load_fleet

JOB_KIND: Final = "forecast_quality"

MOST_UNITS: Final = 1000
"""Units that are judged, spread over a larger company; scores of thousands of cartridges change little with more."""

Progress = Callable[[float, str], object]

_EPOCH: Final = date(1970, 1, 1)
_METHOD_OF: Final = dict(
    zip(
        METHODS,
        (
            ForecastScore.Method.LEARNED,
            ForecastScore.Method.FIXED_INTERVAL,
            ForecastScore.Method.LABEL_OVER_LOAD,
            ForecastScore.Method.STRAIGHT_LINE,
        ),
        strict=True,
    )
)
_RICHNESS_NAMES: Final = {name for name, _, _ in RICHNESS}
_WRITTEN: Final = (
    "computed_at",
    "is_latest",
    "forecasts",
    "observed",
    "pinball_share",
    "median_error_share",
    "median_error_days",
    "coverage_50",
    "coverage_80",
    "coverage_90",
    "driver_named",
)


def judge_company(
    *,
    company: Company,
    now: datetime,
    first: date | None = None,
    last: date | None = None,
    progress: Progress | None = None,
) -> list[QualityRow]:
    """Replay the company's past at monthly cuts with what was known then, score it, and store the scores.

    Parameters
    ----------
    first, last
        Days between which to cut; None: from half a year after the first cartridges to three months ago, since what is
        forecast later has hardly had time to happen.
    progress
        Called with the share done and what is being done.

    Returns
    -------
    list
        A row for each group and method; the same numbers are stored and are the company's latest scores.

    Raises
    ------
    InvalidInput
        When no monthly cut lies between the days, or nothing was standing at any.
    """
    day = company.day_at(now)
    if first is not None and last is not None and first > last:
        sentence = f"The first cut, {first}, lies after the last one, {last}: swap them."
        raise InvalidInput("cuts_out_of_order", sentence, pointer="/first_cut")
    ids = list(Unit.objects.of_company(company).order_by("pk").values_list("pk", flat=True))
    if len(ids) > MOST_UNITS:
        ids = [ids[int(at)] for at in np.linspace(0, len(ids) - 1, MOST_UNITS)]
    if progress is not None:
        progress(0.0, words.reading_records())
    loaded = load_fleet(company=company, unit_ids=ids, as_of_day=end_of_day(company, day), with_corrected=True)
    fleet = loaded.fleet
    low, high = _day_number(first, -np.inf), _day_number(last, np.inf) + 1.0
    cuts = [cut for cut in monthly_cuts(fleet) if low <= cut < high]

    def tell(share: float) -> None:
        if progress is not None:
            progress(0.05 + 0.9 * share, words.replaying(len(cuts)))

    rows = judge(replay(fleet, cuts, limits=loaded.limits, progress=tell)) if cuts else []
    if not rows:
        sentence = (
            "There is no past to judge by: forecasts are replayed at monthly days from half a year after the first "
            "cartridges were placed until three months ago, and there is none in between."
        )
        raise InvalidInput("too_little_history", sentence)
    _store(company, rows, first=_date(cuts[0]), last=_date(cuts[-1]), day=day, now=now)
    if progress is not None:
        progress(1.0, words.scores_stored())
    return rows


def start_quality_job(
    *, company: Company, by: Membership | None, now: datetime, first: date | None = None, last: date | None = None
) -> Job:
    """Start the job that judges the forecasts of a company.

    Raises
    ------
    InvalidInput
        When the days are out of order.
    Conflict
        When it is going on already.
    """
    if first is not None and last is not None and first > last:
        sentence = f"The first cut, {first}, lies after the last one, {last}: swap them."
        raise InvalidInput("cuts_out_of_order", sentence, pointer="/first_cut")
    parameters = {
        "first": first.isoformat() if first is not None else None,
        "last": last.isoformat() if last is not None else None,
    }
    return claims.start_job(company=company, by=by, kind=JOB_KIND, parameters=parameters, now=now)


def quality_chunk(work: claims.ChunkRun) -> Mapping[str, Any]:
    """Do the job."""
    days = {
        name: date.fromisoformat(text) if (text := work.parameters.get(name)) else None for name in ("first", "last")
    }
    rows = judge_company(company=work.company, now=work.now, progress=work.progress, **days)
    all_rows_score = next(row for row in rows if row.group == "all" and row.method == METHODS[0])
    return {
        "forecasts": all_rows_score.observed + all_rows_score.censored,
        "observed": all_rows_score.observed,
        "scores": len(rows),
    }


def _store(company: Company, rows: list[QualityRow], *, first: date, last: date, day: date, now: datetime) -> None:
    scores = [
        ForecastScore(
            company=company,
            computed_at=now,
            first_cut=first,
            last_cut=last,
            known_until=day,
            grouping=_grouping(row.group),
            group=row.group,
            method=_METHOD_OF[row.method],
            forecasts=row.observed + row.censored,
            observed=row.observed,
            pinball_share=_number(row.pinball),
            median_error_share=_number(row.median_error),
            median_error_days=_number(row.median_error_days),
            coverage_50=_number(row.coverage_50),
            coverage_80=_number(row.coverage_80),
            coverage_90=_number(row.coverage_90),
            driver_named=_number(row.driver_named),
        )
        for row in rows
    ]
    with transaction.atomic():
        ForecastScore.objects.of_company(company).filter(is_latest=True).update(is_latest=False)
        ForecastScore.objects.bulk_create(
            scores,
            update_conflicts=True,
            unique_fields=["company", "first_cut", "last_cut", "known_until", "grouping", "group", "method"],
            update_fields=_WRITTEN,
        )


def _grouping(group: str) -> str:
    if group == "all":
        return ForecastScore.Grouping.ALL
    return ForecastScore.Grouping.RICHNESS if group in _RICHNESS_NAMES else ForecastScore.Grouping.KIND


def _number(value: float) -> float | None:
    return round(value, 5) if np.isfinite(value) else None


def _day_number(day: date | None, otherwise: float) -> float:
    return otherwise if day is None else float((day - _EPOCH).days)


def _date(day: float) -> date:
    return _EPOCH + timedelta(days=int(day))
