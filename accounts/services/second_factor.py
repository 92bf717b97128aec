"""Codes beside the password: a time-based one of an authenticator (RFC 6238), or a recovery code that works once.

The key of an authenticator is stored as it is, since codes are made of it; recovery codes are stored as keyed digests.
No code is taken twice. How often codes may be tried is counted with the passwords (`accounts.services.brakes`).
"""

import secrets
from base64 import b32encode
from dataclasses import dataclass
from datetime import datetime
from typing import Final
from urllib.parse import quote, urlencode

from django.db import transaction
from django.utils.crypto import salted_hmac
from django_otp.oath import TOTP

from accounts.errors import Conflict, InvalidInput, NotAllowed
from accounts.models import AccessToken, Letter, Membership, RecoveryCode, SecondFactor, User
from accounts.services.audit import record
from accounts.services.letters import write_letter
from accounts.services.members import only_owner
from accounts.wall import over_all_companies

#: Length of the key in bytes; RFC 4226 section 4 recommends 160 bits.
_KEY_BYTES: Final = 20
#: Seconds between codes and digits of one: what every authenticator takes (RFC 6238 section 4, RFC 4226 section 5.3).
_STEP_SECONDS: Final = 30
_DIGITS: Final = 6
#: Steps before and after the present one that are taken too: RFC 6238 section 5.2 recommends at most one for delay.
_TOLERANCE: Final = 1
_RECOVERY_CODES: Final = 10
#: Of a recovery code: 80 bits, which nobody guesses over a network.
_RECOVERY_BYTES: Final = 10
_ISSUER: Final = "RO fleet"


@dataclass(frozen=True, slots=True)
class Begun:
    """What goes into an authenticator: the key by hand, or the address as a picture to be scanned."""

    key: str
    address: str


@transaction.atomic
def begin(*, by: Membership, now: datetime) -> Begun:
    """Make a key for an authenticator; it counts once `confirm` was given a code of it, and until then nothing changes.

    Whoever has one already goes on signing in with it until then.
    """
    key = secrets.token_hex(_KEY_BYTES)
    SecondFactor.objects.update_or_create(
        user=by.user, defaults={"next_key": key, "begun_at": now}, create_defaults={"next_key": key, "begun_at": now}
    )
    return Begun(key=_base32(key), address=_address(by.user, key))


@transaction.atomic
def confirm(*, by: Membership, code: str, now: datetime, token: AccessToken | None = None) -> list[str]:
    """Take the first code of a new authenticator, and give ten recovery codes, which are shown this once.

    The session or token it was asked with counts as signed in with a code from now on; a `token` is marked here. The
    person is told by a letter. Leaves an audit entry.

    Raises Conflict where none was begun, InvalidInput for a wrong code.
    """
    factor = _locked(by.user)
    if factor is None or not factor.next_key:
        raise Conflict("second_factor_not_begun", "Begin first: POST /api/v1/me/second-factor/ gives a key.")
    totp = _totp(factor.next_key, 0, now)
    if not _is_number(code) or not totp.verify(int(code), _TOLERANCE):
        raise InvalidInput(
            "wrong_code",
            "This is not the code of the new authenticator: check that its clock is right, and give the code it shows.",
            pointer="/code",
        )
    factor.key, factor.next_key = factor.next_key, ""
    factor.last_step, factor.drift, factor.confirmed_at = totp.t(), totp.drift, now
    factor.save()
    if token is not None:
        AccessToken.objects.filter(pk=token.pk).update(has_given_code=True)
    by.has_given_code = True
    write_letter(kind=Letter.Kind.SECOND_FACTOR_SET, email=by.user.email, user=by.user, now=now)
    record(by=by, action="change second factor", subject=by, now=now)
    return _new_codes(factor)


@transaction.atomic
def renew_codes(*, by: Membership, now: datetime) -> list[str]:
    """Give ten new recovery codes, which are shown this once; those before are of no more use. Audited.

    Raises Conflict for a person without a second factor.
    """
    factor = _locked(by.user)
    if factor is None or not factor.is_confirmed:
        raise Conflict("no_second_factor", "You sign in without codes: set up a second factor first.")
    record(by=by, action="change recovery codes", subject=by, now=now)
    return _new_codes(factor)


@transaction.atomic
def remove(*, by: Membership, now: datetime) -> None:
    """Sign in with the password alone from now on. The person is told by a letter. Leaves an audit entry.

    Raises NotAllowed while a company of theirs wants codes of their role.
    """
    places = Membership.objects.filter(user=by.user_id, is_active=True).select_related("company")
    with over_all_companies():
        wanting = [place.company.name for place in places if place.role in place.company.second_factor_roles]
    if wanting:
        raise NotAllowed("second_factor_wanted", f"{' and '.join(wanting)} wants you to sign in with codes.")
    _remove(by.user, now)
    record(by=by, action="remove second factor", subject=by, now=now)


@transaction.atomic
def reset_of_member(*, by: Membership, membership: Membership, now: datetime) -> None:
    """Take the second factor of a member who lost it and has no recovery code: the owner vouches for who they are.

    They sign in with the password and set it up again. Only of somebody who belongs to this company alone: no owner
    speaks for another company's door. They are told by a letter. Leaves an audit entry.

    Raises NotAllowed.
    """
    only_owner(by=by)
    if membership.company_id != by.company_id:
        raise NotAllowed("member_of_another", "This member belongs to another company.")
    if _is_elsewhere(membership.user, by.company_id):
        raise NotAllowed(
            "member_elsewhere",
            "This person belongs to another company too: they use a recovery code, or ask who runs the server, who can "
            "take it with 'manage.py forget_codes'.",
        )
    _remove(membership.user, now)
    record(by=by, action="remove second factor", subject=membership, now=now)


@transaction.atomic
def forget_of_a_stranger(*, user: User, company_id: int, now: datetime) -> None:
    """Take codes that were set before anybody had proven the address, of whoever proves it by an invitation.

    Whoever set them may have been somebody else, and would keep the right person out. As with `reset_of_member`, no
    company speaks for another's door: they stay where the account belongs to one.
    """
    if user.email_proven_at is None and not _is_elsewhere(user, company_id):
        _remove(user, now)


@over_all_companies()
@transaction.atomic
def forget_codes(*, user: User, now: datetime) -> bool:
    """Take the second factor of a person for whom whoever runs the server vouches; False where there is none.

    They are told by a letter. Leaves an audit entry in each of their companies.
    """
    if not SecondFactor.is_of(user):
        return False
    _remove(user, now)
    for place in Membership.objects.filter(user=user, is_active=True).select_related("company", "user").order_by("pk"):
        record(by=None, company=place.company, action="remove second factor", subject=place, now=now)
    return True


@transaction.atomic
def takes(*, user: User, code: str, now: datetime) -> bool:
    """Say whether a code is one of this person's, and use it up: of two who send it at once, one is refused."""
    factor = _locked(user)
    if factor is None or not factor.is_confirmed:
        return False
    text = code.replace(" ", "").replace("-", "")
    if _is_number(text):
        totp = _totp(factor.key, factor.drift, now)
        if not totp.verify(int(text), _TOLERANCE, factor.last_step + 1):
            return False
        factor.last_step, factor.drift = totp.t(), totp.drift
        factor.save(update_fields=["last_step", "drift"])
        return True
    unused = RecoveryCode.objects.filter(factor=factor, digest=_digest(text), used_at=None)
    return unused.update(used_at=now) == 1


def _locked(user: User) -> SecondFactor | None:
    return SecondFactor.objects.select_for_update().filter(user=user).first()


def _is_elsewhere(user: User, company_id: int) -> bool:
    others = Membership.objects.filter(user=user, is_active=True).exclude(company_id=company_id)
    with over_all_companies():
        return others.exists()


def _remove(user: User, now: datetime) -> None:
    deleted, _ = SecondFactor.objects.filter(user=user).delete()
    if deleted:
        write_letter(kind=Letter.Kind.SECOND_FACTOR_REMOVED, email=user.email, user=user, now=now)


def _new_codes(factor: SecondFactor) -> list[str]:
    factor.recovery_codes.all().delete()
    codes = [b32encode(secrets.token_bytes(_RECOVERY_BYTES)).decode().lower() for _ in range(_RECOVERY_CODES)]
    RecoveryCode.objects.bulk_create(RecoveryCode(factor=factor, digest=_digest(code)) for code in codes)
    return ["-".join(code[start : start + 4] for start in range(0, len(code), 4)) for code in codes]


def _digest(code: str) -> str:
    return salted_hmac("accounts.second_factor", code.lower(), algorithm="sha256").hexdigest()


def _is_number(code: str) -> bool:
    return len(code) == _DIGITS and code.isascii() and code.isdecimal()


def _totp(key: str, drift: int, now: datetime) -> TOTP:
    totp = TOTP(bytes.fromhex(key), step=_STEP_SECONDS, digits=_DIGITS, drift=drift)
    totp.time = now.timestamp()
    return totp


def _base32(key: str) -> str:
    return b32encode(bytes.fromhex(key)).decode()


def _address(user: User, key: str) -> str:
    """The address that authenticators read from a picture; the form is a convention of theirs, from memory."""
    facts = {"secret": _base32(key), "issuer": _ISSUER, "algorithm": "SHA1", "digits": _DIGITS, "period": _STEP_SECONDS}
    return f"otpauth://totp/{quote(f'{_ISSUER}:{user.email}')}?{urlencode(facts, quote_via=quote)}"
