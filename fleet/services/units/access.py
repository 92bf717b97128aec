"""When a site can be entered: the hours of its weekdays, and the dates on which others hold."""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import date, datetime, time, timedelta
from zoneinfo import ZoneInfo

from fleet.models import AccessException, AccessWindow, Site

#: From when to when on one date; the last moment of a day stands for its end.
Hours = tuple[time, time]
_ALL_DAY: Hours = (time.min, time.max)


@dataclass(frozen=True, slots=True)
class Access:
    """The hours of one site, in its own time zone."""

    zone: ZoneInfo
    windows: tuple[AccessWindow, ...] = ()
    exceptions: tuple[AccessException, ...] = ()

    def hours_on(self, day: date) -> list[Hours]:
        """The hours of a date, in order; all day where the site has none of its own.

        Exceptions take the place of the hours of the weekday. Where one of them says closed, that counts.
        """
        special = [x for x in self.exceptions if x.first_day <= day <= x.last_day]
        if special:
            opening_hours = [(x.opens, x.closes) for x in special if x.opens is not None and x.closes is not None]
            return sorted(opening_hours) if len(opening_hours) == len(special) else []
        if not self.windows:
            return [_ALL_DAY]
        return sorted((w.opens, w.closes) for w in self.windows if w.weekday == day.weekday())

    def is_open(self, begins: datetime, ends: datetime) -> bool:
        """Whether work from one moment to another lies within the hours of one date."""
        first, last = begins.astimezone(self.zone), ends.astimezone(self.zone)
        if last.date() > first.date() and last.time() == time.min:
            last -= timedelta.resolution
        return first.date() == last.date() and any(
            opens <= first.time() and last.time() <= closes for opens, closes in self.hours_on(first.date())
        )


def access_of(sites: Iterable[Site]) -> Mapping[int, Access]:
    """The access of some sites, by the id of the site."""
    rows = {site.pk: site for site in sites}
    windows: dict[int, list[AccessWindow]] = {}
    for window in AccessWindow.objects.filter(site__in=rows):
        windows.setdefault(window.site_id, []).append(window)
    exceptions: dict[int, list[AccessException]] = {}
    for exception in AccessException.objects.filter(site__in=rows):
        exceptions.setdefault(exception.site_id, []).append(exception)
    return {
        pk: Access(ZoneInfo(site.time_zone), tuple(windows.get(pk, ())), tuple(exceptions.get(pk, ())))
        for pk, site in rows.items()
    }
