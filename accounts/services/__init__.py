"""What changes in this room: members, tokens, the trail, stored answers."""

from accounts.services.audit import record, record_refused_sign_in
from accounts.services.members import (
    add_member,
    change_member,
    change_role,
    choose_digest,
    create_company,
    end_membership,
)
from accounts.services.signing_in import WrongCredentials, change_password, check_credentials
from accounts.services.tokens import forget_expired_tokens, issue_token, revoke_token

__all__ = [
    "WrongCredentials",
    "add_member",
    "change_member",
    "change_password",
    "change_role",
    "check_credentials",
    "choose_digest",
    "create_company",
    "end_membership",
    "forget_expired_tokens",
    "issue_token",
    "record",
    "record_refused_sign_in",
    "revoke_token",
]
