"""The page of a plan that is being made on a worker: it shows how far it is, and stops it."""

import re
from collections.abc import Callable
from datetime import timedelta

from django.utils import timezone

from accounts.jobs.models import Job
from accounts.models import Company, Membership
from scheduling.models import Plan
from tests import factories
from tests.live.workers import Worker
from tests.pages import signed_in, text_of

StartWorker = Callable[..., Worker]


def test_the_page_of_a_plan_shows_how_far_it_is_and_stops_it(
    company: Company, office: Membership, start_worker: StartWorker
) -> None:
    for k in range(3):
        factories.InstallerFactory(company=company, weekdays=list(range(7)), home_latitude=52.0 + k / 10)
    today = timezone.now().date()
    for k in range(30):
        factories.VisitFactory(
            company=company,
            site=factories.SiteFactory(company=company, latitude=52.0 + k / 60, longitude=13.0 + (k % 5) / 20),
            earliest_day=today,
            best_day=today,
            latest_day=today + timedelta(days=9),
            costs_first_day=today,
            costs=[5.0 * day for day in range(40)],
        )
    desk = signed_in(office)
    started = desk.post("/week/", {"do": "plan", "days": "5"})
    job = Job.objects.get()
    assert (started.status_code, started.headers["Location"]) == (302, f"/runs/{job.pk}/")
    # a search that a quick machine has not ended before somebody stops it
    job.parameters["seconds"] = 120
    job.save(update_fields=["parameters"])
    address = started.headers["Location"]
    waiting = text_of(desk.get(address))
    assert "Waiting for a worker." in waiting
    # the page asks again by itself, for its part alone
    assert f'hx-get="{address}" hx-trigger="load delay:2s"' in waiting

    def part() -> str:
        answer = desk.get(address, headers={"HX-Request": "true", "HX-Target": "run"})
        return text_of(answer) if answer.status_code == 200 else ""

    worker = start_worker()
    seen: list[str] = []

    def improving() -> bool:
        seen.append(part())
        percent = re.search(r'<progress max="100" value="(\d+)">', seen[-1])
        return "Improving; best so far" in seen[-1] and percent is not None and 0 < int(percent[1]) < 100

    worker.wait_until(improving, "the page that says the plan is improving, and how far it is")
    assert "<html" not in seen[-1]
    stopped = desk.post(address, {"do": "stop"})
    assert (stopped.status_code, stopped.headers["Location"]) == (302, address)

    def over() -> bool:
        job.refresh_from_db()
        return job.state not in ("waiting", "running")

    worker.wait_until(over, "the end of the plan")
    assert job.result["stopped_early"]
    plan = Plan.objects.get()
    there = desk.get(address, headers={"HX-Request": "true", "HX-Target": "run"})
    assert there.headers["HX-Redirect"] == f"/week/?plan={plan.pk}"
    assert "This is a draft: nobody drives by it yet." in text_of(desk.get(f"/week/?plan={plan.pk}"))
