"""Whose a site or a unit was before: told afterwards, as when a company moves in from another system."""

from collections.abc import Iterable
from datetime import datetime, timedelta
from typing import Any, Final

from django.db import transaction

from accounts.errors import InvalidInput
from accounts.models import Client, Membership
from accounts.services import record
from fleet.models import PastOwnership, Site, Unit
from fleet.services.units.passing_on import carry_over

_SAME_MOMENT: Final = timedelta(seconds=1)
"""Sheets tell moments to the second."""


def enter_ownership(
    *,
    held: Site | Unit,
    client: Client,
    since: datetime | None,
    until: datetime | None,
    by: Membership | None,
    now: datetime,
) -> str:
    """Enter whose a site or a unit was from one moment to another, or whose it has been since one.

    Parameters
    ----------
    held
        The site or unit. Its present client stays: another gets it with the site, or by moving the unit.
    since
        None: since the one before passed it on, or from the start.
    until
        When it passed to the next client; None for the present one.

    Returns
    -------
    'made', 'changed' or 'left' as it was.

    Raises
    ------
    InvalidInput
        When the times cannot be, two clients would have it at once, or the present client is another.
    """
    kind = "site" if isinstance(held, Site) else "unit"
    with transaction.atomic():
        locked: Any = type(held).objects.select_for_update(no_key=True).get(pk=held.pk)
        pasts = list(PastOwnership.objects.filter(**{kind: locked}).order_by("until", "pk").select_related("client"))
        if until is None:
            outcome = _enter_present(locked, client, since, pasts, now)
        else:
            outcome = _enter_past(locked, client, since, until, pasts, now)
        if by is not None and outcome != "left":
            moments = {name: at.isoformat() for name, at in (("since", since), ("until", until)) if at is not None}
            details = {"client": client.pk, **moments}
            record(by=by, action=f"enter ownership of {kind}", subject=locked, now=now, details=details)
    return outcome


def share_with_units(*, sites: Iterable[int], but: Iterable[int]) -> None:
    """Let units share the past of the sites they stand at, of which nothing is known by themselves."""
    units = Unit.objects.filter(site__in=list(sites), client_since__isnull=True, past_ownerships__isnull=True)
    with transaction.atomic():
        for unit in units.exclude(pk__in=list(but)).select_related("site").order_by("pk"):
            carry_over(unit)


def _enter_present(held: Any, client: Client, since: datetime | None, pasts: list[PastOwnership], now: datetime) -> str:
    present = held.client if isinstance(held, Site) else held.site.client
    if client.pk != present.pk:
        raise InvalidInput(
            "present_client_is_another",
            f"{held.spoken_name} is {present.name}'s now; say until when it was {client.name}'s, or give it to "
            f"{client.name} first.",
            pointer="/until",
        )
    if since is None and pasts:
        since = pasts[-1].until
    if since == held.client_since or (since and held.client_since and _is_same(since, held.client_since)):
        return "left"
    if since is not None and since > now:
        raise _ahead(since, "/since")
    if pasts and since is not None and since < pasts[-1].until:
        raise _had_by(pasts[-1], "/since")
    held.client_since = since
    held.save(update_fields=["client_since"])
    return "changed"


def _enter_past(
    held: Any, client: Client, since: datetime | None, until: datetime, pasts: list[PastOwnership], now: datetime
) -> str:
    same = next((past for past in pasts if past.client_id == client.pk and _is_same(past.until, until)), None)
    if same is not None and (since is None or (same.since is not None and _is_same(same.since, since))):
        return "left"
    if until > now:
        raise _ahead(until, "/until")
    before = [past for past in pasts if past.until <= until]
    if since is None and before:
        since = before[-1].until
    if since is not None and since >= until:
        raise InvalidInput(
            "ends_before_it_begins", f"{until:%Y-%m-%d} is not after {since:%Y-%m-%d}, when it began.", pointer="/until"
        )
    for past in pasts:
        if (since is None or past.until > since) and (past.since is None or past.since < until):
            raise _had_by(past, "/since" if past.until <= until else "/until")
    latest = pasts[-1].until if pasts else None
    if held.client_since is None or held.client_since == latest:
        # The present client has it since the last one passed it on, until somebody says since when.
        held.client_since = max(until, latest or until)
        held.save(update_fields=["client_since"])
    elif until > held.client_since:
        raise InvalidInput(
            "was_passed_on_before",
            f"The present client has had it since {held.client_since:%Y-%m-%d}; it cannot have been {client.name}'s "
            f"until {until:%Y-%m-%d}.",
            pointer="/until",
        )
    kind = "site" if isinstance(held, Site) else "unit"
    PastOwnership.objects.create(company_id=held.company_id, client=client, since=since, until=until, **{kind: held})
    return "made"


def _is_same(one: datetime, other: datetime) -> bool:
    return abs(one - other) < _SAME_MOMENT


def _ahead(at: datetime, pointer: str) -> InvalidInput:
    return InvalidInput("in_the_future", f"{at:%Y-%m-%d} is still to come; give when it passed on.", pointer=pointer)


def _had_by(past: PastOwnership, pointer: str) -> InvalidInput:
    began = f"from {past.since:%Y-%m-%d}" if past.since is not None else "from the start"
    return InvalidInput(
        "was_another_clients",
        f"It was {past.client.name}'s {began} until {past.until:%Y-%m-%d}; two clients cannot have it at once.",
        pointer=pointer,
    )
