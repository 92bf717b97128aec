"""What the page behind the link of an offer says."""

from collections.abc import Mapping
from typing import Any

from accounts.language import gettext


def labels(visit: Mapping[str, Any] | None) -> dict[str, str]:
    """Headings, fields and buttons of the page; None: of a link that speaks of no visit."""
    company, site = (visit["company"], visit["site"]) if visit is not None else ("", "")
    return {
        "title": gettext("Visit to {site}").format(site=site) if visit is not None else gettext("Our visit"),
        "work": gettext("What we will do"),
        "minutes": gettext("It takes about {count} minutes.").format(count=visit["minutes"] if visit else 0),
        "choose": gettext("When may we start?"),
        "accept": gettext("Accept this time"),
        "otherwise": gettext("None of these times suits you?"),
        "note": gettext("Tell us what would suit you (you may leave this empty)"),
        "decline": gettext("Decline these times"),
        "cannot": gettext("You cannot be there?"),
        "why": gettext("Tell us why, or what would suit you (you may leave this empty)"),
        "cancel": gettext("Cancel this visit"),
        "call": gettext("Would you rather talk to us?"),
        "call_me": gettext("Please call me"),
        "phone": gettext("Or call {company}:").format(company=company),
    }


def not_ours() -> str:
    """The link was not signed here, or is too old."""
    return gettext("This link does not work, or is too old. Please call the company that wrote to you.")


def too_often() -> str:
    """Too many looks in a short time."""
    return gettext("That was too often in a short time. Please wait a minute.")


def not_understood(longest: int) -> str:
    """A form that the page did not make, or a note that is too long."""
    words = gettext("We did not understand that. Please choose a button; a note may have {count} letters.")
    return words.format(count=longest)


def choose_one() -> str:
    """The button was pressed and no time chosen."""
    return gettext("Please choose one of the times first.")


def asked_for_call() -> str:
    """The call is on the office's list."""
    return gettext("Thank you. We will call you.")
