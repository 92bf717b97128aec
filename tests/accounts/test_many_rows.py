"""Many rows written at once: new ones as they are, each changed one to its own values, and none that is gone again."""

from datetime import UTC, datetime
from typing import Any

import pytest
from django.db import IntegrityError, ProgrammingError, connection, transaction

from accounts import wall
from accounts.jobs.models import Job
from accounts.many_rows import insert_rows, update_rows
from accounts.models import Company, Membership
from fleet.models import Reading, Unit
from tests import factories
from tests.walled import as_application

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


#: More than are sent in one statement.
MANY = 120


@pytest.mark.database
def test_new_rows_are_stored_as_they_are_and_know_their_keys(company: Company, owner: Membership) -> None:
    told: list[Any] = ["plain", "tab\tand\nline", "back\\slash \\N", "é 水 \u2028", "", '{"quoted": "text"}', "NULL"]
    jobs = [
        Job(
            company=company,
            kind=told[number % len(told)],
            created_at=NOW,
            share_done=number / 7,
            result=None if number % 3 else {"rows": number, "of": [None, told[number % len(told)], 1.5e-300]},
            requested_by=None if number % 2 else owner,
            finished_at=None if number % 5 else NOW,
        )
        for number in range(MANY)
    ]
    insert_rows(jobs)
    stored = list(Job.objects.order_by("pk"))
    assert [job.pk for job in jobs] == [job.pk for job in stored]
    columns = [field.attname for field in Job._meta.concrete_fields]
    assert [[getattr(job, name) for name in columns] for job in jobs] == [
        [getattr(job, name) for name in columns] for job in stored
    ]
    more = Job(company=company, kind="one more", created_at=NOW)
    more.save()
    assert more.pk > jobs[-1].pk


@pytest.mark.database
def test_where_one_new_row_may_not_be_stored_none_is(company: Company) -> None:
    unit = factories.UnitFactory(company=company)
    readings = [
        Reading(unit=unit, taken_at=NOW, received_at=NOW, source="import", reference=f"R{number % (MANY - 1)}")
        for number in range(MANY)
    ]
    with pytest.raises(IntegrityError), transaction.atomic():
        insert_rows(readings)
    assert not Reading.objects.exists()
    insert_rows(readings[:-1])
    assert Reading.objects.count() == MANY - 1


def test_of_no_new_rows_nothing_is_asked(django_assert_num_queries: Any, db: None) -> None:
    with django_assert_num_queries(0):
        insert_rows([])


@pytest.mark.database
@pytest.mark.skipif(connection.vendor != "postgresql", reason="the wall is PostgreSQL's")
def test_behind_the_wall_many_rows_go_in_at_once_and_none_of_another_company(
    company: Company, rival_company: Company
) -> None:
    ours, theirs = factories.UnitFactory(company=company), factories.UnitFactory(company=rival_company)

    def readings(unit: Unit) -> list[Reading]:
        return [Reading(unit=unit, taken_at=NOW, received_at=NOW, source="import") for _ in range(MANY)]

    with as_application(), wall.inside_company(company.pk):
        insert_rows(readings(ours))
        assert Reading.objects.count() == MANY
        with pytest.raises(ProgrammingError, match="row-level security"), transaction.atomic():
            insert_rows([*readings(ours), *readings(theirs)])
    assert Reading.objects.count() == MANY
