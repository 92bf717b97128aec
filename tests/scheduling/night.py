"""What the night does with a town, from needs on."""

from scheduling.models import Plan
from scheduling.services.needs.needs import refresh_needs
from scheduling.services.rounds.plans import plan_rounds
from scheduling.services.stock.parts import write_parts_lists
from scheduling.services.visits.visits import propose_visits
from tests.scheduling.town import NOW, Town


def run_night(town: Town, *, sites: int = 0) -> Plan:
    """Make some sites with something due, then needs, visits, a plan and parts lists."""
    for k in range(sites):
        town.forecast(town.position(town.unit(town.site(east_km=2.0 * (k + 1))), "carbon"), 0)
    refresh_needs(company=town.company, now=NOW)
    propose_visits(company=town.company, now=NOW)
    plan = plan_rounds(company=town.company, by=None, now=NOW, iterations=50).plan
    write_parts_lists(plan=plan, now=NOW)
    return plan
