"""Work where nobody knows the site yet, and where a unit stands at another site since."""

import pytest

from accounts.models import Membership
from fleet.models import Site
from fleet.services.units.sites import update_site
from fleet.services.units.units import update_unit
from scheduling.models import Need, Visit
from scheduling.services.consequences import follow
from scheduling.services.needs.needs import add_need, refresh_needs
from scheduling.services.visits.proposals import propose_visits
from scheduling.services.visits.visits import confirm_visit
from tests.scheduling.town import NOW, Town


def _night(town: Town) -> None:
    refresh_needs(company=town.company, now=NOW)
    propose_visits(company=town.company, now=NOW)


def test_no_visit_is_proposed_to_a_site_that_is_not_known_until_it_is(town: Town, office: Membership) -> None:
    site = town.site(is_known=False, latitude=None, longitude=None)
    unit = town.unit(site)
    town.forecast(town.position(unit, "carbon"), 0)
    _night(town)
    assert Need.objects.filter(unit=unit, state=Need.State.OPEN).exists(), "what it needs is known all the same"
    assert not Visit.objects.exists()
    update_site(site=site, by=office, now=NOW, address="Quay 3")
    follow(company=town.company, units=[unit.pk], now=NOW)
    assert Visit.objects.get().site == site


def test_work_follows_a_unit_to_the_site_where_it_stands_now(town: Town, office: Membership) -> None:
    """Before, its needs and the visit to them stayed with the site that it had left."""
    left, site = town.site(), town.site()
    unit = town.unit(left)
    town.forecast(town.position(unit, "carbon"), 0)
    add_need(by=office, unit=unit, kind="repair", reason="drips", now=NOW)
    _night(town)
    assert Visit.objects.get(state=Visit.State.PROPOSED).site == left
    update_unit(unit=unit, by=office, now=NOW, site=site)
    follow(company=town.company, units=[unit.pk], now=NOW)
    assert set(Need.objects.filter(state=Need.State.OPEN).values_list("site", flat=True)) == {site.pk}
    assert Visit.objects.get(state=Visit.State.PROPOSED).site == site


@pytest.mark.parametrize("is_all", [False, True], ids=["at once", "at night"])
def test_a_confirmed_visit_keeps_no_work_at_a_unit_that_left(town: Town, office: Membership, is_all: bool) -> None:
    installer = town.installer("Ada")
    left, site = town.site(), town.site()
    unit, stays = town.unit(left), town.unit(left)
    for each in (unit, stays):
        town.forecast(town.position(each, "carbon"), 0)
    _night(town)
    visit = Visit.objects.get()
    confirm_visit(visit=visit, by=office, now=NOW, installer=installer, appointment_at=NOW.replace(hour=10))
    update_unit(unit=unit, by=office, now=NOW, site=Site.objects.get(pk=site.pk))
    if is_all:
        _night(town)
    else:
        follow(company=town.company, units=[unit.pk], now=NOW)
    visit.refresh_from_db()
    assert {task.need.unit_id for task in visit.tasks.all()} == {stays.pk}
    assert Visit.objects.get(state=Visit.State.PROPOSED).site == site
