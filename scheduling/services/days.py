"""How a company's days lie on the clock of the planner."""

from dataclasses import dataclass
from datetime import UTC, date, datetime, time, timedelta
from functools import lru_cache
from zoneinfo import ZoneInfo

from fleet.engineering.constants import SECONDS_PER_DAY
from scheduling.planning.rounds.problem import whole_minute

_NOON_S = SECONDS_PER_DAY // 2


@dataclass(frozen=True, slots=True)
class PlanningClock:
    """Translates between moments and the planner's (day, second of day).

    A second of a day is counted from the office's noon: second = 43 200 + (moment - noon). On ordinary days that is the
    wall clock. On the two days a year on which the clocks change it is the wall clock of the hours after the change,
    and hours before it still lie the true number of seconds away, so that no drive or task is an hour longer or shorter
    than it is. Sites and installers in other time zones fall into place through the moment.
    """

    first_day: date
    zone: ZoneInfo

    def noon(self, day: int) -> datetime:
        """Noon of a day of the horizon, as a moment in UTC."""
        noon = datetime.combine(self.first_day + timedelta(days=day), time(12), tzinfo=self.zone)
        return noon.astimezone(UTC)

    def moment(self, day: int, second: int) -> datetime:
        """The moment of a second of a day."""
        return self.noon(day) + timedelta(seconds=second - _NOON_S)

    def on_the_minute(self, day: int, second: int) -> datetime:
        """The moment that people are told of a second of a day: its minute, as for all times of stored rounds."""
        return self.moment(day, whole_minute(second))

    def second(self, day: int, moment: datetime) -> int:
        """A moment as second of a day of the horizon; below 0 or above 86 400 when it lies on another day."""
        return round((moment - self.noon(day)).total_seconds()) + _NOON_S

    def place(self, moment: datetime) -> tuple[int, int]:
        """Day of the horizon (may be negative) and second of that day of a moment."""
        day = (moment.astimezone(self.zone).date() - self.first_day).days
        return day, self.second(day, moment)

    def span(
        self, day: int, opens: time, closes: time, zone: ZoneInfo, on: date | None = None
    ) -> tuple[int, int] | None:
        """Hours of a wall clock, clipped to a day of the horizon; None when nothing of them falls on it.

        Parameters
        ----------
        day
            Day of the horizon.
        opens, closes
            Times of the wall clock.
        zone
            Whose wall clock.
        on
            The date there; None: the date of the day of the horizon.

        Notes
        -----
        An opening time that the clocks skip in spring is as much later, a closing time as much earlier; of times that
        come twice in autumn the first opens and the last closes.
        """
        return _span(self, day, opens, closes, zone, on or self.first_day + timedelta(days=day))


# hundreds of sites keep the same hours
@lru_cache(maxsize=4096)
def _span(
    clock: PlanningClock, day: int, opens: time, closes: time, zone: ZoneInfo, date_: date
) -> tuple[int, int] | None:
    first = clock.second(day, _moment(date_, opens, zone, last=False))
    last = clock.second(day, _moment(date_, closes, zone, last=True))
    first, last = max(first, 0), min(last, SECONDS_PER_DAY)
    return (first, last) if last > first else None


def _moment(day: date, clock: time, zone: ZoneInfo, *, last: bool) -> datetime:
    return datetime.combine(day, clock.replace(fold=int(last)), tzinfo=zone).astimezone(UTC)
