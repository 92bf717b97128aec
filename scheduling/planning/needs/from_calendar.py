"""Work that falls due by the calendar alone."""

from __future__ import annotations

import datetime

from scheduling.planning.company_rules import CompanyRules
from scheduling.planning.needs.facts import UnitFacts
from scheduling.planning.needs.need import NeedKind
from scheduling.planning.needs.tasks import Source, TaskList, key_at_unit
from scheduling.planning.words import needs as words


def add_from_calendar(tasks: TaskList, today: datetime.date) -> None:
    """Sanitise pressurised tanks in their interval; look at a unit that nobody reads."""
    if tasks.unit.has_pressurised_tank:
        _sanitise(tasks, today)
    _unread(tasks, today)


def _sanitise(tasks: TaskList, today: datetime.date) -> None:
    unit, rules = tasks.unit, tasks.policy.rules
    due = sanitising_due(unit, rules)
    if (due - today).days > 7 * tasks.policy.planning.bundling_weeks:
        return
    tasks.add(
        NeedKind.SANITISE,
        key_at_unit(NeedKind.SANITISE, unit),
        Source.CALENDAR,
        label=words.TANK_AND_HOUSINGS,
        not_before=due - datetime.timedelta(days=rules.sanitise_early_days),
        due_on=due,
        reason=words.sanitise_in_interval(
            rules.sanitise_every_days, done_on=unit.last_sanitised_on, since=_sanitised_since(unit), due_on=due
        ),
    )


def sanitising_due(unit: UnitFacts, rules: CompanyRules) -> datetime.date:
    """The day on which a pressurised tank is to be sanitised again."""
    return _sanitised_since(unit) + datetime.timedelta(days=rules.sanitise_every_days)


def _sanitised_since(unit: UnitFacts) -> datetime.date:
    return unit.last_sanitised_on or unit.commissioned_on


def is_unread(tasks: TaskList, today: datetime.date) -> bool:
    """Whether nobody has read the unit for as long as the company lets pass."""
    return unread_from(tasks.unit, tasks.policy.rules, today) <= today


def unread_from(unit: UnitFacts, rules: CompanyRules, today: datetime.date) -> datetime.date:
    """The day from which on nobody has read the unit for as long as the company lets pass."""
    since = unit.last_read_on or unit.commissioned_on
    # a company that begins has read nothing yet: whoever comes reads, and nobody is sent before that had time to happen
    if unit.last_read_on is None and unit.asked_on is not None:
        since = max(since, unit.asked_on)
    # nor where its old readings came in with it: they are as old as the papers they stood on, and nobody was asked yet
    if unit.kept_since is not None and unit.kept_since <= today:
        since = max(since, unit.kept_since)
    return since + datetime.timedelta(days=rules.unread_after_days)


def _unread(tasks: TaskList, today: datetime.date) -> None:
    unit = tasks.unit
    if not is_unread(tasks, today):
        return
    since = unit.last_read_on or unit.commissioned_on
    tasks.add(
        NeedKind.INSPECT,
        key_at_unit(NeedKind.INSPECT, unit),
        Source.CALENDAR,
        label=words.UNIT,
        reason=words.unread((today - since).days, was_ever_read=unit.last_read_on is not None),
    )
