"""What services raise: on its way from one process to another, and told in full."""

import pickle

import pytest

from accounts.errors import Conflict, DomainError, Fault, InvalidInput


@pytest.mark.parametrize(
    "error",
    [
        DomainError("too_late", "It is too late."),
        InvalidInput("not_a_number", "Write digits.", pointer="/price"),
        Conflict("changed", "It has changed.", faults=[Fault("/a", "One."), Fault("/b", "Two.")]),
    ],
)
def test_what_another_process_raised_is_told_here(error: DomainError) -> None:
    again = pickle.loads(pickle.dumps(error))
    assert type(again) is type(error)
    assert (again.code, again.sentence, again.faults, str(again)) == (
        error.code,
        error.sentence,
        error.faults,
        error.sentence,
    )


def test_what_happened_is_said_in_full_and_nothing_twice() -> None:
    weak = InvalidInput("weak", "This is weak.", faults=[Fault("/a", "It is short."), Fault("/a", "It is a name.")])
    assert weak.in_full == "This is weak. It is short. It is a name."
    assert InvalidInput("not_a_number", "Write digits.", pointer="/price").in_full == "Write digits."
    assert Conflict("changed", "It has changed.").in_full == "It has changed."
