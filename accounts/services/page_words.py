"""What the pages behind the links of letters say."""

from dataclasses import dataclass

from accounts.language import gettext
from accounts.models import Invitation
from accounts.services.letter_words import as_role


@dataclass(frozen=True, slots=True)
class Page:
    """One page: its title, what it says, and its form, if it has one.

    Attributes
    ----------
    field
        Label of the password that is asked for; empty where none is.
    button
        Label of the button; empty where there is nothing to do.
    is_new
        Whether the password is one to be chosen.
    """

    title: str
    text: str
    field: str = ""
    button: str = ""
    is_new: bool = False


def invitation(offered: Invitation, *, has_account: bool) -> Page:
    """What is offered."""
    words = gettext("{company} invites {email} {role}.")
    return Page(
        title=gettext("Invitation from {company}").format(company=offered.company.name),
        text=words.format(company=offered.company.name, email=offered.email, role=as_role(offered.role)),
        field=gettext("Password of your account") if has_account else gettext("Choose a password"),
        button=gettext("Accept"),
        is_new=not has_account,
    )


def new_password(email: str) -> Page:
    """A password is to be chosen."""
    return Page(
        title=gettext("Choose a new password"),
        text=gettext("For {email}. Every device that is signed in now will be signed out.").format(email=email),
        field=gettext("New password"),
        button=gettext("Keep this password"),
        is_new=True,
    )


def password_chosen() -> Page:
    """The password was chosen."""
    return Page(gettext("Done"), gettext("Sign in with your new password from now on."))


def new_address(email: str) -> Page:
    """A new address is to be confirmed."""
    return Page(
        title=gettext("Confirm your new address"),
        text=gettext("From then on you sign in with {email}.").format(email=email),
        button=gettext("Confirm"),
    )


def address_taken(email: str) -> Page:
    """The new address holds."""
    return Page(gettext("Done"), gettext("You sign in with {email} from now on.").format(email=email))


def joined(company: str) -> Page:
    """The place was taken."""
    return Page(gettext("Welcome"), gettext("You are a member of {company} now.").format(company=company))


def no_link() -> Page:
    """The link was not signed here, was used or is too old."""
    text = gettext("This link does not work, was used already, or is too old. Please ask for another.")
    return Page(gettext("Nothing to do here"), text)


def too_often() -> Page:
    """Too many looks in a short time."""
    return Page(gettext("Please wait"), gettext("That was too often in a short time. Please wait a minute."))
