"""Sites that belong together are visited in one go; sites to be kept apart are not in one round."""

from datetime import datetime
from zoneinfo import ZoneInfo

import pytest

from accounts.errors import Conflict, InvalidInput
from accounts.models import Membership
from fleet.models import Site
from scheduling.models import Plan, Stop, Visit
from scheduling.services.needs.needs import refresh_needs
from scheduling.services.rounds.plans import plan_rounds
from scheduling.services.rounds.site_pairs import pair_sites, paired_visits
from scheduling.services.visits.visits import confirm_visit, propose_visits
from tests.scheduling.town import NOW, Town


@pytest.fixture
def sites(town: Town) -> list[Site]:
    """Six sites in a row, all of them urgent, on two vans that start at the two ends."""
    town.installer("Ada")
    town.installer("Ben", east_km=12.0)
    for k in range(6):
        town.forecast(town.position(town.unit(town.site(east_km=2.0 * k + 1)), "carbon"), 0)
    refresh_needs(company=town.company, now=NOW)
    propose_visits(company=town.company, now=NOW)
    return list(Site.objects.order_by("pk"))


def _plan(town: Town) -> Plan:
    return plan_rounds(company=town.company, by=None, now=NOW, iterations=400).plan


def _place(plan: Plan, site: Site) -> tuple[int, int]:
    stop = Stop.objects.get(round__plan=plan, visit__site=site)
    return stop.round_id, stop.order


def test_sites_that_belong_together_are_visited_one_after_the_other(
    town: Town, sites: list[Site], office: Membership
) -> None:
    first, last = sites[0], sites[-1]
    alone = _plan(town)
    assert _place(alone, first)[0] != _place(alone, last)[0]
    pair_sites(by=office, first_site=last, second_site=first, rule="together", now=NOW)
    plan = _plan(town)
    (round_a, order_a), (round_b, order_b) = _place(plan, first), _place(plan, last)
    assert (round_a, abs(order_a - order_b)) == (round_b, 1)
    assert plan.faults == []
    assert plan.costs["total"] > alone.costs["total"]


def test_sites_to_be_kept_apart_are_not_in_one_round(town: Town, sites: list[Site], office: Membership) -> None:
    one, other = sites[:2]
    alone = _plan(town)
    assert _place(alone, one)[0] == _place(alone, other)[0]
    pair_sites(by=office, first_site=one, second_site=other, rule="apart", now=NOW)
    plan = _plan(town)
    assert _place(plan, one)[0] != _place(plan, other)[0]
    assert plan.faults == []


@pytest.mark.parametrize("rule", ["together", "apart"])
def test_what_was_confirmed_stands_before_a_rule(town: Town, sites: list[Site], office: Membership, rule: str) -> None:
    at = datetime(2026, 3, 2, 9, 0, tzinfo=ZoneInfo("Europe/Berlin"))
    ada = town.company.installers.get(name="Ada")
    for k, site in enumerate(sites[:2]):
        visit = Visit.objects.get(site=site)
        confirm_visit(visit=visit, by=office, appointment_at=at.replace(hour=9 + 4 * k), installer=ada, now=NOW)
    pair_sites(by=office, first_site=sites[0], second_site=sites[1], rule=rule, now=NOW)
    pairs = paired_visits(company=town.company, visits=list(Visit.objects.all()))
    assert (pairs.together, pairs.apart) == ((), ())
    plan = _plan(town)
    assert _place(plan, sites[0])[0] == _place(plan, sites[1])[0]


def test_rules_that_contradict_are_refused(town: Town, sites: list[Site], office: Membership) -> None:
    a, b, c = sites[:3]
    with pytest.raises(InvalidInput, match="name another site"):
        pair_sites(by=office, first_site=a, second_site=a, rule="apart", now=NOW)
    pair_sites(by=office, first_site=a, second_site=b, rule="together", now=NOW)
    with pytest.raises(Conflict, match="have a rule already"):
        pair_sites(by=office, first_site=b, second_site=a, rule="apart", now=NOW)
    with pytest.raises(Conflict, match="is paired with another"):
        pair_sites(by=office, first_site=c, second_site=b, rule="together", now=NOW)
    pair_sites(by=office, first_site=c, second_site=b, rule="apart", now=NOW)
