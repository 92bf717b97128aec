"""Work that a person would do on seeing what the readings of a unit show."""

from __future__ import annotations

from scheduling.planning.needs.facts import FindingFacts, PartFacts
from scheduling.planning.needs.need import NeedKind
from scheduling.planning.needs.tasks import Source, TaskList, key_at, key_at_unit
from scheduling.planning.needs.work import FindingWork
from scheduling.planning.words import needs as words


def add_from_findings(tasks: TaskList) -> None:
    """Add what the findings call for, unless it was done since they were seen; the surest finding speaks first."""
    for finding in tasks.unit.findings:
        work = finding.work
        if work is None:
            continue
        if work.kind == NeedKind.ROTATE:
            _rotate(tasks, finding, work)
        elif work.stage:
            _replace(tasks, finding, work)
        else:
            _at_unit(tasks, finding, work)


def _at_unit(tasks: TaskList, finding: FindingFacts, work: FindingWork) -> None:
    # two repairs are two tasks, while one look at the unit answers every finding
    key = key_at_unit(work.kind, tasks.unit, finding.cause if work.kind == NeedKind.REPAIR else "")
    if not tasks.was_done_since(key, finding):
        part = tasks.unit.parts.get(work.part, PartFacts())
        tasks.add(
            work.kind,
            key,
            Source.FINDING,
            label=work.label or words.UNIT,
            finding=finding,
            item=part.item,
            missing_part=part.missing_part,
            is_urgent=work.urgent,
            reason=f"{finding.reason} {part.missing_part}".strip(),
        )


def _replace(tasks: TaskList, finding: FindingFacts, work: FindingWork) -> None:
    # what got past the last of a stage has got past them all, whichever position the finding names
    for position in tasks.unit.positions:
        if position.stage != work.stage or tasks.was_done_since(key_at(NeedKind.REPLACE, position), finding):
            continue
        tasks.by_key.pop(key_at(NeedKind.ROTATE, position), None)
        tasks.replace(position, Source.FINDING, is_urgent=work.urgent, reason=finding.reason, finding=finding)


def _rotate(tasks: TaskList, finding: FindingFacts, work: FindingWork) -> None:
    for lead, lag in tasks.unit.pairs:
        if lead.stage != work.stage or lag is None or key_at(NeedKind.REPLACE, lead) in tasks.by_key:
            continue
        if tasks.was_done_since(key_at(NeedKind.ROTATE, lead), finding):
            continue
        behind = lag.forecast
        if behind is not None and behind.is_exhausted:
            # the reading has seen the lead, the forecast the lag: both go, as the finding says
            tasks.replace(lead, Source.FINDING, is_urgent=False, reason=finding.reason, finding=finding)
        else:
            tasks.rotate(lead, lag, Source.FINDING, lag_forecast=behind, reason=finding.reason, finding=finding)
