"""The one error of this package."""

from __future__ import annotations


class PlanningError(ValueError):
    """A value handed to planning that cannot be worked with.

    The message names the field, says what was wrong with it and what would be right, so that it can be shown to a
    person as it stands.

    Parameters
    ----------
    field
        Name of the offending field, in dotted form where it is nested.
    message
        What was wrong and what would be right, as a plain sentence.
    """

    def __init__(self, field: str, message: str) -> None:
        super().__init__(f"{field}: {message}")
        self.field = field
        self.message = message
