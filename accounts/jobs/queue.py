"""The one place that puts work on a queue; a queue that is away fails nobody.

Workers serve the queues in turn, one task of each: neither does a night wait until a burst of readings has been
followed, nor what follows a reading for the nights of all companies.
"""

import logging
from typing import Any, Final

from celery import Task, current_app
from django.conf import settings
from kombu import Connection
from kombu.exceptions import ChannelError, OperationalError

log = logging.getLogger(__name__)

FOLLOW_UP: Final = "follow_up"
"""What follows a change somebody has just made."""
JOBS: Final = "jobs"
"""Long work that somebody waits for."""
NIGHT: Final = "night"
"""What no one waits for before the morning."""
UPKEEP: Final = "upkeep"
"""Letters, messages, what was left lying."""

QUEUES: Final = (FOLLOW_UP, JOBS, NIGHT, UPKEEP)


def give(task: "Task[Any, Any]", queue: str | None = None, **arguments: Any) -> bool:
    """Put a task on a queue (None: its own); False, and a line in the log, when the queue cannot be reached."""
    if settings.CELERY_TASK_ALWAYS_EAGER:
        task.delay(**arguments)
        return True
    try:
        task.apply_async(kwargs=arguments, **({} if queue is None else {"queue": queue}))
    except Exception as error:  # whatever a client of a queue may raise: what was stored stays stored
        log.warning("%s waits until the queue can be reached: %s", task.name, error)
        return False
    return True


def lengths() -> dict[str, int] | None:
    """How many tasks lie in each queue of this program; None where they cannot be reached."""
    try:
        with current_app.connection_for_write() as connection:
            connection.ensure_connection(max_retries=1, timeout=2)
            return {name: _length(connection, name) for name in sorted(current_app.amqp.queues)}
    except (OperationalError, OSError):
        return None


def _length(connection: Connection, queue: str) -> int:
    try:
        return int(connection.default_channel.queue_declare(queue=queue, passive=True).message_count)
    except ChannelError:
        return 0  # a queue is there while something lies in it
