"""How a company's units can be read, and what a visit to each takes, in a constant number of queries."""

from collections import defaultdict
from collections.abc import Collection, Mapping
from datetime import date
from typing import Final

from django.db.models import Max, Q, QuerySet

from accounts.models import Company
from fleet.models import Instrument, Reading, Unit
from fleet.services.units.sites_not_known import is_of_nobody
from scheduling.models import Visit
from scheduling.planning.company_rules import ServicePolicy
from scheduling.planning.needs.facts import GaugeFacts
from scheduling.planning.needs.gauges import GAUGES
from scheduling.services.travel import travel_cost_of_sites

#: Columns that tell of a cartridge.
_COLUMNS: Final = tuple(dict.fromkeys(column for gauge in GAUGES for column in gauge.reads))

#: What whoever comes reads at any unit, with the TDS meter and chlorine test carried along; common practice, no source.
#: A pressure takes a gauge that is fitted.
_CARRIED: Final = frozenset(column for column in _COLUMNS if not column.endswith("_kpa"))


def read_gauges(
    *,
    company: Company,
    policy: ServicePolicy,
    today: date,
    units: Mapping[int, Unit],
    only: Collection[int] | None = None,
) -> dict[int, GaugeFacts]:
    """How each unit can be read, by id.

    A client reads what the meters fitted to the unit measure, and what clients have read there before; whoever comes
    reads that as well, and what is carried along.

    Parameters
    ----------
    company, policy, today
        Whose units, what a visit costs, and the company's day.
    units
        Those that are looked at, by id.
    only
        Ids of what is read from the database; None: all of the company.
    """
    in_unit = Q() if only is None else Q(unit__in=only)
    fitted: dict[int, set[str]] = defaultdict(set)
    instruments = Instrument.objects.of_company(company).filter(in_unit, unit__isnull=False)
    for unit_id, measures in instruments.values_list("unit", "measures"):
        fitted[unit_id].update(set(_COLUMNS).intersection(measures))
    readings = Reading.objects.of_company(company).filter(in_unit, voided_at__isnull=True)
    last_read = _last_read(company, readings)
    by_clients = _last_read(company, readings.filter(source=Reading.Source.CLIENT))
    visits = Visit.objects.of_company(company).filter(state=Visit.State.CONFIRMED)
    appointments: dict[int, date] = {}
    for site_id, at in visits.order_by("-appointment_at").values_list("site", "appointment_at"):
        if at is not None and company.day_at(at) >= today:
            appointments[site_id] = company.day_at(at)
    travel = travel_cost_of_sites(company=company, policy=policy)
    gauges = {}
    for key, unit in units.items():
        read_on = last_read.get(key, {})
        there = frozenset(fitted[key]) | frozenset(by_clients.get(key, ()))
        by_client = there if not is_of_nobody(unit.site.client) else frozenset()
        gauges[key] = GaugeFacts(
            by_client=by_client,
            by_installer=there | frozenset(read_on) | _CARRIED,
            read_on=read_on,
            visit_price=policy.planning.visit_price(travel[unit.site_id]),
            next_visit_on=appointments.get(unit.site_id),
        )
    return gauges


def _last_read(company: Company, readings: QuerySet[Reading]) -> dict[int, dict[str, date]]:
    """Unit to each column that was ever read there, and the day it was last."""
    newest = {f"last_{column}": Max("taken_at", filter=Q(**{f"{column}__isnull": False})) for column in _COLUMNS}
    rows = readings.order_by().values("unit").annotate(**newest).values_list("unit", *newest)
    return {
        unit: {column: company.day_at(at) for column, at in zip(_COLUMNS, moments, strict=True) if at is not None}
        for unit, *moments in rows
    }
