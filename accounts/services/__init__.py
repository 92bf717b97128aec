"""What changes in this room: invitations, members, tokens, the trail, stored answers."""

from accounts.services.addresses import ask_for_new_address
from accounts.services.audit import record
from accounts.services.invitations import accept_invitation, invite, read_invitation, withdraw_invitation
from accounts.services.members import (
    change_member,
    change_role,
    choose_digest,
    create_company,
    end_membership,
)
from accounts.services.passwords import change_password
from accounts.services.sessions import end_all, end_session, forget_session, note_session, rename_session
from accounts.services.signing_in import WrongCredentials, check_credentials, check_password_of
from accounts.services.tokens import WHOLE_ROLE_LIFE, forget_expired_tokens, issue_token, revoke_token

__all__ = [
    "WHOLE_ROLE_LIFE",
    "WrongCredentials",
    "accept_invitation",
    "ask_for_new_address",
    "change_member",
    "change_password",
    "change_role",
    "check_credentials",
    "check_password_of",
    "choose_digest",
    "create_company",
    "end_all",
    "end_membership",
    "end_session",
    "forget_expired_tokens",
    "forget_session",
    "invite",
    "issue_token",
    "note_session",
    "read_invitation",
    "record",
    "rename_session",
    "revoke_token",
    "withdraw_invitation",
]
