"""Work that waits in the queue already is asked for once, however often; what each asked for is noted beside it.

A burst of readings of one unit is followed once and not a thousand times. Who asks writes a note under the work's name,
after the change is stored; the first one puts the work on the queue. Whoever does the work takes the name down before
looking at any row, and so sees what everybody before changed; who comes after that is the first one again.

Both lie on the server of the queue, and go when it goes. The name is taken down by itself after `LONGEST_SECONDS`, so
that work whose first asker died on the way to the queue is asked for again by the next. A server that does not answer
lets everybody be the first: the work is done too often, and never left out.
"""

from collections.abc import Iterator
from contextlib import contextmanager
from typing import Any, Final

from celery import current_app
from django.conf import settings
from kombu.exceptions import OperationalError
from redis import RedisError

LONGEST_SECONDS: Final = 60
_NOTES_SECONDS: Final = 24 * 3600
"""Notes are taken by the work itself; those of work that never came go after this."""


def is_first(name: str, note: str) -> bool:
    """Leave a note beside the work of that name; whether no such work waits, so that it must be put on the queue."""
    if settings.CELERY_TASK_ALWAYS_EAGER:
        return True
    try:
        with server_of_queue() as server:
            if server is None:
                return True
            asked, notes = _keys(name)
            pipeline = server.pipeline(transaction=True)
            pipeline.rpush(notes, note)
            pipeline.expire(notes, _NOTES_SECONDS)
            pipeline.set(asked, "1", nx=True, ex=LONGEST_SECONDS)
            return bool(pipeline.execute()[-1])
    except (OperationalError, RedisError, OSError):
        return True


def begun(name: str) -> list[str]:
    """Take the name down, as the work is begun, and the notes of all who asked for it."""
    if settings.CELERY_TASK_ALWAYS_EAGER:
        return []
    try:
        with server_of_queue() as server:
            if server is None:
                return []
            asked, notes = _keys(name)
            pipeline = server.pipeline(transaction=True)
            pipeline.delete(asked)
            pipeline.lrange(notes, 0, -1)
            pipeline.delete(notes)
            return [note.decode() for note in pipeline.execute()[1]]
    except (OperationalError, RedisError, OSError):
        return []


def _keys(name: str) -> tuple[str, str]:
    return f"waits:{name}:asked", f"waits:{name}:notes"


@contextmanager
def server_of_queue() -> Iterator[Any]:
    """The server of the queue; None where the queue is of another kind.

    Raises
    ------
    OperationalError, RedisError, OSError
        When it cannot be reached.
    """
    with current_app.pool.acquire(block=True) as connection:
        connection.ensure_connection(max_retries=1, timeout=2)
        yield getattr(connection.default_channel, "client", None)
