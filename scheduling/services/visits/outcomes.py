"""What became of each task of a visit: done, or not done and why. A visit is not closed over an open question."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime

from accounts.day_alone import known_day
from accounts.errors import Fault, InvalidInput
from scheduling.models import Need, Visit, VisitTask
from scheduling.services.words.tasks import task_at_unit


@dataclass(frozen=True, slots=True)
class TaskOutcome:
    """What became of one task.

    Attributes
    ----------
    need
        The need behind the task.
    done
        Whether it was done.
    reason
        Why not; empty when it was done.
    """

    need: Need
    done: bool
    reason: str = ""


def settle_tasks(
    *, visit: Visit, outcomes: Sequence[TaskOutcome], done_at: datetime, now: datetime, field: str
) -> None:
    """Write down what became of each open task of a visit, and close the needs that are done.

    Call it in the transaction that closes the visit.

    Parameters
    ----------
    visit
        Whose tasks.
    outcomes
        One for each task that is open still.
    done_at, now
        When the work was done, and when this is written.
    field
        Name of the outcomes in what was sent, for faults.

    Raises
    ------
    InvalidInput
        Naming each task that is missing, told twice, or told without its reason, and each need that is no task of the
        visit; a changed cartridge, which only a record of work can report.
    """
    tasks = {t.need_id: t for t in visit.tasks.select_related("need__unit", "need__position")}
    faults, reported_needs = [], set()
    for number, outcome in enumerate(outcomes):
        at = f"/{field}/{number}"
        task = tasks.get(outcome.need.pk)
        if task is None:
            faults.append(Fault(f"{at}/need", f"need {outcome.need.pk} is not a task of this visit."))
        elif outcome.need.pk in reported_needs:
            faults.append(Fault(f"{at}/need", f"need {outcome.need.pk} appears twice; give its outcome once."))
        elif not outcome.done and not outcome.reason.strip():
            faults.append(Fault(f"{at}/reason", f"reason must say why it was not done: {task_at_unit(task.need)}."))
        elif outcome.done and outcome.need.kind in {Need.Kind.REPLACE, Need.Kind.ROTATE}:
            sentence = "report a changed cartridge in a service record, which says what was fitted."
            faults.append(Fault(f"{at}/done", f"{task_at_unit(task.need)}: {sentence}"))
        reported_needs.add(outcome.need.pk)
    missing = [t for pk, t in tasks.items() if t.need.state == Need.State.OPEN and pk not in reported_needs]
    faults += [
        Fault(f"/{field}", f"need {t.need_id} ({task_at_unit(t.need)}) is missing: report it as done, or say why not.")
        for t in missing
    ]
    if faults:
        raise InvalidInput("tasks_not_settled", "Give the outcome of every task.", faults=faults)
    finished_needs = [outcome.need.pk for outcome in outcomes if outcome.done]
    Need.objects.filter(pk__in=finished_needs, state=Need.State.OPEN).update(
        state=Need.State.DONE, closed_at=done_at, closed_on=known_day(done_at), updated_at=now
    )
    reasons = {outcome.need.pk: outcome.reason for outcome in outcomes if not outcome.done}
    open_before = {pk for pk, t in tasks.items() if t.need.state == Need.State.OPEN}
    for pk, task in tasks.items():
        if pk in reasons:
            task.outcome, task.outcome_reason = VisitTask.Outcome.NOT_DONE, reasons[pk]
        elif task.need.state == Need.State.DONE or pk in open_before:
            task.outcome = VisitTask.Outcome.DONE
    VisitTask.objects.bulk_update(tasks.values(), ["outcome", "outcome_reason"])
