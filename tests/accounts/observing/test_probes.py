"""Whether the process lives, and whether it can answer."""

from typing import Any

import pytest
from django.db import connection
from django.test import Client

DEAD = "redis://127.0.0.1:1/0"


def test_a_living_process_asks_for_nothing(client: Client) -> None:
    # Without the database fixture a query would be refused.
    assert client.get("/healthz").json() == {"process": "ok"}


@pytest.mark.django_db
def test_a_server_with_all_its_parts_is_ready(client: Client) -> None:
    answer = client.get("/readyz")
    assert (answer.status_code, answer.json()) == (200, {"database": "ok", "tables": "ok", "queue": "ok"})
    assert "no-store" in answer.headers["Cache-Control"]


@pytest.mark.django_db
def test_missing_migrations_are_counted(client: Client) -> None:
    with connection.cursor() as cursor:
        cursor.execute("DELETE FROM django_migrations WHERE app = 'sessions'")
    answer = client.get("/readyz")
    assert (answer.status_code, answer.json()["tables"]) == (503, "1 migrations are missing: run manage.py migrate")


@pytest.mark.django_db
def test_a_queue_that_is_away_is_named(client: Client, settings: Any) -> None:
    settings.REDIS_URL = settings.CELERY_BROKER_URL = DEAD
    answer = client.get("/readyz")
    assert (answer.status_code, answer.json()["queue"]) == (503, "cannot be reached: what is asked for waits")


@pytest.mark.parametrize("path", ["/healthz", "/readyz"])
def test_only_reading_is_answered(client: Client, path: str) -> None:
    assert client.post(path).status_code == 405
