"""What changes in this room: members, tokens, the trail, stored answers."""

from accounts.services.audit import record
from accounts.services.members import add_member, change_role, end_membership, found_company
from accounts.services.tokens import issue_token, revoke_token

__all__ = [
    "add_member",
    "change_role",
    "end_membership",
    "found_company",
    "issue_token",
    "record",
    "revoke_token",
]
