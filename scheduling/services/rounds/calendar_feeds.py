"""Calendars that a telephone subscribes to: a secret address of one installer's visits, or of one client's."""

import hashlib
import secrets
from collections.abc import Sequence
from datetime import datetime, timedelta
from typing import Final

from django.db import transaction

from accounts.errors import Conflict, InvalidInput, NotAllowed
from accounts.models import Client, Membership
from accounts.services import record
from accounts.wall import enter_company, over_all_companies
from scheduling.exports.calendar import Entry, calendar_of, client_calendar_of
from scheduling.models import CalendarFeed, Installer
from scheduling.services.rounds.calendars import calendar_entries, client_entries, visits_by_id

#: What ended longer ago is left out: common practice, no source.
PAST_SHOWN: Final = timedelta(days=28)
#: Most that stand at one time for one installer or client: a person has a few devices.
MOST_FEEDS: Final = 10
_OFFICE: Final = (Membership.Role.OWNER, Membership.Role.OFFICE)


@transaction.atomic
def open_feed(
    *, by: Membership, name: str, now: datetime, installer: Installer | None = None, client: Client | None = None
) -> tuple[CalendarFeed, str]:
    """Make a feed and give it with its secret, which is stored nowhere. Leaves an audit entry.

    Owner and office name the installer or the client; an installer and a client get their own, named or not.

    Raises
    ------
    InvalidInput
        When neither or both are named.
    NotAllowed
        For the feed of somebody else.
    Conflict
        When there are as many as there may be.
    """
    if installer is None and client is None:
        installer, client = Installer.objects.of_company(by.company).filter(membership=by).first(), by.client
    if (installer is None) == (client is None):
        raise InvalidInput("whose_calendar", "Name an installer or a client, and not both.", pointer="/installer")
    if not _may(by, installer, client):
        raise NotAllowed("calendar_of_another", "You may subscribe to your own visits alone.")
    if CalendarFeed.objects.filter(installer=installer, client=client).count() >= MOST_FEEDS:
        raise Conflict(
            "too_many_feeds", f"There are {MOST_FEEDS} such calendars already: end one that nobody uses any more."
        )
    secret = secrets.token_urlsafe(32)
    feed = CalendarFeed.objects.create(
        company_id=by.company_id,
        membership=by,
        installer=installer,
        client=client,
        name=name,
        digest=_digest(secret),
        created_at=now,
    )
    whose = installer.name if installer is not None else client.name if client is not None else ""
    record(by=by, action="open calendar", subject=feed, details={"whose": whose, "name": name}, now=now)
    return feed, secret


@transaction.atomic
def end_feed(*, feed: CalendarFeed, by: Membership, now: datetime) -> None:
    """End a feed: its address shows nothing from now on. Leaves an audit entry.

    Raises
    ------
    NotAllowed
        For the feed of somebody else.
    """
    if not _may(by, feed.installer, feed.client):
        raise NotAllowed("calendar_of_another", "You may end calendars of your own visits alone.")
    record(by=by, action="end calendar", subject=feed, details={"name": feed.name}, now=now)
    feed.delete()


@transaction.atomic
def served_calendar(*, secret: str, now: datetime) -> bytes | None:
    """The calendar behind a secret as it is now; None for one that is not, or no longer, there, or no longer theirs.

    A visit that the subscriber was shown, and that is somebody else's now or has lost its time, is shown as cancelled.
    Who asks works for the company of the calendar from then on.
    """
    feeds = CalendarFeed.objects.select_for_update(of=("self",)).select_related(
        "company", "membership", "installer__membership", "client"
    )
    with over_all_companies():
        feed = feeds.filter(digest=_digest(secret), membership__is_active=True).first()
    if feed is None:
        return None
    enter_company(feed.company_id)
    # Whoever asked for it may have another role by now, or be another client's: an address outlives neither.
    if not _may(feed.membership, feed.installer, feed.client):
        return None
    since = now - PAST_SHOWN
    if feed.installer is not None:
        if not (feed.installer.is_active and feed.installer.membership.is_active):
            return None
        entries = calendar_entries(installer=feed.installer, since=since)
        return calendar_of(installer=feed.installer, entries=_with_lost(feed, entries, since))
    assert feed.client is not None
    entries = client_entries(client=feed.client, since=since)
    return client_calendar_of(company=feed.company, entries=_with_lost(feed, entries, since))


def _with_lost(feed: CalendarFeed, entries: Sequence[Entry], since: datetime) -> list[Entry]:
    """Add what was shown before and is not there any more, and keep what is shown now."""
    shown = {str(entry.visit.pk): [entry.starts_at.isoformat(), entry.ends_at.isoformat()] for entry in entries}
    lost = {pk: span for pk, span in feed.served.items() if pk not in shown and datetime.fromisoformat(span[1]) > since}
    served = lost | shown
    if served != feed.served:
        feed.served = served
        feed.save(update_fields=["served"])
    visits = visits_by_id(company=feed.company, ids=map(int, lost))
    gone = []
    for pk, span in lost.items():
        if int(pk) in visits:
            starts_at, ends_at = map(datetime.fromisoformat, span)
            gone.append(Entry(visits[int(pk)], starts_at, ends_at, is_off=True))
    return [*entries, *gone]


def _may(by: Membership, installer: Installer | None, client: Client | None) -> bool:
    if by.role in _OFFICE:
        return True
    if installer is not None:
        return installer.membership_id == by.pk
    return client is not None and client.pk == by.client_id


def _digest(secret: str) -> str:
    return hashlib.sha256(secret.encode()).hexdigest()
