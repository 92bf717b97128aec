"""Which visits stand in the calendar of an installer, and in that of a client."""

from collections.abc import Iterable
from dataclasses import replace
from datetime import datetime

from django.db.models import Prefetch

from accounts.models import Client, Company
from fleet.models import CatalogueItem
from scheduling.exports import words
from scheduling.exports.calendar import Entry, entry_at_appointment
from scheduling.models import Installer, Plan, Stop, Visit, VisitTask
from scheduling.services.people.words import arrival_span
from scheduling.services.stock.visit_parts import parts_by_visit


def calendar_entries(*, installer: Installer, since: datetime) -> list[Entry]:
    """Stops of the installer's published rounds, and confirmed visits of the installer.

    Of two published plans that hold the same visit the later one counts. A confirmed visit is shown at its appointment.
    A visit that was cancelled stays, marked so, that calendars take it off.

    Parameters
    ----------
    installer
        Whose.
    since
        What ended before is left out.
    """
    tasks = _tasks("tasks")
    stops = (
        Stop.objects.of_company(installer.company)
        .filter(round__installer=installer, round__plan__state=Plan.State.PUBLISHED, leaves_at__gte=since)
        .select_related("visit__site__client", "visit__installer")
        .prefetch_related(_tasks("visit__tasks"))
        .order_by("round__plan__published_at", "pk")
    )
    entries = {
        stop.visit_id: Entry(stop.visit, stop.starts_at, stop.leaves_at)
        for stop in stops
        # another installer has been confirmed since the plan was published
        if stop.visit.installer_id in {None, installer.pk}
    }
    appointed = (
        Visit.objects.of_company(installer.company)
        .filter(installer=installer, appointment_at__gte=since)
        .exclude(state=Visit.State.PROPOSED)
        .select_related("site__client")
        .prefetch_related(tasks)
    )
    entries |= {visit.pk: entry_at_appointment(visit) for visit in appointed}
    return _with_parts(installer.company, entries.values())


def client_entries(*, client: Client, since: datetime) -> list[Entry]:
    """Visits to a client that were confirmed, at the hours in which somebody was announced; cancelled ones stay.

    Parameters
    ----------
    client
        Whose.
    since
        What was to begin before is left out.
    """
    visits = (
        Visit.objects.filter(Visit.of_client(client.pk), appointment_at__gte=since)
        .exclude(state__in=Visit.UNCONFIRMED)
        .select_related("site__company", "installer")
        .prefetch_related(_tasks("tasks"))
    )
    entries = []
    for visit in visits:
        assert visit.appointment_at is not None
        entries.append(Entry(visit, *arrival_span(visit.appointment_at, visit.site.time_zone)))
    return entries


def visits_by_id(*, company: Company, ids: Iterable[int]) -> dict[int, Visit]:
    """Visits with all that a calendar says of them."""
    rows = Visit.objects.of_company(company).filter(pk__in=list(ids))
    rows = rows.select_related("site__client", "site__company", "installer").prefetch_related(_tasks("tasks"))
    return {visit.pk: visit for visit in rows}


def _tasks(path: str) -> "Prefetch[str]":
    rows = VisitTask.objects.select_related("need__unit", "need__item", "need__position").order_by("order", "pk")
    return Prefetch(path, queryset=rows)


def _with_parts(company: Company, entries: Iterable[Entry]) -> list[Entry]:
    rows = list(entries)
    quantities = parts_by_visit(company=company, visits=[entry.visit for entry in rows])
    codes = dict(CatalogueItem.objects.of_company(company).values_list("pk", "code"))
    return [
        replace(
            entry,
            parts=sorted(
                words.part(count, codes[int(item)]) for item, count in quantities.get(entry.visit.pk, {}).items()
            ),
        )
        for entry in rows
    ]
