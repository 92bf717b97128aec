"""What workers do here: each task takes ids by keyword, makes one service call, and can be done twice without harm."""

import logging
from typing import Any

from celery import shared_task
from django.utils import timezone

from accounts.errors import Conflict
from accounts.jobs import claims
from accounts.jobs.queue import NIGHT
from accounts.models import Company
from accounts.services.tidying import tidy
from accounts.wall import inside_company, over_all_companies
from accounts.webhooks.sending import forget_deliveries
from scheduling.services import nightly as nightly_run
from scheduling.services import outlook
from scheduling.services.digests import is_time_for_digest, write_digests
from scheduling.services.people.messages import remind, send_messages
from scheduling.services.rounds import jobs as planning_jobs

log = logging.getLogger(__name__)

claims.register(nightly_run.JOB_KIND, nightly_run.nightly_chunk, merge=nightly_run.together, queue=NIGHT)
claims.register(planning_jobs.JOB_KIND, planning_jobs.plan_chunk)
claims.register(outlook.PREVIEW, outlook.preview_chunk)
claims.register(outlook.FRONTIER, outlook.frontier_chunk)


@shared_task
def nightly(**_: Any) -> int:
    """Tidy what nobody needs any more and hand the run of every company to the workers; how many."""
    tidy(now=timezone.now())
    forget_deliveries(now=timezone.now())
    with over_all_companies():
        ids = list(Company.objects.order_by("pk").values_list("pk", flat=True))
    for company_id in ids:
        start_company_nightly.delay(company_id=company_id)
    return len(ids)


@shared_task
def start_company_nightly(*, company_id: int, **_: Any) -> int | None:
    """Start the nightly run of one company as a job; its id. None when the company is gone or its run goes on."""
    with inside_company(company_id):
        company = Company.objects.filter(pk=company_id).first()
        if company is None:
            return None
        try:
            return nightly_run.start_nightly_job(company=company, by=None, now=timezone.now()).pk
        except Conflict as conflict:
            # a task that is delivered twice finds its job at work: that is what was wanted
            log.info("nightly run of company %s: %s", company_id, conflict.sentence)
            return None


@shared_task
def digests(**_: Any) -> int:
    """Have the morning letters of every company written where it is morning; how many companies."""
    now = timezone.now()
    with over_all_companies():
        companies = list(Company.objects.order_by("pk"))
    ids = [company.pk for company in companies if is_time_for_digest(company, now)]
    for company_id in ids:
        write_company_digests.delay(company_id=company_id)
    return len(ids)


@shared_task
def write_company_digests(*, company_id: int, **_: Any) -> int:
    """Write this morning's letters of one company; how many."""
    with inside_company(company_id):
        company = Company.objects.filter(pk=company_id).first()
        return write_digests(company=company, now=timezone.now()) if company is not None else 0


@shared_task
def send_waiting_messages(**_: Any) -> int:
    """Write the reminders that are due and send the messages that wait; how many left."""
    now = timezone.now()
    remind(now=now)
    return send_messages(now=now)["sent"]
