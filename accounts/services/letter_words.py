"""What letters about getting in say."""

from dataclasses import dataclass
from datetime import datetime
from typing import TYPE_CHECKING

from django.conf import settings

from accounts.dates import long_day
from accounts.language import gettext, gettext_noop, ngettext
from accounts.models import Invitation, Letter, Membership, User
from accounts.services import links

if TYPE_CHECKING:
    from accounts.webhooks.models import WebhookEndpoint

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
        case Letter.Kind.PASSWORD_RESET:
            return _reset(User.objects.filter(email__iexact=letter.email, is_active=True).order_by("pk").first())
        case Letter.Kind.PASSWORD_CHANGED:
            return _password_changed(letter.email)
        case Letter.Kind.NEW_ADDRESS:
            is_taken = User.objects.filter(email__iexact=letter.email).exists()
            return _new_address(letter.user, letter.email) if letter.user is not None and not is_taken else None
        case Letter.Kind.ADDRESS_CHANGED:
            return _address_changed(letter.email)
        case Letter.Kind.SIGN_IN:
            return _sign_in(User.objects.filter(email__iexact=letter.email, is_active=True).order_by("pk").first())
        case Letter.Kind.SECOND_FACTOR_SET:
            return _second_factor_set(letter.email)
        case Letter.Kind.SECOND_FACTOR_REMOVED:
            return _second_factor_removed(letter.email)
        case Letter.Kind.WEBHOOK_OFF:
            return _webhook_off(letter.endpoint) if letter.endpoint is not None and not letter.endpoint.is_on else None
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


def _reset(user: User | None) -> Text | None:
    if user is None:
        return None
    lines = [
        gettext("Somebody, probably you, asked to choose a new password for {email}.").format(email=user.email),
        gettext("Open this link to choose one:"),
        links.address_of(links.PASSWORD + links.password_token(user) + "/"),
        *_without_server(),
        _lasts(),
        gettext("If it was not you, leave it alone: your password stays as it is."),
    ]
    return Text(gettext("Choose a new password"), "\n\n".join(lines))


def _password_changed(email: str) -> Text:
    lines = [
        gettext("The password of {email} was changed, and every other device was signed out.").format(email=email),
        gettext("If it was not you, ask for a new password at once, and tell your company."),
    ]
    return Text(gettext("Your password was changed"), "\n\n".join(lines))


def _new_address(user: User, email: str) -> Text:
    lines = [
        gettext("Somebody, probably you, wants to sign in with {email} from now on.").format(email=email),
        gettext("Open this link to confirm that the address is yours:"),
        links.address_of(links.NEW_ADDRESS + links.address_token(user, email) + "/"),
        *_without_server(),
        _lasts(),
        gettext("If it was not you, leave it alone: nothing happens."),
    ]
    return Text(gettext("Confirm your new address"), "\n\n".join(lines))


def _address_changed(email: str) -> Text:
    lines = [
        gettext("From now on you sign in with another address than {email}.").format(email=email),
        gettext("If it was not you, tell your company at once."),
    ]
    return Text(gettext("Your address was changed"), "\n\n".join(lines))


def _sign_in(user: User | None) -> Text | None:
    membership = links.client_membership_of(user)
    if user is None or membership is None:
        return None
    lines = [
        gettext("Somebody, probably you, asked to sign in as {email} at {company}.").format(
            email=user.email, company=membership.company.name
        ),
        gettext("Open this link to sign in:"),
        links.address_of(links.SIGN_IN + links.sign_in_token(user) + "/"),
        *_without_server(),
        _lasts(),
        gettext("If it was not you, leave it alone: nobody gets in without this letter."),
    ]
    return Text(gettext("Your link to sign in"), "\n\n".join(lines))


def _second_factor_set(email: str) -> Text:
    lines = [
        gettext("From now on {email} signs in with a code of the authenticator that was just set up.").format(
            email=email
        ),
        gettext("If it was not you, choose a new password at once, and tell your company."),
    ]
    return Text(gettext("Sign-in with codes was set up"), "\n\n".join(lines))


def _second_factor_removed(email: str) -> Text:
    lines = [
        gettext("From now on {email} signs in with the password alone: the codes were removed.").format(email=email),
        gettext("If it was not you and you did not ask for it, choose a new password at once, and tell your company."),
    ]
    return Text(gettext("Sign-in with codes was removed"), "\n\n".join(lines))


def _webhook_off(endpoint: "WebhookEndpoint") -> Text:
    lines = [
        gettext("Events of {company} are no longer sent to {host}: it took none any more.").format(
            company=endpoint.company.name, host=endpoint.host
        ),
        gettext("Once it does again, switch the endpoint on. What it missed can be sent again for 30 days."),
    ]
    return Text(gettext("Events are no longer sent to {host}").format(host=endpoint.host), "\n\n".join(lines))


def _lasts() -> str:
    """How long a link of an account works."""
    hours = round(settings.PASSWORD_RESET_TIMEOUT / 3600)
    words = ngettext("It works once, within {count} hour.", "It works once, within {count} hours.", hours)
    return words.format(count=hours)


def _without_server() -> list[str]:
    """What to add where the link has no server in it."""
    if links.address_of("").startswith("/"):
        return [gettext("Put the address of the server in front of it.")]
    return []
