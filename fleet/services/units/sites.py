"""Sites with the hours in which one can get in."""

from collections.abc import Iterable, Mapping, Sequence
from datetime import datetime, time
from functools import partial
from typing import Any, Final

from django.db import transaction

from accounts.errors import Fault, InvalidInput, raise_together
from accounts.models import Company, Membership
from accounts.services import record
from accounts.services.retiring import refuse_retired
from fleet.models import AccessException, AccessWindow, Site, Unit
from fleet.services.consequences import Kind, announce
from fleet.services.units.passing_on import pass_site_on, refuse_time_alone

Windows = Sequence[Mapping[str, Any]]

_FEEDS: Final = ("supply", "chloraminated")
"""What a site says of the water that feeds its units."""

_PLACE: Final = ("latitude", "longitude")
"""What it says of the way there."""

_WHERE: Final = ("address", *_PLACE)
"""What makes a site known that was not."""


def create_site(
    *,
    company: Company,
    by: Membership | None,
    now: datetime,
    access_windows: Windows = (),
    access_exceptions: Windows = (),
    **facts: Any,
) -> Site:
    """Create a site with its access windows, each a mapping of weekday (0 Monday to 6), opens and closes.

    An exception is a mapping of first_day, last_day and reason, and of opens and closes unless the site is closed then.

    Raises
    ------
    InvalidInput
        When a window closes before it opens, two of one weekday overlap, or two exceptions of one date contradict
        each other; when only one coordinate is given, or a site that was located is to lose its place.
    """
    raise_together(
        partial(check_windows, access_windows),
        partial(check_exceptions, access_exceptions),
        partial(_check_location, None, facts),
        partial(_check_is_known, None, facts),
    )
    if "client" in facts:
        refuse_retired(facts["client"], pointer="/client")
    with transaction.atomic():
        site = Site.objects.create(company=company, **facts)
        _set_windows(site, access_windows)
        _set_exceptions(site, access_exceptions)
        if by is not None:
            record(by=by, action="create site", subject=site, now=now)
    return site


def update_site(
    *,
    site: Site,
    by: Membership | None,
    now: datetime,
    access_windows: Windows | None = None,
    access_exceptions: Windows | None = None,
    **facts: Any,
) -> Site:
    """Change a site; access windows and exceptions, when given, replace the ones there were.

    With another client it passes on, from `client_since` or now; see `fleet.models.ownership`.

    Raises
    ------
    InvalidInput
        As `create_site`.
    """
    raise_together(
        partial(check_windows, access_windows or ()),
        partial(check_exceptions, access_exceptions or ()),
        partial(_check_location, site, facts),
        partial(_check_is_known, site, facts),
    )
    if not site.is_known and any(facts.get(name) not in (None, "") for name in _WHERE):
        facts["is_known"] = True
    differing = {name for name, value in facts.items() if value != getattr(site, name)}
    sent = list(facts)
    client, since = facts.pop("client", site.client), facts.pop("client_since", None)
    with transaction.atomic():
        if client.pk != site.client_id:
            refuse_retired(client, pointer="/client")
            pass_site_on(site=site, client=client, since=since, by=by, now=now)
        elif since != site.client_since:
            refuse_time_alone(since)
        for name, value in facts.items():
            setattr(site, name, value)
        site.save()
        if not differing.isdisjoint(_FEEDS):
            announce(site.company_id, units=units_at([site.pk]), kind=Kind.WATER, now=now)
        if "is_known" in differing:
            announce(site.company_id, units=units_at([site.pk]), kind=Kind.UNIT, now=now)
        if not differing.isdisjoint(_PLACE):
            # The way to a site is shared with its neighbours.
            everywhere = Unit.objects.filter(company=site.company_id).order_by("pk").values_list("pk", flat=True)
            announce(site.company_id, units=everywhere, kind=Kind.TRAVEL, now=now)
        if access_windows is not None:
            AccessWindow.objects.filter(site=site).delete()
            _set_windows(site, access_windows)
        if access_exceptions is not None:
            AccessException.objects.filter(site=site).delete()
            _set_exceptions(site, access_exceptions)
        if by is not None:
            access = {"access_windows": access_windows, "access_exceptions": access_exceptions}
            changed = sorted([*sent, *(name for name, rows in access.items() if rows is not None)])
            record(by=by, action="update site", subject=site, now=now, details={"fields": changed})
    return site


def units_at(site_ids: Iterable[int]) -> list[int]:
    """Ids of the units that stand at some sites."""
    return list(Unit.objects.filter(site__in=list(site_ids)).order_by("pk").values_list("pk", flat=True))


def check_windows(windows: Windows, *, pointer: str = "/access_windows") -> None:
    """Refuse hours that cannot be, with one fault for each window.

    Raises
    ------
    InvalidInput
        Naming every window at fault.
    """
    faults = []
    for place, window in enumerate(windows):
        if window["closes"] <= window["opens"]:
            faults.append(Fault(f"{pointer}/{place}/closes", "The window must close after it opens, on the same day."))
        for other in windows[:place]:
            if _overlap(window, other):
                faults.append(Fault(f"{pointer}/{place}", "This window overlaps an earlier one of the same weekday."))
                break
    if faults:
        raise InvalidInput("impossible_access_windows", "The access windows are not valid.", faults=faults)


def check_exceptions(exceptions: Windows, *, pointer: str = "/access_exceptions") -> None:
    """Refuse exceptions that cannot be, with one fault for each.

    Raises
    ------
    InvalidInput
        Naming every exception at fault.
    """
    faults = []
    for place, row in enumerate(exceptions):
        at = f"{pointer}/{place}"
        opens, closes = row.get("opens"), row.get("closes")
        if row["last_day"] < row["first_day"]:
            faults.append(Fault(f"{at}/last_day", f"last_day {row['last_day']} lies before {row['first_day']}."))
        if (opens is None) != (closes is None):
            faults.append(Fault(at, "Give both opens and closes, or neither when the site is closed then."))
        elif opens is not None and closes is not None and closes <= opens:
            faults.append(Fault(f"{at}/closes", "The site must close after it opens, on the same day."))
        elif any(_contradict(row, other) for other in exceptions[:place]):
            faults.append(Fault(at, "This exception contradicts an earlier one for the same date."))
    if faults:
        raise InvalidInput("impossible_access_exceptions", "The exceptions are not valid.", faults=faults)


def _check_location(site: Site | None, facts: Mapping[str, Any]) -> None:
    """Refuse half a place, and taking back one that rounds were planned by."""
    before = {name: getattr(site, name, None) for name in _PLACE}
    after = {name: facts.get(name, before[name]) for name in _PLACE}
    missing = [name for name, value in after.items() if value is None]
    if len(missing) == len(_PLACE) and site is not None and site.is_located:
        sentence = "This site is located already, and its rounds rest on that; send where it is instead."
        raise InvalidInput(
            "location_needed", sentence, faults=[Fault(f"/{name}", sentence) for name in _PLACE if name in facts]
        )
    if len(missing) == 1:
        sentence = "Give latitude and longitude both, or neither while the location is unknown."
        raise InvalidInput("half_a_location", sentence, faults=[Fault(f"/{missing[0]}", sentence)])


def _check_is_known(site: Site | None, facts: Mapping[str, Any]) -> None:
    """Refuse a site that is not known and yet said to be somewhere, and forgetting one that was known."""
    if facts.get("is_known") is not False:
        return
    if site is None and any(facts.get(name) not in (None, "") for name in _WHERE):
        sentence = "A site with an address or coordinates is known; leave is_known out, or leave them out."
        raise InvalidInput("site_is_known", sentence, pointer="/is_known")
    if site is not None and site.is_known:
        sentence = "This site is known already, and visits rest on that; it stays known."
        raise InvalidInput("site_is_known", sentence, pointer="/is_known")


def _contradict(one: Mapping[str, Any], other: Mapping[str, Any]) -> bool:
    if one["last_day"] < other["first_day"] or other["last_day"] < one["first_day"]:
        return False
    for row in (one, other):
        if row.get("opens") is None or row.get("closes") is None:
            return True
    return bool(one["opens"] < other["closes"] and other["opens"] < one["closes"])


def _overlap(one: Mapping[str, Any], other: Mapping[str, Any]) -> bool:
    def hours(window: Mapping[str, Any]) -> tuple[time, time]:
        return window["opens"], window["closes"]

    return bool(
        one["weekday"] == other["weekday"] and hours(one)[0] < hours(other)[1] and hours(other)[0] < hours(one)[1]
    )


def _set_windows(site: Site, windows: Windows) -> None:
    AccessWindow.objects.bulk_create([AccessWindow(site=site, **window) for window in windows])


def _set_exceptions(site: Site, exceptions: Windows) -> None:
    AccessException.objects.bulk_create([AccessException(site=site, **exception) for exception in exceptions])
