"""What services raise when they cannot do what was asked; the words of the domain, without HTTP."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Any


@dataclass(frozen=True, slots=True)
class Fault:
    """One thing wrong with what was sent.

    `pointer` is a JSON Pointer (RFC 6901) into what was sent, such as "/rows/3/inlet_pressure", or "" for the whole of
    it; `sentence` says what was wrong and what would be right.
    """

    pointer: str
    sentence: str


class DomainError(Exception):
    """Something a person can understand and mend.

    Parameters
    ----------
    code
        A short name in snake_case that a program can compare, such as "unit_code_taken".
    sentence
        What happened, for a person.
    pointer
        Where the one fault lies, when there is one; its sentence is `sentence`.
    faults
        Every fault, when there are several; they take the place of `pointer`.
    """

    def __init__(self, code: str, sentence: str, *, pointer: str | None = None, faults: Sequence[Fault] = ()) -> None:
        super().__init__(sentence)
        self.code = code
        self.sentence = sentence
        self.faults: tuple[Fault, ...] = tuple(faults)
        if not self.faults and pointer is not None:
            self.faults = (Fault(pointer, sentence),)

    @property
    def in_full(self) -> str:
        """What happened and every fault, each said once, where there is no form to show them beside their fields."""
        return " ".join(dict.fromkeys([self.sentence, *(fault.sentence for fault in self.faults)]))

    def __reduce__(self) -> tuple[Any, ...]:
        # Work that other processes share raises there what is told here.
        return _made_again, (type(self), self.args, self.__dict__.copy())


def _made_again(kind: type[DomainError], args: tuple[Any, ...], state: dict[str, Any]) -> DomainError:
    error = kind.__new__(kind, *args)
    error.args = args
    error.__dict__.update(state)
    return error


class InvalidInput(DomainError):  # noqa: N818 - the words of the domain
    """What was sent cannot be right, whatever the state of the records."""


class NotAllowed(DomainError):  # noqa: N818 - the words of the domain
    """The acting member may not do this."""


class NotFound(DomainError):  # noqa: N818 - the words of the domain
    """There is no such thing, or none the acting member may see: the two are never told apart."""


class Conflict(DomainError):  # noqa: N818 - the words of the domain
    """What was sent is right in itself but does not fit the records as they stand."""


class TooManyTries(DomainError):  # noqa: N818 - the words of the domain
    """It was tried too often; it may be tried again after `wait_seconds`."""

    def __init__(self, wait_seconds: float) -> None:
        super().__init__("too_many_requests", "That was tried too often: wait before you try again.")
        self.wait_seconds = wait_seconds


def raise_together(*checks: Callable[[], object]) -> None:
    """Run checks one after the other and raise the faults of all of them as one, so that nobody mends one by one.

    Raises
    ------
    InvalidInput
        With the code and sentence of the first check that found something, and every fault.
    DomainError
        Of another kind, where no check found a fault of input: the first.
    """
    errors: list[DomainError] = []
    for check in checks:
        try:
            check()
        except DomainError as error:
            errors.append(error)
    invalid = [error for error in errors if isinstance(error, InvalidInput)]
    if len(invalid) > 1:
        faults = [fault for error in invalid for fault in error.faults or (Fault("", error.sentence),)]
        raise InvalidInput(invalid[0].code, invalid[0].sentence, faults=faults)
    if errors:
        raise (invalid or errors)[0]


def escape_pointer(part: str | int) -> str:
    """Escape one step of a JSON Pointer as RFC 6901 section 3 asks: "~" becomes "~0", "/" becomes "~1"."""
    return str(part).replace("~", "~0").replace("/", "~1")
