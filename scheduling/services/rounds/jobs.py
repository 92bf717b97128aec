"""Planning as a job that people can watch and stop."""

from collections.abc import Mapping
from datetime import date, datetime
from typing import Any, Unpack

from accounts.jobs import claims
from accounts.jobs.models import Job
from accounts.models import Company, Membership
from scheduling.services.policy import read_policy
from scheduling.services.rounds.plans import Effort, EffortAsked, check_days, plan_rounds
from scheduling.services.rounds.problem import asked_days

JOB_KIND = "plan"


def start_plan_job(
    *,
    company: Company,
    by: Membership,
    now: datetime,
    first_day: date | None = None,
    days: int | None = None,
    **effort_asked: Unpack[EffortAsked],
) -> Job:
    """Start the job that plans some days and writes the parts lists of the plan.

    Raises
    ------
    InvalidInput
        When the days or the effort cannot be right; no job is started then.
    Conflict
        When a plan of this company is being made already.
    """
    effort = Effort(**effort_asked)
    policy = read_policy(company=company).planning
    first_day, days = asked_days(company=company, policy=policy, now=now, first_day=first_day, days=days)
    check_days(company=company, first_day=first_day, days=days, now=now)
    parameters = {
        "first_day": first_day.isoformat(),
        "days": days,
        "seconds": effort.seconds,
        "iterations": effort.iterations,
        "seed": effort.seed,
    }
    return claims.start_job(company=company, by=by, kind=JOB_KIND, parameters=parameters, now=now)


class _Watched:
    """Carries the planner's reports to the job, and the wish to stop back to the planner."""

    def __init__(self, work: claims.ChunkRun) -> None:
        self.work, self.stopped = work, False

    def tell(self, share: float, doing: str) -> None:
        # the planner asks after every step of its search; the job is asked as often as it is told
        if self.work.report(0.95 * share, doing) and not self.stopped:
            self.stopped = self.work.should_stop()


def plan_chunk(work: claims.ChunkRun) -> Mapping[str, Any]:
    """Do the job; asked to stop, it ends with the best plan found so far."""
    parameters = work.parameters
    watched = _Watched(work)
    made = plan_rounds(
        company=work.company,
        by=work.by,
        now=work.now,
        first_day=date.fromisoformat(parameters["first_day"]),
        days=parameters["days"],
        seconds=parameters["seconds"],
        iterations=parameters["iterations"],
        seed=parameters["seed"],
        progress=watched.tell,
        should_stop=lambda: watched.stopped,
        job=Job.objects.get(pk=work.job_id),
    )
    return {"plan": made.plan.pk, "parts_lists_written": made.parts.written, "stopped_early": watched.stopped}
