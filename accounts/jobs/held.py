"""Work outside of jobs that a worker is at: when its process dies, another gets it within minutes.

The queue itself misses a task only after its visibility timeout, which is longer than the longest task takes. So who
works leaves a note on the queue's server, renews it beside the work and takes it away at the end; a note that nobody
renews any more is the work of the dead. Done twice it does no harm, by the queue's own late copy for one.
"""

import json
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from datetime import datetime
from typing import Any, Final
from uuid import uuid4

from celery import current_app
from django.conf import settings
from django.utils import timezone
from kombu.exceptions import OperationalError
from redis import RedisError

from accounts.jobs.heartbeat import kept, lease
from accounts.jobs.queue import give
from accounts.jobs.waiting import server_of_queue

_NOTES: Final = "held"


@contextmanager
def held(task: str, arguments: Mapping[str, Any]) -> Iterator[None]:
    """Hold a task, by its name and what it is to be called with if this process dies, while the block lasts.

    A server of the queue that does not answer holds nothing: the queue's own copy stands in, later.
    """
    if settings.CELERY_TASK_ALWAYS_EAGER:
        yield
        return
    token = uuid4().hex

    def renew() -> bool:
        until = timezone.now() + lease()
        return _on_server("hset", token, json.dumps([task, dict(arguments), until.timestamp()])) is not None

    renew()
    try:
        with kept(renew):
            yield
    finally:
        _on_server("hdel", token)


def give_again(*, now: datetime) -> int:
    """Put what nobody holds any more on the queue again; the number of tasks."""
    notes: Mapping[bytes, bytes] = _on_server("hgetall") or {}
    given = 0
    for token, note in notes.items():
        name, arguments, until = json.loads(note)
        # of two clocks, one takes the note away
        if until < now.timestamp() and _on_server("hdel", token) == 1:
            given += give(current_app.tasks[name], **arguments)
    return given


def _on_server(command: str, *arguments: Any) -> Any:
    """What the server answers to a command about the notes; None where it cannot be asked."""
    if settings.CELERY_TASK_ALWAYS_EAGER:
        return None
    try:
        with server_of_queue() as server:
            return None if server is None else getattr(server, command)(_NOTES, *arguments)
    except (OperationalError, RedisError, OSError):
        return None
