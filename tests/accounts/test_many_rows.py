"""Many rows changed at once: each to its own values, and no row that is gone comes back."""

from datetime import UTC, datetime
from typing import Any

from accounts.jobs.models import Job
from accounts.many_rows import update_rows
from accounts.models import Company, Membership
from tests import factories

NOW = datetime(2026, 3, 10, 12, tzinfo=UTC)


def test_each_row_gets_its_own_values_and_keeps_the_others(company: Company, owner: Membership) -> None:
    jobs = [factories.JobFactory(company=company, kind=f"kind {number}") for number in range(3)]
    for number, job in enumerate(jobs):
        job.result, job.finished_at, job.share_done = {"rows": number, "of": [None, "é"]}, NOW, number / 4
        job.requested_by, job.kind = (owner if number else None), "not named"
    Job.objects.filter(pk=jobs[2].pk).delete()
    update_rows(jobs, ["result", "finished_at", "share_done", "requested_by_id"])
    stored = Job.objects.order_by("pk").values_list("kind", "result", "finished_at", "share_done", "requested_by")
    assert list(stored) == [
        ("kind 0", {"rows": 0, "of": [None, "é"]}, NOW, 0.0, None),
        ("kind 1", {"rows": 1, "of": [None, "é"]}, NOW, 0.25, owner.pk),
    ]


def test_of_no_rows_nothing_is_asked(django_assert_num_queries: Any, db: None) -> None:
    with django_assert_num_queries(0):
        update_rows([], ["state"])
