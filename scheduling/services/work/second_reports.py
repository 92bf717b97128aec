"""Two reports of one work, as two phones send them: the second adds to the first or corrects it, and says which."""

from datetime import timedelta
from typing import Final

from accounts.day_alone import moment_in_words
from accounts.errors import Conflict, Fault
from scheduling.models import Need, ServiceRecord
from scheduling.services.work.report import ADDITION, CORRECTION, WorkReport

AT_ONCE: Final = timedelta(hours=2)
"""Two changes of one position within this time are of one visit: common practice, no source."""

_CARTRIDGES: Final = (Need.Kind.REPLACE, Need.Kind.ROTATE)


def reports_of_same_work(report: WorkReport) -> list[ServiceRecord]:
    """Reports in force of the same visit; outside of any visit, of the same positions within two hours."""
    rows = ServiceRecord.objects.filter(site=report.site)
    if report.visit is not None:
        same_visit = list(rows.filter(visit=report.visit).order_by("received_at", "pk"))
        if same_visit:
            return same_visit
    near = rows.filter(done_at__gt=report.done_at - AT_ONCE, done_at__lt=report.done_at + AT_ONCE)
    return [row for row in near.order_by("received_at", "pk") if _positions(report) & _positions_of(row)]


def refuse_unsaid_second_report(report: WorkReport) -> None:
    """Refuse a second report of one work that does not say what it is to the first.

    Raises
    ------
    Conflict
        Naming the first and what to send; when it is an addition, naming each position that was changed already.
    """
    earlier = reports_of_same_work(report)
    if not earlier:
        return
    first = earlier[0]
    if report.follows != ADDITION:
        name = f"'{first.reference}' (service record {first.pk}, done at {moment_in_words(first.done_at)})"
        raise Conflict(
            "second_report",
            f"This work was reported before, as {name}. Send it with 'follows': '{ADDITION}' where it was done "
            f"besides, or '{CORRECTION}' where it is to take the place of that report.",
            pointer="/follows",
        )
    changed = {position: row for row in earlier for position in _positions_of(row)}
    faults = [
        Fault(
            f"/work/{number}/position",
            f"'{changed[entry.position.pk].reference}' changed the cartridge in this position already; leave it out, "
            f"or send all of it as a '{CORRECTION}'.",
        )
        for number, entry in enumerate(report.work)
        if entry.action in _CARTRIDGES and entry.position is not None and entry.position.pk in changed
    ]
    if faults:
        raise Conflict("changed_already", "The report before says the same work.", faults=faults)


def _positions(report: WorkReport) -> set[int]:
    return {entry.position.pk for entry in report.work if entry.action in _CARTRIDGES and entry.position is not None}


def _positions_of(row: ServiceRecord) -> set[int]:
    return {done["position"] for done in row.work if done["action"] in _CARTRIDGES and done.get("position")}
