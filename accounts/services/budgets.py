"""How many requests a caller has in a minute, counted in the database, so that all processes share one count.

A row is not written with every request: a process takes a twentieth of the budget at a time and hands it out from
memory. So all processes together never hand out more than the budget; what one of them took and did not use is lost to
the others for that minute. Passwords and codes are counted elsewhere, try by try (`accounts.services.brakes`).
"""

import threading
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Final

from django.db import OperationalError, transaction
from django.utils.crypto import salted_hmac

from accounts.models import Membership, RequestCount

WINDOW_SECONDS: Final = 60
_SHARES: Final = 20
_KEPT_FOR: Final = timedelta(days=1)
#: So many callers are remembered by a process; whoever is forgotten takes a new share from the database.
_MOST_HELD: Final = 10_000


@dataclass(frozen=True, slots=True)
class Budget:
    """So many requests in `WINDOW_SECONDS`; the numbers are common practice, no source."""

    name: str
    requests: int

    @property
    def share(self) -> int:
        """What a process takes at a time."""
        return max(1, self.requests // _SHARES)


_ROLE = Membership.Role
#: By the role that a token or browser acts for.
OF_ROLE: Final = {
    _ROLE.OWNER: Budget("owner", 1200),
    _ROLE.OFFICE: Budget("office", 1200),
    _ROLE.INSTALLER: Budget("installer", 600),
    _ROLE.CLIENT: Budget("client", 300),
}
#: Of the token of a meter, which posts readings alone.
METER: Final = Budget("meter", 120)
#: Of one network address, for each kind of thing that is open to strangers.
ADDRESS: Final = Budget("address", 60)


@dataclass(frozen=True, slots=True)
class Spending:
    """How a caller stands after a request.

    Attributes
    ----------
    budget
        What they have.
    is_within
        Whether this request still was.
    left
        Requests left in this window, as far as this process knows.
    seconds
        Until the next window begins.
    """

    budget: Budget
    is_within: bool
    left: int
    seconds: int


@dataclass(slots=True)
class _Held:
    window: int
    left: int
    handed_out: int


_held: dict[str, _Held] = {}
_lock = threading.Lock()


def take(*, budget: Budget, caller: str, now: datetime, percent: int = 100) -> Spending:
    """Count one request of a caller, and say how they stand.

    Call it outside of the transaction of what is asked. Where the database is too busy to count, the request passes: a
    budget spares the server, it guards no door.

    Parameters
    ----------
    caller
        What the budget belongs to; stored as a keyed digest.
    percent
        Of the budget that a server gives; the whole by default.
    """
    scaled = Budget(budget.name, max(1, budget.requests * percent // 100))
    window, into = divmod(int(now.timestamp()), WINDOW_SECONDS)
    key = salted_hmac("accounts.budgets", f"{budget.name}\n{caller}", algorithm="sha256").hexdigest()
    with _lock:
        held = _held.get(key)
        if held is None or held.window != window:
            held = _held[key] = _Held(window, 0, 0)
            while len(_held) > _MOST_HELD:
                _held.pop(next(iter(_held)))
        wants_more = held.left == 0 and held.handed_out < scaled.requests
    # Nobody else waits while the database is asked; two who ask at once both get a share.
    granted, handed_out = _share_of(key, scaled, window, now) if wants_more else (0, held.handed_out)
    with _lock:
        held.left, held.handed_out = held.left + granted, max(held.handed_out, handed_out)
        is_within = held.left > 0
        if is_within:
            held.left -= 1
        left = max(0, scaled.requests - held.handed_out) + held.left
    return Spending(scaled, is_within, left, WINDOW_SECONDS - into)


def forget_counts(*, now: datetime) -> int:
    """Delete counts of windows long gone, and say how many."""
    deleted, _ = RequestCount.objects.filter(counted_at__lt=now - _KEPT_FOR).delete()
    return deleted


def forget_held() -> None:
    """Forget what this process took; for tests, whose rows are taken back behind its back."""
    with _lock:
        _held.clear()


def _share_of(key: str, budget: Budget, window: int, now: datetime) -> tuple[int, int]:
    """Take a share from the row of a caller, or what is left there; give it with all that was taken in this window."""
    try:
        with transaction.atomic():
            RequestCount.objects.get_or_create(key=key, defaults={"window": window, "counted_at": now})
            row = RequestCount.objects.select_for_update().get(key=key)
            if row.window != window:
                row.window, row.handed_out = window, 0
            granted = max(0, min(budget.share, budget.requests - row.handed_out))
            row.handed_out += granted
            row.counted_at = now
            row.save(update_fields=["window", "handed_out", "counted_at"])
    except OperationalError:
        return 1, 0
    return granted, row.handed_out
