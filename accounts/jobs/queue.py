"""The one place that puts work on the queue; a queue that is away fails nobody."""

import logging
from typing import Any

from celery import Task
from django.conf import settings

log = logging.getLogger(__name__)


def give(task: "Task[Any, Any]", **arguments: Any) -> bool:
    """Put a task on the queue; False, and a line in the log, when the queue cannot be reached."""
    if settings.CELERY_TASK_ALWAYS_EAGER:
        task.delay(**arguments)
        return True
    try:
        task.delay(**arguments)
    except Exception as error:  # whatever a client of a queue may raise: what was stored stays stored
        log.warning("%s waits until the queue can be reached: %s", task.name, error)
        return False
    return True
