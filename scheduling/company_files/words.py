"""What is kept beside records that were brought in; spoken through `accounts.language`."""

from accounts.language import gettext


def day_without_hour() -> str:
    """A reading whose hour nobody wrote down."""
    return gettext("Only the day is known; it is kept at its noon.")
