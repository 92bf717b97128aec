"""What is made anew when something about units has changed: indicators, forecasts, findings, and what is subscribed."""

import logging
from collections.abc import Callable, Collection, Iterable, Mapping
from datetime import datetime
from functools import partial
from typing import Any

from accounts.models import Company
from fleet.models import Unit
from fleet.services.consequences import OF_INDICATORS, OF_NEEDS_ALONE, Kind, subscribed
from fleet.services.findings.findings import refresh_findings
from fleet.services.forecasts.forecasts import forecast_units
from fleet.services.readings.indicators import recompute

log = logging.getLogger(__name__)


def follow(
    *, company: Company, units: Iterable[int], kinds: Collection[str], now: datetime, since: datetime | None = None
) -> dict[str, int]:
    """Make anew what rests on a change of units, and nothing of others; a second run changes nothing.

    Each step owns its transaction. One that fails is logged and keeps none of the others from being done.

    Parameters
    ----------
    kinds
        Words of `Kind`.
    since
        Look at indicators of readings from this moment on only.

    Returns
    -------
    dict
        Counts, named after their step: 'findings_opened'.

    Raises
    ------
    Exception
        The first that a step raised, after all the others are done.
    """
    ids = sorted(set(units))
    of_units: dict[str, Any] = {"company": company, "units": ids, "now": now}
    steps: dict[str, Callable[[], Mapping[str, int]]] = {}
    if not OF_INDICATORS.isdisjoint(kinds):
        steps["indicators"] = partial(recompute, **of_units, since=since, of_meters=Kind.METERS in kinds)
    if not OF_NEEDS_ALONE.issuperset(kinds):
        # In the order of the night: what a finding says of a lead asks for the forecast of its lag.
        steps["forecasts"] = partial(forecast_units, **of_units)
        steps["findings"] = partial(refresh_findings, **of_units)
    steps |= {name: partial(consequence, **of_units) for name, consequence in subscribed().items()}
    counts: dict[str, int] = {}
    failed: Exception | None = None
    for name, step in steps.items():
        try:
            step_counts = _carried_out(step, ids)
        except Exception as error:
            log.exception("%s of company %s did not follow a change of units %s", name, company.pk, ids[:20])
            failed = failed or error
        else:
            counts |= {f"{name}_{outcome}": count for outcome, count in step_counts.items()}
    if failed is not None:
        raise failed
    return counts


def _carried_out(step: Callable[[], Mapping[str, int]], ids: Collection[int]) -> Mapping[str, int]:
    """Carry out a step; once more where it failed and a unit is gone.

    A step reads in several queries: a unit that is deleted between two of them is there in one and not in the other.
    """
    try:
        return step()
    except Exception:
        if Unit.objects.filter(pk__in=ids).count() == len(ids):
            raise
    return step()
