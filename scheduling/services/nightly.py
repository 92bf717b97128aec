"""The nightly run: what is known of a company, carried from readings to parts lists."""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import asdict
from datetime import datetime
from functools import partial
from typing import Any

from accounts.jobs import claims
from accounts.jobs.models import Job
from accounts.jobs.steps import timed
from accounts.models import Company, Membership
from fleet.models import Unit
from fleet.services.findings.findings import refresh_findings
from fleet.services.forecasts.forecasts import (
    forecast_company,
    forecast_with_lesson,
    prepare_blocks,
    refresh_forecasts,
    unit_blocks,
)
from fleet.services.readings.indicators import recompute
from fleet.services.reviews import Review
from scheduling.services.needs.needs import refresh_needs
from scheduling.services.reviews import WorkReviews
from scheduling.services.rounds.old_drafts import delete_old_drafts
from scheduling.services.rounds.plans import plan_rounds
from scheduling.services.travel import calibrate_travel
from scheduling.services.visits.visits import propose_visits
from scheduling.services.words import rounds as words

#: Called with the share done (0-1) and what is being done.
ProgressCall = Callable[[float, str], object]

JOB_KIND = "nightly"

# The shares only have to move evenly enough to be watched: those of the units of the whole, the others of what is done
# for the company.
_INDICATORS_END, _FORECASTS_END, _FINDINGS_END = 0.10, 0.40, 0.52
_NEEDS_END, _VISITS_END, _PLAN_END = 0.08, 0.17, 0.90

_PREPARE, _UNITS, _COMPANY = "prepare", "units", "company"


def run_nightly(
    *,
    company: Company,
    now: datetime,
    progress: ProgressCall | None = None,
    seconds: float | None = None,
    iterations: int | None = None,
    everything: bool = False,
) -> dict[str, Any]:
    """Indicators, forecasts, findings, driving times, needs, visits, a plan of the next working days, parts lists.

    Each step owns its transaction and leaves everything as it is when nothing has changed, so that a run that was
    cut short is simply run again, and a second run of a night changes nothing.

    Parameters
    ----------
    company, now
        Whose nightly run, and when.
    progress
        Called with the share done and what is being done.
    seconds, iterations
        Effort of the planner; None: its own.
    everything
        Make everything of all units anew, and not of those with news alone.

    Returns
    -------
    dict
        What each step did, by step.
    """

    tell = progress if progress is not None else _say_nothing
    step = partial(timed, company=company, kind=JOB_KIND)
    review = Review(company, at_all=everything)
    with step(step="indicators"):
        telling = _within(tell, 0.0, _INDICATORS_END)
        indicators = recompute(company=company, now=now, review=review, progress=telling)
    with step(step="forecasts"):
        make_forecasts = forecast_company if everything else refresh_forecasts
        forecasts = make_forecasts(company=company, now=now, progress=_within(tell, _INDICATORS_END, _FORECASTS_END))
    with step(step="findings"):
        telling = _within(tell, _FORECASTS_END, _FINDINGS_END)
        findings = refresh_findings(company=company, now=now, review=review, progress=telling)
    of_company = _run_for_company(
        company,
        now,
        _within(tell, _FINDINGS_END, 1.0),
        everything=everything,
        seconds=seconds,
        iterations=iterations,
    )
    return {"indicators": indicators, "forecasts": forecasts, "findings": findings} | of_company


def _say_nothing(share: float, doing: str) -> None:
    """Of a run that nobody watches."""


def _within(tell: ProgressCall, first: float, last: float) -> Callable[[float, str], None]:
    """Tell of a part of the whole."""

    def tell_of_part(share: float, doing: str) -> None:
        tell(first + (last - first) * share, doing)

    return tell_of_part


def _run_for_units(
    company: Company,
    now: datetime,
    units: Sequence[int],
    stale: Sequence[int] | None,
    tell: ProgressCall,
    review: Review,
) -> dict[str, Any]:
    """Indicators, forecasts and findings of a block of units, in the order in which they rest on one another."""
    step = partial(timed, company=company, kind=JOB_KIND, since=now)
    with step(step="indicators"):
        indicators = recompute(company=company, now=now, units=units, review=review, progress=_within(tell, 0.0, 0.3))
    forecasting = _within(tell, 0.3, 0.7)
    with step(step="forecasts"):
        if stale is None:
            forecasts = forecast_company(company=company, now=now, units=units, progress=forecasting)
        else:
            forecasts = forecast_with_lesson(company=company, now=now, units=units, stale=stale, progress=forecasting)
    with step(step="findings"):
        telling = _within(tell, 0.7, 1.0)
        findings = refresh_findings(company=company, now=now, units=units, review=review, progress=telling)
    return {"indicators": indicators, "forecasts": forecasts, "findings": findings}


def _run_for_company(
    company: Company,
    now: datetime,
    tell: ProgressCall,
    *,
    everything: bool,
    seconds: float | None = None,
    iterations: int | None = None,
) -> dict[str, Any]:
    """What rests on all units together: driving times, needs, visits, a plan and its parts lists."""
    step = partial(timed, company=company, kind=JOB_KIND)
    tell(0.0, words.learning_driving_times())
    with step(step="driving_times"):
        road = calibrate_travel(company=company, now=now)
    tell(0.0, words.finding_work())
    with step(step="needs"):
        work = WorkReviews(company, now, at_all=everything)
        needs = refresh_needs(company=company, now=now, units=work.units, change_ahead=work.change_ahead)
    tell(_NEEDS_END, words.bundling_visits())
    with step(step="visits"):
        visits = propose_visits(company=company, now=now, sites=work.sites)
        work.keep()
    tell(_VISITS_END, words.planning_rounds())
    with step(step="rounds_and_parts"):
        delete_old_drafts(company=company, now=now)
        made = plan_rounds(
            company=company,
            by=None,
            now=now,
            progress=_within(tell, _VISITS_END, _PLAN_END),
            seconds=seconds,
            iterations=iterations,
        )
    tell(1.0, words.done())
    return {
        "driving_times": road.sentence,
        "needs": asdict(needs),
        "visits": asdict(visits),
        "plan": made.plan.pk,
        "parts_lists": asdict(made.parts),
    }


def start_nightly_job(*, company: Company, by: Membership | None, now: datetime, everything: bool = False) -> Job:
    """Start the job that runs the night of a company: blocks of units side by side, then what rests on all of them.

    Raises
    ------
    Conflict
        When the nightly run of this company is still running.
    """
    blocks = unit_blocks(company, company.day_at(now))
    in_use = {pk for block in blocks for pk in block}
    others = [pk for pk in Unit.objects.of_company(company).values_list("pk", flat=True) if pk not in in_use]
    # What was read at a unit that is out of use has its indicators all the same.
    blocks = [*blocks[:-1], [*(blocks[-1] if blocks else []), *others]]
    return claims.start_job(
        company=company,
        by=by,
        kind=JOB_KIND,
        parameters={"everything": everything},
        chunks=[{"step": _PREPARE}],
        then=[[{"step": _UNITS, "units": block} for block in blocks], [{"step": _COMPANY}]],
        now=now,
    )


def nightly_chunk(work: claims.ChunkRun) -> Mapping[str, Any]:
    """Do a part of the job."""
    everything = bool(work.parameters.get("everything"))
    step = work.payload.get("step")
    if step == _PREPARE:
        return {"stale": prepare_blocks(company=work.company, now=work.now, everything=everything)}
    if step == _UNITS:
        review = Review(work.company, at_all=everything)
        units = [int(pk) for pk in work.payload["units"]]
        return _run_for_units(work.company, work.now, units, work.earlier[0]["stale"], work.progress, review)
    if step == _COMPANY:
        return _run_for_company(work.company, work.now, work.progress, everything=everything)
    # A job that an earlier release began.
    return run_nightly(company=work.company, now=work.now, progress=work.progress)


def together(results: Sequence[Mapping[str, Any]]) -> dict[str, Any]:
    """What the parts of a night did, as `run_nightly` tells it of the whole."""
    merged: dict[str, Any] = {}
    for result in results:
        for step, done in result.items():
            if isinstance(done, Mapping):
                merged[step] = claims.add_up([merged.get(step, {}), done])
            elif step != "stale":
                merged[step] = done
    return merged
