"""What follows a change of units here: their needs, and the visits proposed to their sites."""

from collections.abc import Collection
from dataclasses import asdict
from datetime import datetime

from accounts.models import Company
from scheduling.services.needs.needs import refresh_needs
from scheduling.services.people import messages
from scheduling.services.visits.proposals import propose_visits
from scheduling.services.visits.sites import sites_concerned


def follow(*, company: Company, units: Collection[int], now: datetime) -> dict[str, int]:
    """Bring needs and proposed visits up to date where something about units has changed; a second run changes nothing.

    Returns
    -------
    dict
        Counts, as 'opened' of needs and 'visits_opened'.
    """
    needs = refresh_needs(company=company, units=units, now=now)
    visits = propose_visits(company=company, sites=sites_concerned(company=company, units=units), now=now)
    written = messages.found(company=company, units=units, now=now)
    written += messages.report_noted(company=company, units=units, now=now)
    messages.report_gone(company=company, units=units, now=now)
    of_visits = {f"visits_{name}": count for name, count in asdict(visits).items()}
    return asdict(needs) | of_visits | {"messages_written": written}
