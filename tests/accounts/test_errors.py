"""What services raise, on its way from one process to another."""

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
