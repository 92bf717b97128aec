"""Tokens: the secret is shown once and stored hashed."""

from collections.abc import Iterable
from datetime import datetime, timedelta

from django.apps import apps
from django.conf import settings
from django.db import transaction
from knox.models import get_digest_token
from knox.settings import CONSTANTS

from accounts.errors import InvalidInput, NotAllowed
from accounts.models import AccessToken, Membership
from accounts.services.audit import record

LONGEST_LIFE = timedelta(days=5 * 366)
#: Of a token that may do all that its member's role may, as one does that a sign-in gives.
WHOLE_ROLE_LIFE = timedelta(days=30)


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
    scopes: Iterable[str] | None = None,
    made_with: AccessToken | None = None,
    authenticated_at: datetime | None = None,
) -> tuple[AccessToken, str]:
    """Make a token that acts for `membership`, and give it with its secret, which is stored nowhere.

    Give `expires_at` or `ttl`; a token without an end is not made. With `meter_unit_id` the token can only post
    readings of that unit. Everyone makes tokens for themselves; the owner and the office make them for meters too.
    With `scopes` it may do of what the member's role may only what they name (`accounts.permissions.scope_of`); a
    meter's token has the scope of readings. A token that is `made_with` another ends no later, and one with scopes
    makes none. Without scopes it may do all that the role may, and ends within 30 days, as a sign-in does.
    `authenticated_at` is when the person gave their password for this very token; whether they gave a code stands on
    `by`. Leaves an audit entry.

    Raises InvalidInput for an end that has passed or lies too far off, for scopes that there are not and for a unit
    `by` cannot see, NotAllowed for another member's token.
    """
    if membership.pk != by.pk or not membership.is_active:
        raise NotAllowed("token_of_another", "A token acts for the member who makes it.")
    if by.meter_unit_id is not None:
        raise NotAllowed("meter_token", "A meter makes no tokens.")
    if made_with is not None and made_with.scopes is not None:
        raise NotAllowed("scoped_token", "A token with scopes makes no tokens: sign in to make one.")
    end = _checked_end(now=now, expires_at=expires_at, ttl=ttl)
    if made_with is not None and made_with.expiry is not None and end > made_with.expiry:
        raise InvalidInput(
            "longer_than_its_maker",
            f"A token that is made with a token ends no later than that one, {made_with.expiry.isoformat()}; sign in "
            "with a session (POST /api/v1/session/) to make one that lasts longer.",
            pointer="/expires_at",
        )
    named = _checked_scopes(scopes, meter_unit_id)
    if named is None and end > now + WHOLE_ROLE_LIFE:
        raise InvalidInput(
            "whole_role_too_long",
            f"A token without scopes may do all that your role may and ends within {WHOLE_ROLE_LIFE.days} days: name "
            "scopes for one that lasts longer.",
            pointer="/expires_at",
        )
    if meter_unit_id is not None:
        _check_meter(by=by, meter_unit_id=meter_unit_id)
    digest, secret = get_digest_token()
    token = AccessToken.objects.create(
        digest=digest,
        token_key=secret[: CONSTANTS.TOKEN_KEY_LENGTH],
        user_id=membership.user_id,
        membership=membership,
        name=name,
        expiry=end,
        meter_unit_id=meter_unit_id,
        scopes=named,
        authenticated_at=authenticated_at,
        has_given_code=by.has_given_code,
    )
    details = {"name": name, "ends": end.isoformat(), "meter_unit_id": meter_unit_id, "scopes": named}
    record(by=by, action="issue token", subject=token, details=details, now=now)
    return token, secret


@transaction.atomic
def revoke_token(*, by: Membership, token: AccessToken, now: datetime) -> None:
    """End a token at once. Leaves an audit entry.

    Everyone revokes their own, the owner every token of the company, the office those of meters; NotAllowed otherwise.
    """
    own = token.membership_id == by.pk
    meters = token.meter_unit_id is not None and by.role == Membership.Role.OFFICE
    same_company = token.membership.company_id == by.company_id
    if not own and not (same_company and (by.role == Membership.Role.OWNER or meters)):
        raise NotAllowed("token_of_another", "This token belongs to another member.")
    record(by=by, action="revoke token", subject=token, details={"name": token.name}, now=now)
    token.delete()


@transaction.atomic
def forget_expired_tokens(*, now: datetime) -> int:
    """Delete the tokens that ended more than 90 days ago, and say how many; until then people see why theirs failed."""
    deleted, _ = AccessToken.objects.filter(expiry__lt=now - timedelta(days=90)).delete()
    return deleted


def _checked_end(*, now: datetime, expires_at: datetime | None, ttl: timedelta | None) -> datetime:
    if (expires_at is None) == (ttl is None):
        raise InvalidInput(
            "token_end_missing", "Give the end of the token once: expires_at or ttl.", pointer="/expires_at"
        )
    end = expires_at if expires_at is not None else now + (ttl or timedelta())
    if not now < end <= now + LONGEST_LIFE:
        raise InvalidInput(
            "token_end_out_of_range",
            f"A token must end after now and within {LONGEST_LIFE.days} days.",
            pointer="/expires_at",
        )
    return end


def _checked_scopes(scopes: Iterable[str] | None, meter_unit_id: int | None) -> list[str] | None:
    if meter_unit_id is not None:
        if scopes is not None:
            raise InvalidInput(
                "scopes_of_a_meter", "A meter's token posts readings: name no scopes.", pointer="/scopes"
            )
        return [AccessToken.Scope.READINGS]
    if scopes is None:
        return None
    named = sorted(set(scopes))
    if not named or not set(named) <= set(AccessToken.Scope.values):
        raise InvalidInput(
            "unknown_scope", f"Name one or more of: {', '.join(AccessToken.Scope.values)}.", pointer="/scopes"
        )
    return named


def _check_meter(*, by: Membership, meter_unit_id: int) -> None:
    if by.role not in (Membership.Role.OWNER, Membership.Role.OFFICE):
        raise NotAllowed("meter_token", "Only the owner and the office make tokens for meters.")
    # Which model is a unit is the composition root's to say: this room lies below the one that has units.
    units = apps.get_model(settings.METER_UNIT_MODEL)._default_manager.all()
    if meter_unit_id >= 2**63 or not units.visible_to(by).filter(pk=meter_unit_id).exists():
        raise InvalidInput(
            "unit_unknown",
            f"There is no unit with the id {meter_unit_id}, or none you may see.",
            pointer="/meter_unit",
        )
