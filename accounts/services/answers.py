"""Stored answers to requests that carried an Idempotency-Key."""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Literal

from django.db import IntegrityError, transaction
from django.db.models import F
from django.utils.crypto import salted_hmac

from accounts.models import Membership, SentWithoutKey, StoredAnswer

# Longer than any van stays without a signal.
KEPT_FOR = timedelta(hours=48)
# A call that has not answered by then has died with its process, and the next one may take its place: a request may not
# last longer (`fleet/config/server/web.py`), and whoever waits with a report is not told to wait longer.
CLAIMED_FOR = timedelta(minutes=2)
# Whoever sends the very same again within this time without a key has probably repeated a request that got lost.
REPEATED_WITHIN = timedelta(minutes=10)

Outcome = Literal["claimed", "answered", "running", "other_request"]


@dataclass(frozen=True, slots=True)
class Claim:
    """How a key stands: free and now ours, answered, still running, or taken by another request."""

    outcome: Outcome
    row: StoredAnswer


def claim(*, by: Membership, key: str, route: str, digest: str, now: datetime) -> Claim:
    """Claim a key for one request, or tell why it cannot be had. Commits at once, so that a twin sees the claim."""
    caller = "member" if by.meter_unit_id is None else f"meter {by.meter_unit_id}"
    StoredAnswer.objects.filter(membership=by, created_at__lt=now - KEPT_FOR).delete()
    try:
        with transaction.atomic():
            row = StoredAnswer.objects.create(
                company_id=by.company_id,
                membership=by,
                caller=caller,
                key=key,
                route=route[:200],
                body_digest=digest,
                created_at=now,
                claimed_until=now + CLAIMED_FOR,
            )
        return Claim("claimed", row)
    except IntegrityError:
        stored_answer = StoredAnswer.objects.filter(membership=by, caller=caller, key=key).first()
    if stored_answer is None:
        # The twin failed and took its claim back in between; the caller may ask again.
        return Claim("running", StoredAnswer())
    if stored_answer.route != route[:200] or stored_answer.body_digest != digest:
        return Claim("other_request", stored_answer)
    if stored_answer.status is not None:
        return Claim("answered", stored_answer)
    # Exactly one of several callers takes over a claim that ran out.
    claimed_rows = StoredAnswer.objects.filter(pk=stored_answer.pk, status=None, claimed_until__lte=now).update(
        claimed_until=now + CLAIMED_FOR
    )
    return Claim("claimed" if claimed_rows == 1 else "running", stored_answer)


def keep(*, row: StoredAnswer, status: int, headers: Mapping[str, str], body: bytes) -> None:
    """Store the answer under its claim."""
    StoredAnswer.objects.filter(pk=row.pk).update(status=status, headers=dict(headers), body=body, claimed_until=None)


def release(*, row: StoredAnswer) -> None:
    """Give the claim back: the request may be repeated."""
    StoredAnswer.objects.filter(pk=row.pk, status=None).delete()


def note_sent(*, by: Membership, route: str, digest: str, now: datetime) -> int:
    """Note that something came without a key and was carried out, and say how often the very same was of late.

    Counted are ten minutes from the first time.
    """
    key = salted_hmac("accounts.answers", f"{by.pk}\n{route}\n{digest}", algorithm="sha256").hexdigest()
    row, is_new = SentWithoutKey.objects.get_or_create(key=key, defaults={"times": 1, "first_at": now})
    if is_new:
        return 1
    if row.first_at < now - REPEATED_WITHIN:
        SentWithoutKey.objects.filter(pk=row.pk).update(times=1, first_at=now)
        return 1
    SentWithoutKey.objects.filter(pk=row.pk).update(times=F("times") + 1)
    return row.times + 1


def forget_sent(*, now: datetime) -> int:
    """Delete notes of what was sent too long ago to be repeated, and say how many."""
    deleted, _ = SentWithoutKey.objects.filter(first_at__lt=now - REPEATED_WITHIN).delete()
    return deleted
