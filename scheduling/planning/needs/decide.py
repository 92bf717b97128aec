"""What a unit calls for today: facts in, tasks out."""

from __future__ import annotations

import datetime

from scheduling.planning.company_rules import ServicePolicy
from scheduling.planning.needs.facts import UnitFacts
from scheduling.planning.needs.from_calendar import add_from_calendar
from scheduling.planning.needs.from_findings import add_from_findings
from scheduling.planning.needs.from_forecasts import add_from_forecasts
from scheduling.planning.needs.tasks import Task, TaskList


def tasks_of_unit(unit: UnitFacts, *, policy: ServicePolicy, today: datetime.date) -> list[Task]:
    """Every task a unit calls for, each once, ordered by key.

    Three sources speak: forecasts (replace, rotate), findings (whatever their work says) and the calendar (sanitising,
    units that nobody reads). The same situation gives the same tasks.

    Parameters
    ----------
    unit
        What is known of it.
    policy
        Prices, risks, times and intervals.
    today
        The day its facts are counted from.
    """
    tasks = TaskList(unit, policy)
    add_from_forecasts(tasks, today)
    add_from_findings(tasks)
    add_from_calendar(tasks, today)
    return [tasks.by_key[key] for key in sorted(tasks.by_key)]
