"""What a plan changes for the people who were told another one."""

from collections.abc import Collection, Iterable, Mapping
from datetime import UTC, date, datetime
from typing import Any

from accounts.models import Company
from scheduling.models import Stop, Visit
from scheduling.planning.rounds import DifferenceKind, Disturbance
from scheduling.planning.rounds.differences import Slot, list_differences
from scheduling.services.days import PlanningClock

_GONE = (Visit.State.CANCELLED,)


def compare_stops(
    *, company: Company, before: Iterable[Stop], after: Iterable[Stop], first_day: date
) -> list[dict[str, Any]]:
    """Every visit that is in only one of two sets of stops, or at another time, on another day or in other hands.

    Parameters
    ----------
    company
        Whose stops.
    before, after
        With `round__installer` and `visit__site` at hand.
    first_day
        Any day; days are counted from it.

    Returns
    -------
    One row for each visit, as it is stored on the plan: `visit`, `kind`, `sentence`, `before` and `after` (installer
    and start), `appointment_at` (what was confirmed when this was found), `tell_client`, `tell_installers`.

    Notes
    -----
    A start that moves by no more than a quarter of an hour (common practice, no source) counts as the same, unless the
    client has a confirmed time.
    """
    clock = PlanningClock(first_day, company.zone)
    old, new = {s.visit_id: s for s in before}, {s.visit_id: s for s in after}
    visits = {s.visit_id: s.visit for s in (*old.values(), *new.values())}
    confirmed = {pk for pk, visit in visits.items() if visit.appointment_at is not None}
    rows = []
    for keys, tolerance_s in ((confirmed, 0), (visits.keys() - confirmed, Disturbance().tolerance_s)):
        rows += [
            _row(visits[int(difference.visit)], difference, old, new)
            for difference in list_differences(
                _slots(old, keys, clock),
                _slots(new, keys, clock),
                names={str(pk): visits[pk].site.name for pk in keys},
                cancelled={str(pk) for pk in keys if visits[pk].state in _GONE},
                with_named_installer={str(pk) for pk in confirmed if visits[pk].installer_id is not None},
                first_day=first_day,
                tolerance_s=tolerance_s,
            )
        ]
    # in the order in which people are to be reached
    return sorted(rows, key=lambda row: (min(s["starts_at"] for s in (row["before"], row["after"]) if s), row["visit"]))


def people_to_tell(differences: Iterable[Mapping[str, Any]]) -> tuple[list[int], list[int]]:
    """Visits whose clients, and installers who, must hear of differences."""
    listed = list(differences)
    clients = [row["visit"] for row in listed if row["tell_client"]]
    return clients, sorted({installer for row in listed for installer in row["tell_installers"]})


def _slots(stops: Mapping[int, Stop], keys: Collection[int], clock: PlanningClock) -> dict[str, Slot]:
    return {
        str(pk): (stop.round.installer.name, *clock.place(stop.starts_at)) for pk, stop in stops.items() if pk in keys
    }


def _row(visit: Visit, difference: Any, old: Mapping[int, Stop], new: Mapping[int, Stop]) -> dict[str, Any]:
    stops = [stop for stop in (old.get(visit.pk), new.get(visit.pk)) if stop is not None]
    ids = {stop.round.installer.name: stop.round.installer_id for stop in stops}
    return {
        "visit": visit.pk,
        "site_name": visit.site.name,
        "kind": difference.kind.value,
        "sentence": difference.sentence,
        "before": _place(old.get(visit.pk)),
        "after": _place(new.get(visit.pk)),
        "appointment_at": as_text(visit.appointment_at),
        "tell_client": difference.tell_client and not _is_confirmed(visit, difference, new.get(visit.pk)),
        "tell_installers": [ids[name] for name in difference.tell_installers],
    }


def _is_confirmed(visit: Visit, difference: Any, after: Stop | None) -> bool:
    """Whether the client has confirmed this very time already, so that there is nothing to tell."""
    if after is None or visit.state != Visit.State.CONFIRMED or visit.appointment_at != after.starts_at:
        return False
    return difference.kind is not DifferenceKind.REASSIGNED


def _place(stop: Stop | None) -> dict[str, Any] | None:
    if stop is None:
        return None
    return {"installer": stop.round.installer_id, "starts_at": as_text(stop.starts_at)}


def as_text(moment: datetime | None) -> str | None:
    """A moment as it is stored in such rows: in UTC, so that equal moments are equal texts."""
    return None if moment is None else moment.astimezone(UTC).isoformat()
