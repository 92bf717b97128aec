"""How units can be read: by their client, and by whoever comes."""

from datetime import timedelta

import pytest

from accounts.models import Membership
from fleet.models import Instrument, Unit
from scheduling.planning.needs.facts import GaugeFacts
from scheduling.services.needs.gauges import read_gauges
from scheduling.services.needs.needs import refresh_needs
from scheduling.services.policy import read_policy
from scheduling.services.visits.visits import confirm_visit, propose_visits
from tests import factories
from tests.scheduling.town import NOW, TODAY, Town

FEED, PERMEATE, PRODUCT = "feed_tds_mg_per_l", "permeate_tds_mg_per_l", "product_tds_mg_per_l"
OUTLET = "prefilter_outlet_pressure_kpa"


def gauges(town: Town, unit: Unit) -> GaugeFacts:
    policy = read_policy(company=town.company)
    (facts,) = read_gauges(
        company=town.company, policy=policy, today=TODAY, units={unit.pk: unit}, only=[unit.pk]
    ).values()
    return facts


def test_what_is_fitted_and_what_a_client_has_read_can_be_read_by_the_client(town: Town) -> None:
    unit, other = town.unit(), town.unit()
    assert gauges(town, unit).by_client == frozenset()
    fitted = {"company": town.company, "unit": unit, "name": "Inline"}
    Instrument.objects.create(**fitted, measures=[FEED, PERMEATE, "temperature_degc"])
    town.read(unit, **{OUTLET: 300.0})
    client_reading = town.read(unit, NOW - timedelta(days=40), **{PRODUCT: 0.0})
    type(client_reading).objects.filter(pk=client_reading.pk).update(source="client")
    # what measures nothing of wear, and what an installer read, is not the client's
    assert gauges(town, unit).by_client == {FEED, PERMEATE, PRODUCT}
    assert gauges(town, other).by_client == frozenset()


def test_whoever_comes_carries_meters_and_reads_a_pressure_where_it_was_read_before(town: Town) -> None:
    unit = town.unit()
    carried = gauges(town, unit).by_installer
    assert {FEED, PERMEATE, "carbon_outlet_total_chlorine_mg_per_l"} <= carried
    assert not {column for column in carried if column.endswith("_kpa")}
    town.read(unit, **{OUTLET: 300.0})
    assert gauges(town, unit).by_installer == carried | {OUTLET}


def test_each_quantity_has_the_day_it_was_last_read(town: Town) -> None:
    unit = town.unit()
    for days in (50, 20):
        town.read(unit, NOW - timedelta(days=days), **{FEED: 200.0})
    town.read(unit, NOW - timedelta(days=30), **{PRODUCT: 0.0})
    town.read(town.unit(), NOW - timedelta(days=1), **{FEED: 200.0})
    assert gauges(town, unit).read_on == {FEED: TODAY - timedelta(days=20), PRODUCT: TODAY - timedelta(days=30)}


@pytest.mark.parametrize("is_confirmed", [True, False])
def test_a_visit_counts_once_it_is_confirmed(town: Town, office: Membership, is_confirmed: bool) -> None:
    unit = town.unit()
    visit = factories.VisitFactory(company=town.company, site=unit.site, state="proposed")
    if is_confirmed:
        town.installer("Ada")
        confirm_visit(visit=visit, by=office, appointment_at=NOW + timedelta(days=1, hours=4), now=NOW)
    assert gauges(town, unit).next_visit_on == (TODAY + timedelta(days=1) if is_confirmed else None)


def test_a_visit_costs_what_a_proposal_says_it_does(town: Town) -> None:
    """15 minutes at 0.60, 12.00 and the drive."""
    near, far = town.unit(), town.unit(town.site(north_km=40.0))
    town.installer("Ada")
    for unit in (near, far):
        town.forecast(town.position(unit, "carbon"), 0)
    assert gauges(town, far).visit_price > gauges(town, near).visit_price > 21.0
    refresh_needs(company=town.company, now=NOW)
    propose_visits(company=town.company, now=NOW)
    for unit in (near, far):
        proposed = unit.site.visits.get()
        assert gauges(town, unit).visit_price == pytest.approx(21.0 + proposed.travel_cost, abs=0.006)


def test_other_companies_do_not_count(town: Town) -> None:
    unit = town.unit()
    Instrument.objects.create(company=factories.CompanyFactory(), unit=None, name="Theirs", measures=[PRODUCT])
    assert gauges(town, unit).by_client == frozenset()
