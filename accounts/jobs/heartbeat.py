"""Whoever works says so: the lease of a piece of work is renewed beside the work, so that it can be short.

A short lease is what makes the next worker begin soon after one has died. The work itself cannot renew it often enough:
a step may compute for minutes between two reports. So a thread does, on a connection of its own, as long as the work
has reported within `LONGEST_SILENCE`: a process that hangs must not hold its piece for ever.
"""

import logging
import threading
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from contextvars import copy_context
from datetime import timedelta
from typing import Final

from django.conf import settings
from django.db import DatabaseError, InterfaceError, connections

log = logging.getLogger(__name__)

LONGEST_SILENCE: Final = timedelta(minutes=15)
"""How long work may say nothing and is still taken to be going on."""


def lease() -> timedelta:
    """How long a claim holds without being renewed.

    Where no queue is, the work is done in the process that asked for it, nothing renews beside it, and nobody waits to
    take it over.
    """
    return LONGEST_SILENCE if settings.CELERY_TASK_ALWAYS_EAGER else timedelta(seconds=settings.JOB_LEASE_SECONDS)


@contextmanager
def kept(renew: Callable[[], bool]) -> Iterator[None]:
    """Call `renew` three times a lease while the block lasts, until it answers False.

    The thread sees the company that the block works for. A database that cannot be written just now is asked again at
    the next beat.
    """
    if settings.CELERY_TASK_ALWAYS_EAGER:
        yield
        return
    is_over = threading.Event()
    beat = threading.Thread(target=copy_context().run, args=(_beat, renew, is_over), name="lease", daemon=True)
    beat.start()
    try:
        yield
    finally:
        is_over.set()
        # It may wait for a lock that this process holds no more by now.
        beat.join()


def _beat(renew: Callable[[], bool], is_over: threading.Event) -> None:
    try:
        while not is_over.wait(lease().total_seconds() / 3):
            try:
                if not renew():
                    return
            except (DatabaseError, InterfaceError) as error:
                log.warning("a lease could not be renewed: %s", error)
                connections.close_all()
    finally:
        connections.close_all()
