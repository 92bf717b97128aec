"""Passwords and tokens of the demo's people: made once, kept in a file for its owner alone, printed on every run."""

import json
import os
import secrets
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import datetime, timedelta
from pathlib import Path
from typing import Any, Final

from django.db import transaction
from knox.crypto import hash_token
from knox.models import get_token_model

from accounts.models import Company, Membership
from accounts.services import WHOLE_ROLE_LIFE, issue_token
from accounts.services.invented import choose_for_invented
from accounts.wall import over_all_companies
from fleet.models import Unit

_WORDS: Final = (
    "amber", "brook", "cedar", "delta", "ember", "fjord", "gravel", "harbour", "island", "juniper", "kelp", "lagoon",
    "marsh", "nettle", "otter", "pebble", "quarry", "reed", "saltern", "tide", "upland", "vessel", "willow", "yarrow",
)  # fmt: skip
METER_LIFE: Final = timedelta(days=90)


@dataclass(frozen=True)
class Login:
    """How one person, or one meter, gets in; a meter has no password."""

    role: str
    name: str
    email: str
    password: str
    token: str


def new_password() -> str:
    """Four words and a number: easy to type, about 30 bits, for a machine that only answers itself."""
    return "-".join([*(secrets.choice(_WORDS) for _ in range(4)), str(secrets.randbelow(9000) + 1000)])


def read_logins(path: Path) -> dict[str, Any]:
    """What was kept from the run before; empty when there is nothing to use."""
    try:
        logins = json.loads(path.read_text(encoding="utf-8"))
    except (OSError, ValueError):
        return {}
    return logins if isinstance(logins, dict) else {}


def keep(path: Path, secrets_kept: Mapping[str, Any]) -> None:
    """Keep the secrets readable for their owner alone."""
    path.parent.mkdir(parents=True, exist_ok=True)
    descriptor = os.open(path, os.O_WRONLY | os.O_CREAT | os.O_TRUNC, 0o600)
    with os.fdopen(descriptor, "w", encoding="utf-8") as file:
        json.dump(secrets_kept, file, indent=1)


def passwords_for(emails: Iterable[str], path: Path) -> dict[str, str]:
    """Passwords by email, those kept before where there are any."""
    known_passwords = read_logins(path).get("passwords", {})
    return {email: known_passwords.get(email) or new_password() for email in emails}


@transaction.atomic
def settle_logins(*, company: Company, emails: Iterable[str], path: Path, now: datetime) -> list[Login]:
    """Make sure that the kept passwords and tokens open the door, replacing those that do not.

    Only for the people named by `emails`, and only where their account opens this company alone: somebody who joined
    later keeps their password, and so does whoever has a place in another company.
    """
    earlier = read_logins(path)
    passwords: dict[str, str] = dict(earlier.get("passwords", {}))
    tokens: dict[str, str] = dict(earlier.get("tokens", {}))
    logins = []
    members = Membership.objects.of_company(company).filter(is_active=True, user__email__in=list(emails))
    roles = list(Membership.Role.values)
    people = sorted(members.select_related("user", "client"), key=lambda member: (roles.index(member.role), member.pk))
    owner = people[0]
    for member in people:
        email = member.user.email
        if not member.user.check_password(passwords.get(email, "")):
            with over_all_companies():
                is_elsewhere = Membership.objects.filter(user_id=member.user_id).exclude(company_id=company.pk).exists()
            if is_elsewhere:
                continue
            passwords[email] = new_password()
            choose_for_invented(user=member.user, password=passwords[email])
        tokens[email] = (
            _living(tokens.get(email), now)
            or issue_token(by=member, membership=member, name="demo", ttl=WHOLE_ROLE_LIFE, now=now)[1]
        )
        logins.append(Login(member.role, member.name or email, email, passwords[email], tokens[email]))
    unit = Unit.objects.of_company(company).filter(instruments__isnull=False).order_by("code").first()
    if unit is not None:
        tokens[unit.code] = (
            _living(tokens.get(unit.code), now)
            or issue_token(
                by=owner, membership=owner, name=f"meter of {unit.code}", ttl=METER_LIFE, meter_unit_id=unit.pk, now=now
            )[1]
        )
        logins.append(Login("meter", f"meter of {unit.code}", "", "", tokens[unit.code]))
    keep(path, {"passwords": passwords, "tokens": tokens})
    return logins


def _living(secret: str | None, now: datetime) -> str | None:
    """The secret, if its token is still good."""
    if not secret:
        return None
    good = get_token_model().objects.filter(digest=hash_token(secret), expiry__gt=now).exists()
    return secret if good else None
