"""What workers do: each task takes ids by keyword, makes one service call, and can be done twice without harm."""

from collections.abc import Sequence
from datetime import datetime
from typing import Any

from celery import Task, shared_task
from django.utils import timezone

from accounts.jobs import claims
from accounts.jobs.held import held
from accounts.models import Company
from accounts.wall import inside_company
from fleet.intake import uploads
from fleet.services import consequences, hand_over
from fleet.services.follow_up import follow
from fleet.services.forecasts import forecasts
from fleet.services.forecasts import quality as forecast_quality


def follow_up_chunk(work: claims.ChunkRun) -> dict[str, int]:
    """Make everything of units anew, for changes whose follow-up could not be put on the queue."""
    kinds = [kind for kind in consequences.Kind if kind != consequences.Kind.METERS or work.payload["of_meters"]]
    # The clock of the work, not of the job: whatever came in while it waited is looked at too.
    return follow(company=work.company, units=work.payload["unit_ids"], kinds=kinds, now=max(work.now, timezone.now()))


claims.register(hand_over.JOB_KIND, follow_up_chunk)
claims.register(forecasts.JOB_KIND, forecasts.forecast_chunk)
claims.register(uploads.JOB_KIND, uploads.upload_chunk)
claims.register(forecast_quality.JOB_KIND, forecast_quality.quality_chunk)


@shared_task(bind=True)
def follow_up(
    self: "Task[Any, Any]",
    *,
    company_id: int,
    unit_ids: Sequence[int] = (),
    kinds: Sequence[str] = (),
    now: str = "",
    since: str | None = None,
    **_: Any,
) -> dict[str, int]:
    """Do what follows a change of units; `now` and `since` are moments as ISO 8601 text."""
    with inside_company(company_id):
        company = Company.objects.filter(pk=company_id).first()
        if company is None:
            return {}
        again = bool((self.request.delivery_info or {}).get("redelivered"))
        oldest = hand_over.oldest_change(
            company_id=company_id, unit_ids=unit_ids, kinds=kinds, since=since, again=again
        )
        moment = datetime.fromisoformat(now)
        if not self.request.is_eager:
            # A worker comes to it later, when the change that it follows may not be the newest any more.
            moment = max(moment, timezone.now())
        # If this process dies nobody knows any more who had joined it: all readings are looked at then.
        from_the_first = {"company_id": company_id, "unit_ids": list(unit_ids), "kinds": list(kinds), "now": now}
        with held(self.name, from_the_first):
            return follow(
                company=company,
                units=unit_ids,
                kinds=kinds,
                since=oldest,
                now=moment,
            )


consequences.carried_out_by(follow_up)


@shared_task
def forecast_company(*, company_id: int, **_: Any) -> int | None:
    """Start the job that forecasts a company; its id."""
    with inside_company(company_id):
        company = Company.objects.filter(pk=company_id).first()
        return forecasts.start_forecast_job(company=company, by=None, now=timezone.now()).pk if company else None
