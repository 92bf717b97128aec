"""Sites with the hours in which one can get in."""

from collections.abc import Mapping, Sequence
from datetime import datetime, time
from typing import Any

from django.db import transaction

from accounts.errors import Fault, InvalidInput
from accounts.models import Company, Membership
from accounts.services import record
from fleet.models import AccessWindow, Site

Windows = Sequence[Mapping[str, Any]]


def create_site(
    *, company: Company, by: Membership | None, now: datetime, access_windows: Windows = (), **facts: Any
) -> Site:
    """Create a site with its access windows, each a mapping of weekday (0 Monday to 6), opens and closes.

    Raises
    ------
    InvalidInput
        When a window closes before it opens, or two of one weekday overlap.
    """
    check_windows(access_windows)
    with transaction.atomic():
        site = Site.objects.create(company=company, **facts)
        _set_windows(site, access_windows)
        if by is not None:
            record(by=by, action="create site", subject=site, now=now)
    return site


def update_site(
    *, site: Site, by: Membership | None, now: datetime, access_windows: Windows | None = None, **facts: Any
) -> Site:
    """Change a site; access windows, when given, replace the ones there were.

    Raises
    ------
    InvalidInput
        As `create_site`.
    """
    if access_windows is not None:
        check_windows(access_windows)
    with transaction.atomic():
        for name, value in facts.items():
            setattr(site, name, value)
        site.save()
        if access_windows is not None:
            AccessWindow.objects.filter(site=site).delete()
            _set_windows(site, access_windows)
        if by is not None:
            changed = sorted([*facts, *(["access_windows"] if access_windows is not None else [])])
            record(by=by, action="update site", subject=site, now=now, details={"fields": changed})
    return site


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
        raise InvalidInput("impossible_access_windows", "The access windows cannot be.", faults=faults)


def _overlap(one: Mapping[str, Any], other: Mapping[str, Any]) -> bool:
    def hours(window: Mapping[str, Any]) -> tuple[time, time]:
        return window["opens"], window["closes"]

    return bool(
        one["weekday"] == other["weekday"] and hours(one)[0] < hours(other)[1] and hours(other)[0] < hours(one)[1]
    )


def _set_windows(site: Site, windows: Windows) -> None:
    AccessWindow.objects.bulk_create([AccessWindow(site=site, **window) for window in windows])
