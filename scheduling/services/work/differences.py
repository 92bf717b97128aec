"""A report of work that comes again under its reference: what it says otherwise than the record that was stored."""

from collections import Counter
from collections.abc import Iterable, Mapping, Sequence
from typing import TYPE_CHECKING, Any

from accounts.repeats import Difference, difference, worded
from scheduling.models import ServiceRecord, VisitTask
from scheduling.services.visits.outcomes import TaskOutcome

if TYPE_CHECKING:
    from scheduling.services.work.records import PartUsed, WorkDone


def differences_of_report(
    known: ServiceRecord,
    *,
    sent: Mapping[str, Any],
    work: "Sequence[WorkDone]",
    used: "Sequence[PartUsed] | None",
    leftover: "Sequence[PartUsed]",
    not_done: Sequence[TaskOutcome],
) -> list[Difference]:
    """Every field in which a report differs from the record that its reference stands for; readings are not looked at.

    `sent` are the single values, by the name of their column. The item, the need and the parts that a report leaves to
    the catalogue, and the moment of its confirmation, agree with what was filled in then.
    """
    found: list[Difference] = []
    for name, value in sent.items():
        if not (name == "confirmed_at" and value is None):
            found += difference(name.removesuffix("_id"), getattr(known, name), value)
    if len(known.work) != len(work):
        found.append(Difference("work", f"of length {len(known.work)}", str(len(work))))
    for number, (row, done) in enumerate(zip(known.work, work, strict=False)):
        found += _of_row(f"work/{number}", row, done)
    if used is not None:
        found += worded("parts", _pieces(known.parts), _pieces_of(used))
    found += worded("leftover", _pieces(known.leftover), _pieces_of(leftover))
    return found + _of_tasks(known, not_done)


def _of_row(at: str, row: Mapping[str, Any], done: "WorkDone") -> list[Difference]:
    found = difference(f"{at}/action", row["action"], done.action)
    found += difference(f"{at}/unit", row["unit"], done.unit.pk)
    found += difference(f"{at}/position", row["position"], done.position.pk if done.position is not None else None)
    for name in ("serial_or_lot", "removal", "note"):
        found += difference(f"{at}/{name}", row[name], getattr(done, name))
    if done.item is not None:
        found += difference(f"{at}/item", row["item"], done.item.pk)
    # A need that was closed already was not settled, and is not among those that are kept.
    if done.need is not None and row["needs"] and done.need.pk not in row["needs"]:
        found += difference(f"{at}/need", row["needs"][0], done.need.pk)
    return found


def _of_tasks(known: ServiceRecord, not_done: Sequence[TaskOutcome]) -> list[Difference]:
    """Tasks that were left; those done by a later report are not held against the earlier one."""
    visit = known.visit
    if visit is None or visit.closed_at != known.done_at:
        return []
    tasks = visit.tasks.filter(outcome=VisitTask.Outcome.NOT_DONE)
    stored = dict(tasks.values_list("need_id", "outcome_reason"))
    sent = {outcome.need.pk: outcome.reason for outcome in not_done}
    done_since = set(visit.tasks.filter(outcome=VisitTask.Outcome.DONE).values_list("need_id", flat=True))
    found = []
    for need in sorted({*stored, *sent} - done_since):
        found += worded("not_done", _left(need, stored), _left(need, sent))
    return found


def _left(need: int, reasons: Mapping[int, str]) -> str:
    return f"need {need}: {reasons[need]}" if need in reasons else ""


def _pieces(rows: Iterable[Mapping[str, Any]]) -> str:
    """Pieces by item, in words."""
    count: Counter[int] = Counter()
    for row in rows:
        count[row["item"]] += row["quantity"]
    return ", ".join(f"{quantity} of item {item}" for item, quantity in sorted(count.items()))


def _pieces_of(used: "Sequence[PartUsed]") -> str:
    return _pieces({"item": part.item.pk, "quantity": part.quantity} for part in used)
