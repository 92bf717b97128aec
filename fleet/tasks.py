"""What workers do: each task takes ids by keyword, makes one service call, and can be done twice without harm."""

from datetime import datetime
from typing import Any

from celery import Task, shared_task
from django.utils import timezone

from accounts.models import Company
from fleet.services import findings, forecast_quality, forecasts, hand_over, indicators, jobs


def follow_up_chunk(work: jobs.Work) -> dict[str, int]:
    """Make indicators and findings of units anew, for tasks that could not be put on the queue."""
    # The clock of the work, not of the job: whatever came in while it waited is looked at too.
    now, ids = timezone.now(), work.payload["unit_ids"]
    of_meters = work.payload["of_meters"]
    made = indicators.recompute(company=work.company, units=ids, of_meters=of_meters, now=now)
    work.progress(0.5, "looking for findings")
    seen = findings.refresh_findings(company=work.company, units=ids, now=now)
    return {**made, **{f"findings_{name}": count for name, count in seen.items()}}


jobs.register(hand_over.JOB_KIND, follow_up_chunk)
jobs.register(forecasts.JOB_KIND, forecasts.forecast_chunk)
jobs.register(forecast_quality.JOB_KIND, forecast_quality.quality_chunk)


@shared_task(bind=True, max_retries=None)
def run_job_chunk(self: "Task[Any, Any]", *, job_id: int, index: int, **_: Any) -> str:
    """Do one chunk of a job; one that another worker seems to hold is looked at again when its lease is over."""
    outcome = jobs.run_chunk(job_id=job_id, index=index)
    if outcome == "held" and not self.request.is_eager:
        seconds = jobs.seconds_until_free(job_id=job_id, index=index, now=timezone.now())
        raise self.retry(countdown=seconds)
    return outcome


@shared_task
def resume_stalled_jobs(**_: Any) -> int:
    """Hand out again what a dead worker left."""
    return jobs.resume_stalled(now=timezone.now())


@shared_task
def recompute_indicators(
    *,
    company_id: int,
    unit_ids: list[int] | None = None,
    since: str | None = None,
    of_meters: bool = False,
    **_: Any,
) -> dict[str, int]:
    """Bring the indicators of a company's readings up to date; `since` is a moment as ISO 8601 text, and `of_meters`
    says that a meter changed."""
    company = Company.objects.filter(pk=company_id).first()
    if company is None:
        return {}
    start = datetime.fromisoformat(since) if since else None
    return indicators.recompute(company=company, units=unit_ids, since=start, of_meters=of_meters, now=timezone.now())


@shared_task
def refresh_findings(*, company_id: int, unit_ids: list[int] | None = None, **_: Any) -> dict[str, int]:
    """Bring the findings of a company up to date."""
    company = Company.objects.filter(pk=company_id).first()
    return findings.refresh_findings(company=company, units=unit_ids, now=timezone.now()) if company else {}


@shared_task
def forecast_company(*, company_id: int, **_: Any) -> int | None:
    """Start the job that forecasts a company; its id."""
    company = Company.objects.filter(pk=company_id).first()
    return forecasts.start_forecast_job(company=company, by=None, now=timezone.now()).pk if company else None
