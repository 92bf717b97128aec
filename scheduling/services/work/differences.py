"""A report of work that comes again under its reference: what it says otherwise than the record that was stored."""

from collections import Counter
from collections.abc import Iterable, Mapping, Sequence
from typing import Any

from accounts.repeats import Difference, difference, worded
from scheduling.models import ServiceRecord, VisitTask
from scheduling.services.visits.outcomes import TaskOutcome
from scheduling.services.work.report import PartUsed, WorkDone, WorkReport


def differences_of_report(stored: ServiceRecord, report: WorkReport) -> list[Difference]:
    """Every field in which a report differs from the record that its reference stands for; readings are not looked at.

    The item, the need and the parts that a report leaves to the catalogue, and the moment of its confirmation, agree
    with what was filled in then.
    """
    differences: list[Difference] = []
    differences += difference("site", stored.site_id, report.site.pk)
    differences += difference("visit", stored.visit_id, report.visit.pk if report.visit is not None else None)
    for name in ("done_at", "minutes", "confirmed_by", "confirmed_at", "note"):
        value = getattr(report, name)
        if not (name == "confirmed_at" and value is None):
            differences += difference(name, getattr(stored, name), value)
    if len(stored.work) != len(report.work):
        differences.append(Difference("work", f"of length {len(stored.work)}", str(len(report.work))))
    for number, (row, sent_work) in enumerate(zip(stored.work, report.work, strict=False)):
        differences += _of_row(f"work/{number}", row, sent_work)
    if report.used is not None:
        differences += worded("parts", _pieces(stored.parts), _pieces_of(report.used))
    differences += worded("leftover", _pieces(stored.leftover), _pieces_of(report.leftover))
    return differences + _of_tasks(stored, report.not_done)


def _of_row(at: str, row: Mapping[str, Any], sent_work: WorkDone) -> list[Difference]:
    # What is not kept of a row was not said of it; so that it is a difference, and no fault of the server.
    differences = difference(f"{at}/action", row.get("action"), sent_work.action)
    differences += difference(f"{at}/unit", row.get("unit"), sent_work.unit.pk)
    differences += difference(
        f"{at}/position", row.get("position"), sent_work.position.pk if sent_work.position is not None else None
    )
    for name in ("serial_or_lot", "removal", "note"):
        differences += difference(f"{at}/{name}", row.get(name, ""), getattr(sent_work, name))
    if sent_work.item is not None:
        differences += difference(f"{at}/item", row.get("item"), sent_work.item.pk)
    # A need that was closed already was not settled, and is not among those that are kept.
    if sent_work.need is not None and row.get("needs") and sent_work.need.pk not in row["needs"]:
        differences += difference(f"{at}/need", row["needs"][0], sent_work.need.pk)
    return differences


def _of_tasks(stored_record: ServiceRecord, not_done: Sequence[TaskOutcome]) -> list[Difference]:
    """Tasks that were left; those done by a later report are not held against the earlier one."""
    visit = stored_record.visit
    if visit is None or visit.closed_at != stored_record.done_at:
        return []
    tasks = visit.tasks.filter(outcome=VisitTask.Outcome.NOT_DONE)
    stored = dict(tasks.values_list("need_id", "outcome_reason"))
    sent = {outcome.need.pk: outcome.reason for outcome in not_done}
    done_since = set(visit.tasks.filter(outcome=VisitTask.Outcome.DONE).values_list("need_id", flat=True))
    differences = []
    for need in sorted({*stored, *sent} - done_since):
        differences += worded("not_done", _left(need, stored), _left(need, sent))
    return differences


def _left(need: int, reasons: Mapping[int, str]) -> str:
    return f"need {need}: {reasons[need]}" if need in reasons else ""


def _pieces(rows: Iterable[Mapping[str, Any]]) -> str:
    """Pieces by item, in words."""
    count: Counter[int] = Counter()
    for row in rows:
        count[row["item"]] += row["quantity"]
    return ", ".join(f"{quantity} of item {item}" for item, quantity in sorted(count.items()))


def _pieces_of(used: Sequence[PartUsed]) -> str:
    return _pieces({"item": part.item.pk, "quantity": part.quantity} for part in used)
