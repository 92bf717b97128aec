"""What is no longer as published, and who must be told."""

from __future__ import annotations

import datetime
import enum
from collections.abc import Collection, Iterable, Mapping
from dataclasses import dataclass

from scheduling.planning.words import rounds as words

#: Installer, day, start of work in seconds of the day.
Slot = tuple[str, int, int]


class DifferenceKind(enum.StrEnum):
    """How a visit changed."""

    RESCHEDULED = "rescheduled"
    REASSIGNED = "reassigned"
    RETIMED = "retimed"
    DROPPED = "dropped"
    CANCELLED = "cancelled"
    ADDED = "added"


@dataclass(frozen=True, slots=True)
class Difference:
    """One visit that is not as published.

    Attributes
    ----------
    visit
        Its key.
    kind
        How it changed; a visit that moved day is called that, whoever comes now, and one that moved installer is called
        that, whenever they come.
    before, after
        Installer, day of the published horizon and start in seconds of the day; None where there is none.
    sentence
        The same for a person to read.
    tell_client
        Whether the client must hear of it.
    tell_installers
        Who must hear of it.
    """

    visit: str
    kind: DifferenceKind
    before: Slot | None
    after: Slot | None
    sentence: str
    tell_client: bool
    tell_installers: tuple[str, ...]


def list_differences(
    before: Mapping[str, Slot],
    after: Mapping[str, Slot],
    *,
    names: Mapping[str, str],
    cancelled: Collection[str],
    with_named_installer: Collection[str],
    first_day: datetime.date,
    tolerance_s: int,
) -> tuple[Difference, ...]:
    """Every visit that is in only one of two plans, or not at the same time, day or hands.

    Parameters
    ----------
    before, after
        Visit key to its slot; days of both are those of the published horizon.
    names
        Visit key to how a sentence names it.
    cancelled
        Visits that were cancelled, so that nobody is surprised by their absence.
    with_named_installer
        Visits whose client was confirmed an installer by name.
    first_day
        Date of day 0.
    tolerance_s
        Starts no further apart than this count as the same.
    """

    def when(slot: Slot) -> str:
        return words.moment(first_day + datetime.timedelta(days=slot[1]), slot[2])

    differences: list[Difference] = []
    for visit in [*before, *(v for v in after if v not in before)]:
        old, new, name = before.get(visit), after.get(visit), names[visit]
        if new is None and old is not None:
            is_cancelled = visit in cancelled
            kind = DifferenceKind.CANCELLED if is_cancelled else DifferenceKind.DROPPED
            sentence = (words.is_cancelled if is_cancelled else words.is_dropped)(name, when(old), old[0])
            differences.append(Difference(visit, kind, old, None, sentence, not is_cancelled, (old[0],)))
        elif old is None and new is not None:
            sentence = words.is_added(name, when(new), new[0])
            differences.append(Difference(visit, DifferenceKind.ADDED, None, new, sentence, True, (new[0],)))
        elif old is not None and new is not None:
            retimed = abs(old[2] - new[2]) > tolerance_s
            people = tuple(dict.fromkeys((old[0], new[0])))
            if old[1] != new[1]:
                sentence = words.is_on_another_day(name, when(old), when(new), new[0])
                differences.append(Difference(visit, DifferenceKind.RESCHEDULED, old, new, sentence, True, people))
            elif old[0] != new[0]:
                sentence = words.is_reassigned(name, old[0], new[0], when(old), when(new))
                tell = retimed or visit in with_named_installer
                differences.append(Difference(visit, DifferenceKind.REASSIGNED, old, new, sentence, tell, people))
            elif retimed:
                sentence = words.is_retimed(name, when(old), when(new), new[0])
                differences.append(Difference(visit, DifferenceKind.RETIMED, old, new, sentence, True, people))
    return tuple(differences)


def list_people_to_notify(differences: Iterable[Difference]) -> tuple[tuple[str, ...], tuple[str, ...]]:
    """Visits whose clients, and installers who, must hear of the changes."""
    listed = list(differences)
    clients = tuple(d.visit for d in listed if d.tell_client)
    installers = tuple(dict.fromkeys(person for d in listed for person in d.tell_installers))
    return clients, installers
