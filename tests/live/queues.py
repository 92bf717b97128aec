"""Where this process puts its work: on the queue of a server that a test or a benchmark names."""

from collections.abc import Iterator
from contextlib import contextmanager

import kombu.pools
from django.test import override_settings

from fleet.config.celery import app


@contextmanager
def queue_at(server: str) -> Iterator[None]:
    """Put this process's jobs on the queue at an address, whether or not anything answers there."""
    before = {name: app.conf[name] for name in ("broker_url", "broker_write_url", "task_always_eager")}
    address = server.replace("unix://", "redis+socket://")
    # Celery reads the address to write to before the common one, and some versions fill it in by themselves.
    app.conf.update(broker_url=address, broker_write_url=address, task_always_eager=False)
    forget_connections()
    with override_settings(CELERY_TASK_ALWAYS_EAGER=False):
        yield
    app.conf.update(before)
    forget_connections()


def forget_connections() -> None:
    """Let the next task be sent to the address that is now in the configuration."""
    kombu.pools.reset()
    app._pool = None
    app.amqp._producer_pool = None
