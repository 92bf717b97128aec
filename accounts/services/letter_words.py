"""What letters about getting in say."""

from dataclasses import dataclass
from datetime import datetime

from accounts.dates import long_day
from accounts.language import gettext, gettext_noop
from accounts.models import Invitation, Letter, Membership
from accounts.services import links

_AS = {
    Membership.Role.OWNER: gettext_noop("as an owner"),
    Membership.Role.OFFICE: gettext_noop("in the office"),
    Membership.Role.INSTALLER: gettext_noop("as an installer"),
    Membership.Role.CLIENT: gettext_noop("as a client"),
}


@dataclass(frozen=True, slots=True)
class Text:
    """One letter."""

    subject: str
    body: str


def text_of(letter: Letter, now: datetime) -> Text | None:
    """What a letter says; None when it no longer holds."""
    match letter.kind:
        case Letter.Kind.INVITATION:
            return _invitation(letter.invitation, now) if letter.invitation is not None else None
    return None


def as_role(role: str) -> str:
    """What somebody is to a company: 'in the office'."""
    return gettext(_AS[Membership.Role(role)])


def _invitation(invitation: Invitation, now: datetime) -> Text | None:
    if not invitation.is_open(now):
        return None
    company = invitation.company
    address = links.address_of(links.INVITATION + links.invitation_token(invitation) + "/")
    inviter = invitation.invited_by
    who = (inviter.name or inviter.user.email) if inviter is not None else company.name
    lines = [
        gettext("{who} invites you to work with {company} here, {role}.").format(
            who=who, company=company.name, role=as_role(invitation.role)
        ),
        gettext("Open this link to accept. If you have no account yet, you choose your password there:"),
        address,
        *_without_server(),
        gettext("It works once, until {day}.").format(day=long_day(company.day_at(invitation.expires_at), year=True)),
        gettext("If you did not expect this, leave it alone: nothing happens."),
    ]
    return Text(gettext("Invitation from {company}").format(company=company.name), "\n\n".join(lines))


def _without_server() -> list[str]:
    """What to add where the link has no server in it."""
    if links.address_of("").startswith("/"):
        return [gettext("Put the address of the server in front of it.")]
    return []
