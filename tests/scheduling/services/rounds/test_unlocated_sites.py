"""Sites whose location nobody knows: forecast and needed like others, in no round, and said so."""

import pytest

from scheduling.exports.geojson import plan_map
from scheduling.models import Need, Plan, Stop, UnservedVisit, Visit
from scheduling.planning.travel.trips import Place
from scheduling.planning.visits.travel_cost import travel_cost_estimate
from scheduling.services.needs.needs import refresh_needs
from scheduling.services.policy import read_policy
from scheduling.services.rounds.plans import plan_rounds, publish_plan
from scheduling.services.travel import travel_cost_of_sites
from scheduling.services.visits.visits import confirm_visit, propose_visits
from tests import factories
from tests.scheduling.town import NOW, Town


def _two_sites(town: Town) -> tuple[Visit, Visit]:
    """One site on the map and one of unknown location, both with a cartridge due today."""
    for site in (town.site(east_km=2.0), town.site(latitude=None, longitude=None)):
        town.forecast(town.position(town.unit(site), "carbon"), 0)
    refresh_needs(company=town.company, now=NOW)
    propose_visits(company=town.company, now=NOW)
    located, unlocated = Visit.objects.order_by("site__code")
    return located, unlocated


def _plan(town: Town) -> Plan:
    return plan_rounds(company=town.company, by=None, now=NOW, iterations=100).plan


def test_the_visit_is_proposed_and_left_out_of_the_rounds_with_its_reason(town: Town) -> None:
    town.installer("Ada")
    located, unlocated = _two_sites(town)
    assert Need.objects.filter(site=unlocated.site).exists()
    plan = _plan(town)
    assert list(Stop.objects.values_list("visit", flat=True)) == [located.pk]
    left_out = UnservedVisit.objects.get()
    assert (left_out.visit, left_out.reason) == (unlocated, "location_unknown")
    assert left_out.sentence == (
        f"{unlocated.site.name}: its location is unknown; give site {unlocated.site.code} its latitude and longitude."
    )
    assert plan.costs["left"] > 0
    assert plan.costs["total"] == pytest.approx(
        plan.costs["driving"] + plan.costs["overtime"] + plan.costs["visits"] + plan.costs["left"]
    )
    assert _plan(town) == plan


def test_it_is_planned_once_its_location_is_known(town: Town) -> None:
    town.installer("Ada")
    _, unlocated = _two_sites(town)
    first = _plan(town)
    unlocated.site.latitude, unlocated.site.longitude = 52.51, 13.42
    unlocated.site.save()
    second = _plan(town)
    assert second != first
    assert unlocated.pk in Stop.objects.filter(round__plan=second).values_list("visit", flat=True)


def test_a_confirmed_visit_there_is_not_forgotten_by_the_plan(town: Town) -> None:
    town.installer("Ada")
    _, unlocated = _two_sites(town)
    by = factories.MembershipFactory(company=town.company, role="office")
    confirm_visit(visit=unlocated, by=by, now=NOW, appointment_at=NOW.replace(day=3, hour=9))
    plan = publish_plan(plan=_plan(town), by=by, now=NOW)
    assert UnservedVisit.objects.get(plan=plan).reason == "location_unknown"


def test_the_map_shows_it_without_a_place(town: Town) -> None:
    town.installer("Ada")
    _two_sites(town)
    features = plan_map(_plan(town))["features"]
    assert [f["geometry"] for f in features if f["properties"]["kind"] == "unserved"] == [None]


def test_its_drive_is_priced_as_the_median_of_the_known_ones(town: Town) -> None:
    sites = [town.site(east_km=east) for east in (1.0, 2.0, 90.0)] + [town.site(latitude=None, longitude=None)]
    policy = read_policy(company=town.company)
    costs = travel_cost_of_sites(company=town.company, policy=policy)
    *known_costs, unknown = (costs[site.pk] for site in sites)
    assert unknown == pytest.approx(sorted(known_costs)[1])
    # nobody's neighbour: the others cost what they cost without it
    without_it = travel_cost_estimate(
        [Place(site.latitude, site.longitude) for site in sites[:3]], policy=policy.planning
    )
    assert known_costs == pytest.approx(without_it)
    assert travel_cost_estimate([None], policy=policy.planning).tolist() == [0.0]
