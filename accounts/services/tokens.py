"""Tokens: the secret is shown once and stored hashed."""

from datetime import datetime, timedelta

from django.db import transaction
from knox.models import get_digest_token
from knox.settings import CONSTANTS

from accounts.errors import InvalidInput, NotAllowed
from accounts.models import AccessToken, Membership
from accounts.services.audit import record

LONGEST_LIFE = timedelta(days=5 * 366)


@transaction.atomic
def issue_token(
    *,
    by: Membership,
    membership: Membership,
    name: str,
    now: datetime,
    expires_at: datetime | None = None,
    ttl: timedelta | None = None,
    meter_unit_id: int | None = None,
) -> tuple[AccessToken, str]:
    """Make a token that acts for `membership`, and give it with its secret, which is stored nowhere.

    Give `expires_at` or `ttl`; a token without an end is not made. With `meter_unit_id` the token can only post
    readings of that unit; whether `by` may see that unit is for the caller to check. Everyone makes tokens for
    themselves, and the owner and the office make them for meters. Leaves an audit entry.

    Raises InvalidInput for an end that has passed or lies too far off, NotAllowed for another member's token.
    """
    if (expires_at is None) == (ttl is None):
        raise InvalidInput("token_end_missing", "Say when the token ends, in one way.", pointer="/expires_at")
    end = expires_at if expires_at is not None else now + (ttl or timedelta())
    if not now < end <= now + LONGEST_LIFE:
        raise InvalidInput(
            "token_end_out_of_range",
            f"A token must end after now and within {LONGEST_LIFE.days} days.",
            pointer="/expires_at",
        )
    if membership.pk != by.pk:
        raise NotAllowed("token_of_another", "A token acts for the member who makes it.")
    if meter_unit_id is not None and by.role not in (Membership.Role.OWNER, Membership.Role.OFFICE):
        raise NotAllowed("meter_token", "Only the owner and the office make tokens for meters.")
    digest, secret = get_digest_token()
    token = AccessToken(
        digest=digest,
        token_key=secret[: CONSTANTS.TOKEN_KEY_LENGTH],
        user_id=membership.user_id,
        membership=membership,
        name=name,
        expiry=end,
        meter_unit_id=meter_unit_id,
    )
    token.save(force_insert=True)
    record(
        by=by,
        action="issue token",
        subject=membership,
        details={"name": name, "ends": end.isoformat(), "meter_unit_id": meter_unit_id},
        now=now,
    )
    return token, secret


@transaction.atomic
def revoke_token(*, by: Membership, token: AccessToken, now: datetime) -> None:
    """End a token at once. Leaves an audit entry. Whether `by` may see the token is for the caller to check."""
    record(by=by, action="revoke token", subject=token.membership, details={"name": token.name}, now=now)
    token.delete()
