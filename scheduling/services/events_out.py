"""What this room tells outside: visits planned, moved, off and done, orders that are due. Called with what it tells."""

from collections.abc import Collection, Iterable, Mapping
from dataclasses import dataclass
from datetime import UTC, date, datetime
from typing import Any

from django.db.models import prefetch_related_objects

from accounts.webhooks.models import Event
from accounts.webhooks.outbox import Happening, has_receiver, tell
from scheduling.models import PartsList, Plan, Stop, Visit
from scheduling.planning.rounds import Disturbance


@dataclass(frozen=True, slots=True)
class Slot:
    """When and by whom a visit is to be done; an installer's id, None while that is open."""

    starts_at: datetime
    installer: int | None

    @classmethod
    def of_stop(cls, stop: Stop) -> "Slot":
        """Where a stop stands; `round` must be at hand."""
        return cls(stop.starts_at, stop.round.installer_id)


def known_before(visit: Visit, stop: Stop | None) -> Slot | None:
    """What was told of a visit before a change: its stop in the published plan, or the time its client confirmed."""
    if stop is not None:
        return Slot.of_stop(stop)
    if visit.state == Visit.State.CONFIRMED and visit.appointment_at is not None:
        return Slot(visit.appointment_at, visit.installer_id)
    return None


def times_set(company_id: int, slots: Iterable[tuple[Visit, Slot | None, Slot]], now: datetime) -> None:
    """Visits got a time, or another than they had before; each with what it had and has. What stays is not told."""
    changed = [(visit, before, after) for visit, before, after in slots if _differ(visit, before, after)]
    if changed and has_receiver(company_id, Event.VISIT_PLANNED, Event.VISIT_MOVED):
        tell(company_id=company_id, happenings=[_of_time(*each) for each in changed], now=now)


def appointment_set(visit: Visit, earlier_at: datetime | None, now: datetime) -> None:
    """A time was confirmed with the client, or another one; `earlier_at`: what was confirmed before."""
    at = visit.appointment_at
    if at is None or not has_receiver(visit.company_id, Event.VISIT_PLANNED, Event.VISIT_MOVED):
        return
    planned = _planned([visit]).get(visit.pk)
    before = planned
    if earlier_at is not None:
        before = Slot(earlier_at, planned.installer if planned is not None else visit.installer_id)
    of_plan = planned.installer if planned is not None and planned.starts_at == at else None
    times_set(visit.company_id, [(visit, before, Slot(at, visit.installer_id or of_plan))], now)


def _differ(visit: Visit, before: Slot | None, after: Slot) -> bool:
    """Whether a change is one, as plans say it: a quarter of an hour is none before a time is confirmed."""
    if before is None or before.installer != after.installer or visit.state == Visit.State.CONFIRMED:
        return before != after
    return abs(after.starts_at - before.starts_at).total_seconds() > Disturbance().tolerance_s


def off(visits: Collection[Visit], now: datetime, *, confirmed_at: datetime | None = None) -> None:
    """Visits of one company do not come at the time that was told; what had none is not told.

    They are what they have become, and their stops are still where they were. `confirmed_at`: the time that was
    confirmed with the client of a visit that no longer holds it.
    """
    listed = list(visits)
    if not listed or not has_receiver(listed[0].company_id, Event.VISIT_OFF):
        return
    prefetch_related_objects(listed, "site")
    slots = _planned(listed)
    for visit in listed:
        at = visit.appointment_at or confirmed_at
        if at is not None and visit.pk not in slots:
            slots[visit.pk] = Slot(at, visit.installer_id)
    times_lost(listed[0].company_id, [(visit, slots[visit.pk]) for visit in listed if visit.pk in slots], now)


def times_lost(company_id: int, slots: Iterable[tuple[Visit, Slot]], now: datetime) -> None:
    """Visits lost the time that was told of them, with what it was."""
    happenings = [
        Happening(
            Event.VISIT_OFF,
            f"visit {visit.pk}",
            f"off since {_text(now)}",
            {
                **_of_visit(visit),
                "earlier_starts_at": _text(slot.starts_at),
                "installer": slot.installer,
                "state": visit.state,
            },
        )
        for visit, slot in slots
    ]
    tell(company_id=company_id, happenings=happenings, now=now)


def _planned(visits: Collection[Visit]) -> dict[int, Slot]:
    """Where visits stand in the published plan, the newest first."""
    stops = Stop.objects.filter(visit__in=[v.pk for v in visits], round__plan__state=Plan.State.PUBLISHED)
    ordered = stops.select_related("round").order_by("round__plan__published_at", "pk")
    return {stop.visit_id: Slot.of_stop(stop) for stop in ordered}


def done(visit: Visit, now: datetime) -> None:
    """The work of a visit was done."""
    at = _text(visit.closed_at or now)
    happening = Happening(Event.VISIT_DONE, f"visit {visit.pk}", f"done {at}", {**_of_visit(visit), "done_at": at})
    tell(company_id=visit.company_id, happenings=[happening], now=now)


def orders_due(parts_list: PartsList, today: date, now: datetime) -> None:
    """Say of each supplier from whom something must be ordered by today; once for each last day of ordering."""
    if not has_receiver(parts_list.company_id, Event.ORDER_DUE):
        return
    lines = parts_list.lines.filter(packs_to_order__gt=0, order_by__lte=today, item__supplier__is_active=True)
    due: dict[int, list[date]] = {}
    for supplier, order_by in lines.values_list("item__supplier_id", "order_by"):
        if order_by is not None:
            due.setdefault(supplier, []).append(order_by)
    tell(
        company_id=parts_list.company_id,
        happenings=[
            Happening(
                Event.ORDER_DUE,
                f"supplier {supplier}",
                f"due {min(days)}",
                {
                    "supplier": supplier,
                    "parts_list": parts_list.pk,
                    "order_by": min(days).isoformat(),
                    "items": len(days),
                },
            )
            for supplier, days in sorted(due.items())
        ],
        now=now,
    )


def _of_time(visit: Visit, before: Slot | None, after: Slot) -> Happening:
    starts_at = _text(after.starts_at)
    data: dict[str, Any] = {
        **_of_visit(visit),
        "starts_at": starts_at,
        "installer": after.installer,
        "is_confirmed": visit.state == Visit.State.CONFIRMED and visit.appointment_at == after.starts_at,
    }
    says = f"{starts_at} by {after.installer}"
    if before is None:
        return Happening(Event.VISIT_PLANNED, f"visit {visit.pk}", says, data)
    data["earlier_starts_at"] = _text(before.starts_at)
    return Happening(Event.VISIT_MOVED, f"visit {visit.pk}", says, data)


def _of_visit(visit: Visit) -> Mapping[str, Any]:
    return {"visit": visit.pk, "site": visit.site_id, "site_code": visit.site.code}


def _text(moment: datetime) -> str:
    return moment.astimezone(UTC).isoformat().replace("+00:00", "Z")
