"""The name of a request goes along to the workers: what they log of it says whose it is.

Work that nobody asked for, such as that of the night, is named after its task.
"""

from contextlib import AbstractContextManager
from typing import Any, Final

from celery import Task, signals

from accounts.observing.requests import current_request, named

KEY: Final = "request_id"

_running: Final[dict[str, AbstractContextManager[None]]] = {}


@signals.before_task_publish.connect
def name_task(headers: dict[str, Any] | None = None, **_: Any) -> None:
    """Write the name of the request that is answered here on the task that goes to the queue."""
    if headers is not None and (name := current_request()):
        headers.setdefault(KEY, name)


@signals.task_prerun.connect
def begin(task_id: str, task: "Task[Any, Any]", **_: Any) -> None:
    """A worker begins a task. One in the process that asks goes on under the name of its request."""
    if task.request.is_eager:
        return
    running = named(str(getattr(task.request, KEY, None) or task_id))
    running.__enter__()
    _running[task_id] = running


@signals.task_postrun.connect
def end(task_id: str, **_: Any) -> None:
    """A worker is done with a task."""
    if running := _running.pop(task_id, None):
        running.__exit__(None, None, None)
