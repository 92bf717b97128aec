"""Planning in the way of operation: watched while it runs, stopped over the API, and the best plan so far is kept."""

import re
from collections.abc import Callable
from datetime import timedelta

from django.utils import timezone
from rest_framework.test import APIClient

from accounts.jobs.models import Job
from accounts.models import Company
from scheduling.models import Plan, Stop
from tests import factories
from tests.live.workers import Worker

StartWorker = Callable[..., Worker]


def test_a_plan_that_is_stopped_keeps_the_best_so_far(
    company: Company, as_office: APIClient, start_worker: StartWorker
) -> None:
    for k in range(2):
        factories.InstallerFactory(company=company, weekdays=list(range(7)), home_latitude=52.0 + k / 10)
    today = timezone.now().date()
    for k in range(12):
        site = factories.SiteFactory(company=company, latitude=52.0 + k / 50, longitude=13.0 + (k % 4) / 20)
        factories.VisitFactory(
            company=company,
            site=site,
            earliest_day=today,
            best_day=today,
            latest_day=today + timedelta(days=9),
            costs_first_day=today,
            costs=[5.0 * day for day in range(40)],
        )
    worker = start_worker()
    started = as_office.post("/api/v1/plans/", {"seconds": 600, "days": 4}, format="json")
    assert started.status_code == 202, started.content
    address = started.headers["Location"]
    reports = []

    def improving() -> bool:
        reports.append(as_office.get(address).json())
        return "improving" in reports[-1]["doing"]

    worker.wait_until(improving, "the search")
    assert re.fullmatch(r"improving; best so far \d+\.\d\d EUR", reports[-1]["doing"])
    assert (reports[-1]["state"], reports[-1]["result"]) == ("running", None)
    assert 0.0 < reports[-1]["share_done"] < 0.5
    assert as_office.post(f"{address}stop/").status_code == 200
    job = Job.objects.get()

    def over() -> bool:
        job.refresh_from_db()
        return job.state not in ("waiting", "running")

    worker.wait_until(over, "the end of the search")
    assert job.finished_at - job.started_at < timedelta(seconds=300)
    body = as_office.get(address).json()
    assert (body["state"], body["problem"], body["result"]["stopped_early"]) == ("done", None, True)
    plan = Plan.objects.get(pk=body["result"]["plan"])
    assert plan.faults == []
    assert Stop.objects.filter(round__plan=plan).count() + plan.unserved.count() == 12
    assert Stop.objects.filter(round__plan=plan).exists()
    # what was cut short is not the answer to the question: asked again, it is planned again
    assert plan.digest == ""
