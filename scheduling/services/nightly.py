"""The nightly run: what is known of a company, carried from readings to parts lists."""

from collections.abc import Callable, Mapping
from dataclasses import asdict
from datetime import datetime
from functools import partial
from typing import Any

from accounts.jobs import claims
from accounts.jobs.models import Job
from accounts.jobs.steps import timed
from accounts.models import Company, Membership
from fleet.services.findings.findings import refresh_findings
from fleet.services.forecasts.forecasts import refresh_forecasts
from fleet.services.readings.indicators import recompute
from scheduling.services.needs.needs import refresh_needs
from scheduling.services.rounds.plans import plan_rounds
from scheduling.services.travel import calibrate_travel
from scheduling.services.visits.visits import propose_visits
from scheduling.services.words import rounds as words

#: Called with the share done (0-1) and what is being done.
ProgressCall = Callable[[float, str], object]

JOB_KIND = "nightly"

# The shares only have to move evenly enough to be watched.
_INDICATORS_END, _FORECASTS_END, _FINDINGS_END, _VISITS_END, _PLAN_END = 0.10, 0.40, 0.52, 0.60, 0.95


def run_nightly(
    *,
    company: Company,
    now: datetime,
    progress: ProgressCall | None = None,
    seconds: float | None = None,
    iterations: int | None = None,
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

    Returns
    -------
    dict
        What each step did, by step.
    """

    def tell(share: float, doing: str) -> None:
        if progress is not None:
            progress(share, doing)

    def within(first: float, last: float, share: float, doing: str) -> None:
        tell(first + (last - first) * share, doing)

    step = partial(timed, company=company, kind=JOB_KIND)
    with step(step="indicators"):
        indicators = recompute(company=company, now=now, progress=partial(within, 0.0, _INDICATORS_END))
    with step(step="forecasts"):
        telling = partial(within, _INDICATORS_END, _FORECASTS_END)
        forecasts = refresh_forecasts(company=company, now=now, progress=telling)
    with step(step="findings"):
        telling = partial(within, _FORECASTS_END, _FINDINGS_END)
        findings = refresh_findings(company=company, now=now, progress=telling)
    tell(_FINDINGS_END, words.learning_driving_times())
    with step(step="driving_times"):
        road = calibrate_travel(company=company, now=now)
    tell(_FINDINGS_END, words.finding_work())
    with step(step="needs"):
        needs = refresh_needs(company=company, now=now)
    tell(0.56, words.bundling_visits())
    with step(step="visits"):
        visits = propose_visits(company=company, now=now)
    tell(_VISITS_END, words.planning_rounds())
    with step(step="rounds_and_parts"):
        made = plan_rounds(
            company=company,
            by=None,
            now=now,
            progress=partial(within, _VISITS_END, _PLAN_END),
            seconds=seconds,
            iterations=iterations,
        )
    tell(1.0, words.done())
    return {
        "indicators": indicators,
        "forecasts": forecasts,
        "findings": findings,
        "driving_times": road.sentence,
        "needs": asdict(needs),
        "visits": asdict(visits),
        "plan": made.plan.pk,
        "parts_lists": asdict(made.parts),
    }


def start_nightly_job(*, company: Company, by: Membership | None, now: datetime) -> Job:
    """Start the job that runs the night of a company.

    Raises
    ------
    Conflict
        When the nightly run of this company is still running.
    """
    return claims.start_job(company=company, by=by, kind=JOB_KIND, now=now)


def nightly_chunk(work: claims.ChunkRun) -> Mapping[str, Any]:
    """Do the job."""
    return run_nightly(company=work.company, now=work.now, progress=work.progress)
