"""Which visits stand in an installer's calendar."""

from datetime import datetime

from django.db.models import Prefetch

from scheduling.exports.calendar import Entry, entry_at_appointment
from scheduling.models import Installer, Plan, Stop, Visit, VisitTask


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
    tasks = Prefetch("tasks", queryset=VisitTask.objects.select_related("need__unit", "need__item"))
    stops = (
        Stop.objects.of_company(installer.company)
        .filter(round__installer=installer, round__plan__state=Plan.State.PUBLISHED, leaves_at__gte=since)
        .select_related("visit__site", "visit__installer")
        .prefetch_related(
            Prefetch("visit__tasks", queryset=VisitTask.objects.select_related("need__unit", "need__item"))
        )
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
        .select_related("site")
        .prefetch_related(tasks)
    )
    entries |= {visit.pk: entry_at_appointment(visit) for visit in appointed}
    return list(entries.values())
