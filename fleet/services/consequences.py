"""Whoever stores a change announces it here, and what rests on it is made anew once it is stored.

What that is stands in `follow_up`; a room that builds on this one subscribes what follows there. Who stored the change
makes no difference: a request, a file, a command, a job.
"""

from collections.abc import Callable, Iterable, Iterator, Mapping
from contextlib import contextmanager
from contextvars import ContextVar
from dataclasses import dataclass, field
from datetime import datetime
from enum import StrEnum
from types import MappingProxyType
from typing import Any, Final

from celery import Task
from django.conf import settings
from django.db import connection, transaction

from fleet.services.hand_over import hand_over

MOST_UNITS: Final = 2000
"""More units than this wait for the nightly run: a request should not set the whole company in motion."""

MOST_IN_PROCESS: Final = 100
"""More units than this wait for the night as well where there is no queue and no indicator is at stake: who changes a
limit or a price of a whole company should have an answer within seconds."""


class Kind(StrEnum):
    """What changed."""

    READINGS = "readings"
    """Readings came in, or were corrected."""
    METERS = "meters"
    """How well values are known; the values stay."""
    TRAIN = "train"
    """Cartridges came or went, or positions changed."""
    UNIT = "unit"
    """Facts of a unit."""
    LABEL = "label"
    """What the catalogue says of an item that stands or stood in the units."""
    PRICE = "price"
    """What such an item costs, or whether it is still used."""
    WATER = "water"
    """What feeds the units: samples, or the supply of their site."""
    LIMITS = "limits"
    """What counts as exhausted."""
    DECISION = "decision"
    """A person confirmed or dismissed a finding."""
    WORK = "work"
    """Work was done that left no other trace here."""
    NEED = "need"
    """A person asked for work or takes it back, or a visit gave back what it was to do."""
    POLICY = "policy"
    """What work costs, how long it takes, and when it is due."""
    CLOCK = "clock"
    """What day it is for the company."""
    TRAVEL = "travel"
    """How far the units are: where their site lies, and where rounds start."""


OF_INDICATORS: Final = frozenset({Kind.READINGS, Kind.METERS, Kind.TRAIN, Kind.UNIT, Kind.LABEL})
"""Changes that indicators rest on."""

OF_NEEDS_ALONE: Final = frozenset({Kind.PRICE, Kind.NEED, Kind.POLICY, Kind.TRAVEL})
"""Changes that neither findings nor forecasts rest on."""

Consequence = Callable[..., Mapping[str, int]]
"""Called with `company`, `units` (ids, of units that are gone too) and `now`; doing it twice leaves the same rows. It
answers counts."""

_subscribed: dict[str, Consequence] = {}
_task: "Task[Any, Any] | None" = None
_held_back: ContextVar[bool] = ContextVar("held_back", default=False)


def carried_out_by(task: "Task[Any, Any]") -> None:
    """Name the task that does what follows; tasks know the services, and not the other way round."""
    global _task
    _task = task


def subscribe(name: str, consequence: Consequence) -> None:
    """Have something more follow every change, after the findings; the same name again takes the place of the first.

    A room does so when its application is ready, so that nothing here has to know of it.
    """
    _subscribed[name] = consequence


def announce(
    company_id: int, *, units: Iterable[int], kind: Kind, now: datetime, since: datetime | None = None
) -> None:
    """Say that something about units changed; what follows is done once the transaction has ended.

    However often a transaction announces, its company gets one follow-up, of all units named. A transaction that is
    rolled back is followed by nothing, and a queue that is away fails nobody: see `hand_over`.

    Parameters
    ----------
    units
        Ids of the units concerned; of none, nothing follows, and too many wait for the night.
    now
        The clock of the change.
    since
        For readings: the moment of the oldest one that came in.
    """
    ids = frozenset(units)
    if not ids or _held_back.get():
        return
    block = _outermost_block()
    pending = _pending(company_id, block)
    if pending is None:
        pending = _FollowUp(company_id, block)
        pending.announced.append(_Announced(ids, kind, now, since))
        # Without a broker the work is done here and now: its error belongs in the log, and not in the answer to a
        # change that is stored.
        transaction.on_commit(pending, robust=True)
    else:
        pending.announced.append(_Announced(ids, kind, now, since))


@contextmanager
def held_back() -> Iterator[None]:
    """Let nothing follow what is stored in this block, for a caller that does the nightly run itself afterwards."""
    token = _held_back.set(True)
    try:
        yield
    finally:
        _held_back.reset(token)


def subscribed() -> Mapping[str, Consequence]:
    """What follows every change beside indicators, forecasts and findings, by name, in the order of subscription."""
    return MappingProxyType(_subscribed)


@dataclass(frozen=True)
class _Announced:
    units: frozenset[int]
    kind: Kind
    now: datetime
    since: datetime | None


@dataclass(eq=False)
class _FollowUp:
    """What one transaction announced for one company; called after the commit."""

    company_id: int
    block: Any
    announced: list[_Announced] = field(default_factory=list)
    is_sent: bool = False

    def __post_init__(self) -> None:
        # Django tells by this name of a hook that failed, and would fail itself without it.
        self.__qualname__ = type(self).__name__

    def __call__(self) -> None:
        self.is_sent = True
        ids = sorted(set().union(*(one.units for one in self.announced)))
        kinds = sorted({one.kind.value for one in self.announced})
        in_process = settings.CELERY_TASK_ALWAYS_EAGER and OF_INDICATORS.isdisjoint(kinds)
        if len(ids) > (MOST_IN_PROCESS if in_process else MOST_UNITS):
            return
        moments = [one.since for one in self.announced if one.kind in OF_INDICATORS]
        stated_moments = [moment for moment in moments if moment is not None]
        since = min(stated_moments).isoformat() if stated_moments and len(stated_moments) == len(moments) else None
        now = max(one.now for one in self.announced)
        if _task is None:
            raise RuntimeError("no task carries out what follows a change; fleet.tasks names it when it is imported")
        hand_over(_task, company_id=self.company_id, unit_ids=ids, kinds=kinds, since=since, now=now)


def _outermost_block() -> Any:
    """The transaction that will be committed; None outside any."""
    return next(iter(connection.atomic_blocks), None)


def _pending(company_id: int, block: Any) -> _FollowUp | None:
    """What this transaction announced already for a company.

    It is rolled back only together with a savepoint that is still open, and what is announced now with it.
    """
    if block is None:
        return None
    hooks = (entry[1] for entry in connection.run_on_commit)
    own_hooks = (hook for hook in hooks if isinstance(hook, _FollowUp) and not hook.is_sent)
    return next((hook for hook in own_hooks if hook.company_id == company_id and hook.block is block), None)
