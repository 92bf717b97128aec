"""Which sites have their visits proposed anew when something about units has changed."""

from collections.abc import Collection

from accounts.models import Company
from fleet.models import Site
from scheduling.models import Visit


def sites_concerned(*, company: Company, units: Collection[int]) -> set[int]:
    """Ids of the sites whose visits may be others since something about these units has changed."""
    own = Visit.objects.of_company(company).filter(state__in=Visit.LIVE, tasks__need__unit__in=list(units))
    sites = set(Site.objects.of_company(company).filter(units__in=list(units)).values_list("pk", flat=True))
    # A unit that stands elsewhere since leaves a visit behind that was to work on it.
    sites.update(own.values_list("site_id", flat=True))
    # The needs of a unit that was deleted went with it, and left their visit without a task.
    empty = Visit.objects.of_company(company).filter(state=Visit.State.PROPOSED, tasks__isnull=True)
    sites.update(empty.values_list("site_id", flat=True))
    return sites
