"""What a report of work says about money: at which units, for how long, with which pieces, for which client."""

from collections import Counter, defaultdict
from collections.abc import Iterable, Mapping
from datetime import datetime
from itertools import pairwise
from typing import Any

from accounts.models import Company
from fleet.models import PastOwnership, Position
from scheduling.models import Need, ServiceRecord
from scheduling.planning.policy import Policy

_CARTRIDGES = (Need.Kind.REPLACE, Need.Kind.ROTATE)


class Owners:
    """Which client had a site or a unit of a company at a moment; read in one query."""

    def __init__(self, company: Company) -> None:
        self._past: dict[tuple[str, int], list[tuple[datetime | None, datetime, int]]] = defaultdict(list)
        for past in PastOwnership.objects.of_company(company).order_by("until", "pk"):
            held = ("site", past.site_id) if past.site_id is not None else ("unit", past.unit_id or 0)
            self._past[held].append((past.since, past.until, past.client_id))

    def of_site(self, site: Any, at: datetime) -> int:
        """Id of the client who had the site then."""
        return self._at(("site", site.pk), at, site.client_id)

    def of_unit(self, unit: int, at: datetime, present: int) -> int:
        """Id of the client who had the unit then, whose client is a present one now."""
        return self._at(("unit", unit), at, present)

    def stretches(self, unit: int, begins: datetime, ends: datetime) -> list[tuple[datetime, datetime]]:
        """A period cut where the unit passed from one client to another."""
        if begins >= ends:
            return []
        past = self._past.get(("unit", unit), ())
        cuts = sorted({begins, ends, *(until for _, until, _ in past if begins < until < ends)})
        return list(pairwise(cuts))

    def _at(self, held: tuple[str, int], at: datetime, present: int) -> int:
        owned = self._past.get(held, ())
        return next(
            (client for since, until, client in owned if at < until and (since is None or since <= at)), present
        )


def units_of_positions(records: Iterable[ServiceRecord]) -> dict[int, int]:
    """Position id to unit id, of the positions that reports name."""
    named = {done["position"] for record in records for done in record.work if done.get("position")}
    return dict(Position.objects.filter(pk__in=named).values_list("pk", "unit_id"))


def minutes_by_unit(record: ServiceRecord, policy: Policy, unit_of_position: Mapping[int, int]) -> dict[int, float]:
    """Unit id to the usual minutes of what was done there, in the order of the report.

    What was reported for a whole visit is shared among its units in this proportion.
    """
    minutes: dict[int, float] = {}
    for done in record.work:
        unit = unit_at(done, unit_of_position)
        if unit is not None:
            minutes[unit] = minutes.get(unit, 0.0) + policy.task_minutes.get(done["action"], 0.0)
    return minutes


def unit_at(done: Mapping[str, Any], unit_of_position: Mapping[int, int]) -> int | None:
    """Id of the unit at which something was done; None where the report does not say."""
    unit: int | None = done.get("unit") or unit_of_position.get(done.get("position") or 0)
    return unit


def minutes_of(record: ServiceRecord, policy: Policy) -> tuple[float, bool]:
    """How long the work took, and whether that is only the policy's usual time, since nobody reported it."""
    if record.minutes is not None:
        return float(record.minutes), False
    usual = sum(policy.task_minutes.get(done["action"], 0.0) for done in record.work)
    return policy.removal_minutes + usual, True


def pieces_by_unit(record: ServiceRecord, unit_of_position: Mapping[int, int]) -> dict[int | None, Counter[int]]:
    """Unit id to how many pieces of which item were used there; under None what served the visit as a whole.

    A cartridge was used where the report fits it; of everything else a report says only that it was used.
    """
    left = Counter[int]()
    for part in record.parts:
        left[part["item"]] += part["quantity"]
    pieces: dict[int | None, Counter[int]] = defaultdict(Counter)
    for done in record.work:
        item, unit = done.get("item"), unit_at(done, unit_of_position)
        if done["action"] in _CARTRIDGES and item and unit is not None and left[item] > 0:
            pieces[unit][item] += 1
            left[item] -= 1
    pieces[None] = +left
    return dict(pieces)
