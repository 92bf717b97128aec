"""What can go wrong with a published plan, and what breaking it is taken to cost."""

from __future__ import annotations

from dataclasses import dataclass

from scheduling.planning.rounds.problem import Candidate


@dataclass(frozen=True, slots=True)
class Moment:
    """A day of the horizon and a second of that day."""

    day: int
    second: int


@dataclass(frozen=True, slots=True)
class InstallerOut:
    """An installer does not work on a day, or must be home by a second of it (ill, van broken down)."""

    installer: str
    day: int
    from_s: int = 0


@dataclass(frozen=True, slots=True)
class FreeLater:
    """An installer is done with what they are at only at ``free_s`` of the present day: the visit overruns."""

    installer: str
    free_s: int


@dataclass(frozen=True, slots=True)
class VisitCancelled:
    """A visit is not to be made after all."""

    visit: str


@dataclass(frozen=True, slots=True)
class VisitAdded:
    """A visit is to be made as well; its days are those of the published problem. Urgent calls are marked urgent."""

    candidate: Candidate


@dataclass(frozen=True, slots=True)
class VisitNotDone:
    """A visit that had begun could not be done and is open again."""

    visit: str


Change = InstallerOut | FreeLater | VisitCancelled | VisitAdded | VisitNotDone


@dataclass(frozen=True, slots=True)
class Disturbance:
    """What breaking a published plan is taken to cost, in cents; common practice, no source.

    Attributes
    ----------
    other_installer_cents
        Someone else comes.
    other_confirmed_installer_cents
        Someone else comes than was confirmed to the client by name.
    other_day_cents
        A visit moves to another day: the client must be called.
    dropped_cents
        A visit is not made in these days after all.
    added_cents
        A client who was told of no visit is visited.
    retimed_cents
        A visit keeps its day and installer and starts at another time.
    tolerance_s
        A visit that starts earlier or later by no more than this does not count as retimed.
    """

    other_installer_cents: int = 600
    other_confirmed_installer_cents: int = 2_500
    other_day_cents: int = 2_000
    dropped_cents: int = 4_000
    added_cents: int = 1_500
    retimed_cents: int = 1_000
    tolerance_s: int = 900
