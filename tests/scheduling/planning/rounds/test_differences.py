"""What is told of two plans, case by case."""

from __future__ import annotations

import datetime

import pytest

from scheduling.planning.rounds.differences import (
    Difference,
    DifferenceKind,
    Slot,
    list_differences,
    list_people_to_notify,
)
from tests.scheduling.planning.rounds.instances import HOUR

TUESDAY = datetime.date(2026, 12, 1)
NINE = ("Ada", 0, 9 * HOUR)


def differences(
    before: dict[str, Slot], after: dict[str, Slot], *, cancelled: tuple[str, ...] = (), promised: tuple[str, ...] = ()
) -> tuple[Difference, ...]:
    return list_differences(
        before, after, names={key: f"The {key}" for key in (*before, *after)}, cancelled=cancelled,
        with_named_installer=promised, first_day=TUESDAY, tolerance_s=600,
    )  # fmt: skip


def between(old: Slot | None, new: Slot | None, **more: tuple[str, ...]) -> Difference | None:
    changes = differences({"mill": old} if old else {}, {"mill": new} if new else {}, **more)
    return changes[0] if changes else None


CASES: list[tuple[Slot | None, Slot | None, DifferenceKind, str, bool, tuple[str, ...]]] = [
    (NINE, None, DifferenceKind.DROPPED,
     "The mill: Tue 1 Dec 09:00 with Ada can no longer be made as planned and must be rearranged.", True, ("Ada",)),
    (None, ("Ben", 1, 14 * HOUR + 59), DifferenceKind.ADDED,
     "The mill: new, Wed 2 Dec 14:00 with Ben.", True, ("Ben",)),
    (NINE, ("Ada", 2, 9 * HOUR), DifferenceKind.RESCHEDULED,
     "The mill: from Tue 1 Dec 09:00 to Thu 3 Dec 09:00, with Ada.", True, ("Ada",)),
    (NINE, ("Ben", 2, 9 * HOUR), DifferenceKind.RESCHEDULED,
     "The mill: from Tue 1 Dec 09:00 to Thu 3 Dec 09:00, with Ben.", True, ("Ada", "Ben")),
    (NINE, ("Ben", 0, 9 * HOUR), DifferenceKind.REASSIGNED,
     "The mill: Ben comes instead of Ada, Tue 1 Dec 09:00 as before.", False, ("Ada", "Ben")),
    (NINE, ("Ben", 0, 9 * HOUR + 601), DifferenceKind.REASSIGNED,
     "The mill: Ben comes instead of Ada, Tue 1 Dec 09:10 (was Tue 1 Dec 09:00).", True, ("Ada", "Ben")),
    (NINE, ("Ada", 0, 9 * HOUR - 601), DifferenceKind.RETIMED,
     "The mill: Tue 1 Dec 08:49 and not Tue 1 Dec 09:00, with Ada.", True, ("Ada",)),
]  # fmt: skip


@pytest.mark.parametrize(("old", "new", "kind", "sentence", "tell_client", "tell_installers"), CASES)
def test_each_change_is_told_to_whom_it_concerns(
    old: Slot | None, new: Slot | None, kind: DifferenceKind, sentence: str, tell_client: bool,
    tell_installers: tuple[str, ...],
) -> None:  # fmt: skip
    assert between(old, new) == Difference("mill", kind, old, new, sentence, tell_client, tell_installers)


def test_who_cancelled_is_not_told_that_nobody_comes() -> None:
    difference = between(NINE, None, cancelled=("mill",))
    assert difference is not None
    assert (difference.kind, difference.tell_client, difference.tell_installers) == (
        DifferenceKind.CANCELLED,
        False,
        ("Ada",),
    )
    assert difference.sentence == "The mill: Tue 1 Dec 09:00 with Ada was cancelled."


@pytest.mark.parametrize("later", [-600, 0, 600])
def test_a_few_minutes_are_no_change(later: int) -> None:
    assert between(NINE, ("Ada", 0, 9 * HOUR + later)) is None
    other = between(NINE, ("Ben", 0, 9 * HOUR + later))
    assert other is not None
    assert not other.tell_client


def test_a_client_who_was_promised_an_installer_hears_of_another() -> None:
    difference = between(NINE, ("Ben", 0, 9 * HOUR), promised=("mill",))
    assert difference is not None
    assert difference.tell_client


def test_everybody_hears_once() -> None:
    before = {"a": NINE, "b": NINE, "c": ("Ben", 0, 9 * HOUR)}
    after = {"a": ("Ada", 0, 11 * HOUR), "b": ("Ben", 0, 9 * HOUR), "d": ("Ben", 1, 9 * HOUR)}
    changes = differences(before, after)
    assert [one.visit for one in changes] == ["a", "b", "c", "d"]
    assert list_people_to_notify(changes) == (("a", "c", "d"), ("Ada", "Ben"))
