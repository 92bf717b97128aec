"""What follows a change of units here: their needs, and the visits proposed to their sites."""

from collections.abc import Collection
from dataclasses import asdict
from datetime import datetime

from accounts.models import Company
from fleet.models import Site
from scheduling.models import Visit
from scheduling.services.needs.needs import refresh_needs
from scheduling.services.people import messages
from scheduling.services.visits.proposals import propose_visits


def follow(*, company: Company, units: Collection[int], now: datetime) -> dict[str, int]:
    """Bring needs and proposed visits up to date where something about units has changed; a second run changes nothing.

    Returns
    -------
    dict
        Counts, as 'opened' of needs and 'visits_opened'.
    """
    needs = refresh_needs(company=company, units=units, now=now)
    own = Visit.objects.of_company(company).filter(state__in=Visit.LIVE, tasks__need__unit__in=list(units))
    sites = set(Site.objects.of_company(company).filter(units__in=list(units)).values_list("pk", flat=True))
    # A unit that stands elsewhere since leaves a visit behind that was to work on it.
    sites.update(own.values_list("site_id", flat=True))
    # The needs of a unit that was deleted went with it, and left their visit without a task.
    empty = Visit.objects.of_company(company).filter(state=Visit.State.PROPOSED, tasks__isnull=True)
    sites.update(empty.values_list("site_id", flat=True))
    visits = propose_visits(company=company, sites=sites, now=now)
    written = messages.found(company=company, units=units, now=now)
    written += messages.report_noted(company=company, units=units, now=now)
    messages.report_gone(company=company, units=units, now=now)
    of_visits = {f"visits_{name}": count for name, count in asdict(visits).items()}
    return asdict(needs) | of_visits | {"messages_written": written}
